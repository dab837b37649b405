"""Where points that took no part ought to be, by those that did."""

from __future__ import annotations

import numpy as np

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.building import build_network
from vision.adjustment.solving import run, spread_of, weights_of
from vision.adjustment.state import whiteners
from vision.camera.solver import NoFit
from vision.job.job import Job
from vision.job.layout import Layout
from vision.units.arrays import Array, Flags


def left_out_points(
    job: Job, layout: Layout, seen: CameraObservations, used: Flags
) -> tuple[Array, Array]:
    """How far the points that are not `used` (p,) lie on the ground from where the others put them.

    (n, 2) seen minus expected at the point's own height, m, and its covariance (n, 2, 2): that of
    the point's pixels, of all unknowns as the used points leave them, and of the mark's own
    deviation. From one camera alone, in which strips and panels may lie off as a whole: a strip's
    next mark lies as its others do. NaN where the lens does not see it, or nothing was solved.
    """
    network = build_network(job, layout, (seen,))
    count = int((~used).sum())
    weights = weights_of(whiteners(network.points.covariance_px2), used)
    solution = run(network, weights, network.seen(network.start))
    if isinstance(solution, NoFit):
        return np.full((count, 2), np.nan), np.full((count, 2, 2), np.nan)
    plain = np.where(used[:, None, None], 0.0, np.eye(2))
    off_px, by_camera, by_world, by_own = network.point_rows(solution.seen, plain)
    by_kept = network.by_kept(by_camera, by_world)[~used]
    blocks = network.points.blocks[~used]
    spread = spread_of(solution.covariance, by_kept, by_own[~used], blocks)
    by_pixel = np.linalg.inv(solution.seen.by_place[~used][:, :, :2])
    covariance_px2 = spread + network.points.covariance_px2[~used]
    off_m = -(by_pixel @ off_px[~used][..., None])[..., 0]
    return off_m, by_pixel @ covariance_px2 @ by_pixel.transpose(0, 2, 1)
