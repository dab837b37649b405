"""The joint adjustment of a layout without pictures: its covariance at the planned state.

The only place of this folder that knows how the network is put together.
"""

from __future__ import annotations

import numpy as np

from vision.adjustment import Adjustment, CameraObservations
from vision.adjustment.building import build_network
from vision.adjustment.elimination import reduce
from vision.adjustment.group_tests import group_tests
from vision.adjustment.report import adjustment_of
from vision.adjustment.screening import Solved, weights_of
from vision.adjustment.state import whiteners
from vision.geometry import Pose
from vision.job import Camera, Job
from vision.layout import Layout, place_sigma_m
from vision.lens_prior import LensPrior
from vision.plan_fit import FEWEST_MARKS, Points
from vision.planning.values import PlannedView
from vision.solver import NoFit


def observations_of(
    job: Job,
    layout: Layout,
    camera: Camera,
    prior: LensPrior,
    views: tuple[PlannedView, ...],
) -> CameraObservations:
    """What a camera would bring: every point that it sees, exactly where it is planned."""
    seen = [view for view in views if view.status == "seen"]
    marks = [layout.mark(view.mark) for view in seen]
    points = Points(
        ids=tuple(view.mark for view in seen),
        planned_m=np.array([mark.centre_m for mark in marks]).reshape(-1, 3),
        mark_sigma_m=np.array([place_sigma_m(job, mark) for mark in marks]),
        pixels_px=np.array([view.pixel_px for view in seen]).reshape(-1, 2),
        covariance_px2=np.array([view.covariance_px2 for view in seen]).reshape(-1, 2, 2),
    )
    pose = Pose.at(camera.position_m, camera.aim.rotation())
    return CameraObservations(
        name=camera.name, prior=prior, points=points, start=(pose, prior.guess)
    )


def planned_adjustment(
    job: Job, layout: Layout, observations: tuple[CameraObservations, ...]
) -> Adjustment | NoFit:
    """The adjustment as it would come out if everything lay as planned, with its covariance.

    Cameras with fewer than FEWEST_MARKS points take no part. NoFit where none is left.
    """
    enough = tuple(seen for seen in observations if len(seen.points.ids) >= FEWEST_MARKS)
    if not enough:
        return NoFit(code="no-camera", text="no camera sees enough marks")
    network = build_network(job, layout, enough)
    used = np.ones(len(network.points.ids), dtype=bool)
    weights = weights_of(whiteners(network.points.covariance_px2), used)
    seen = network.seen(network.start)
    linear = reduce(network.rows(seen, weights))
    covariance = None if linear is None else linear.covariance()
    if linear is None or covariance is None:
        return NoFit(code="singular", text="the layout leaves some unknowns open")
    solution = Solved(
        seen=seen,
        covariance=covariance,
        chi2=0.0,
        degrees_of_freedom=network.degrees_of_freedom(used),
    )
    tests = group_tests(network, solution)
    return adjustment_of(
        job, network, solution, used, tests=tests, placed=solution, weights=weights
    )
