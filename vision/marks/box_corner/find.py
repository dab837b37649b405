"""A carton's top corner: where three of its edges meet, near where the plan fit expects it.

The corner is looked for once the camera is known. Two of its edges are level and at right angles
to each other, the third is plumb, so pose, lens and the carton's turn say how each runs through
the picture. All three have to be seen, steps of grey all along, and have to meet in one point: a
crack, a line of tape or a shadow gives one such edge, or two, hardly ever three. What is not
clearly there is not found.
"""

from __future__ import annotations

import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.job.kinds.box_corner import BoxCorner
from vision.marks.box_corner.corner_fit import FoundCorner, measure_corner
from vision.marks.box_corner.edge_search import Look, noise_round, starts_of
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array
from vision.units.reason import Reason

TUNED = SETTINGS.box_corner


def find_box_corner(
    planes: tuple[np.ndarray, ...],
    pose: Pose,
    lens: Lens,
    pixel_covariance_px2: Array,
    corner_m: Array,
    shape: BoxCorner,
    beside_m: Array,
) -> FoundCorner | Reason:
    """The corner at `corner_m` (3,) in a picture turned back, as `planes_of` it; or why it is not.

    `pixel_covariance_px2` (2, 2) of where pose and lens put it, its own place included; `beside_m`
    (2,): the camera it was set up for, which the carton stands away from.
    """
    expected = lens.project(pose.transform(corner_m))
    if not bool(lens.contains(expected)):
        return Reason("outside-picture")
    sigma = float(np.sqrt(np.linalg.eigvalsh(pixel_covariance_px2)[-1]))
    look = Look(
        planes=planes,
        pose=pose,
        lens=lens,
        corner_m=corner_m,
        shape=shape,
        beside_m=beside_m,
        expected_px=expected,
        reach_px=float(np.clip(TUNED.reach_sigmas * sigma, *TUNED.reach_px)),
        noises=tuple(noise_round(plane, expected) for plane in planes),
    )
    starts = starts_of(look)
    if isinstance(starts, Reason):
        return starts
    measured = [measure_corner(look, *start) for start in starts]
    found = [each for each in measured if isinstance(each, FoundCorner)]
    if not found:
        return next(each for each in measured if isinstance(each, Reason))
    apart = [np.hypot(*(each.pixel_px - found[0].pixel_px)) for each in found]
    if max(apart) > TUNED.rival_px:
        return Reason("edges-ambiguous")
    return found[0]
