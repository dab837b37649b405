"""The joint adjustment of a layout without pictures: its covariance at the planned state."""

from __future__ import annotations

import numpy as np

from vision.adjustment.adjusted import Adjustment, CameraObservations
from vision.adjustment.building import build_network
from vision.adjustment.elimination import reduce
from vision.adjustment.group_tests import group_tests
from vision.adjustment.settings import SETTINGS
from vision.adjustment.solution import adjustment_of
from vision.adjustment.solving import Solved, weights_of
from vision.adjustment.state import whiteners
from vision.camera.solver import NoFit
from vision.job.job import Job
from vision.job.layout import Layout
from vision.units.reason import Reason


def planned_adjustment(
    job: Job, layout: Layout, observations: tuple[CameraObservations, ...]
) -> Adjustment | NoFit:
    """The adjustment as it would come out if everything lay as planned, with its covariance.

    Cameras with too few points for a fit of their own take no part. NoFit where none is left.
    """
    enough = tuple(seen for seen in observations if len(seen.points.ids) >= SETTINGS.fewest_marks)
    if not enough:
        return NoFit(reason=Reason("no-camera", needed=SETTINGS.fewest_marks))
    network = build_network(job, layout, enough)
    used = np.ones(len(network.points.ids), dtype=bool)
    weights = weights_of(whiteners(network.points.covariance_px2), used)
    seen = network.seen(network.start)
    linear = reduce(network.rows(seen, weights))
    covariance = None if linear is None else linear.covariance()
    if linear is None or covariance is None:
        return NoFit(reason=Reason("singular"))
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
