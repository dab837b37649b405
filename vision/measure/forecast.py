"""How well a mark's centre will be measured, foretold without a picture.

The mark is drawn through the planned pose and lens with stated levels, noise and blur, and the
covariance is that of the fit which `measure` would make of it: the inverse normal matrix of centre,
turn, blur, tape offset and levels, which for independent normal noise is the Cramer-Rao bound, plus
the same floor and an allowance for texture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.geometry import Array, Pose
from vision.layout import PlannedMark
from vision.lens import Lens
from vision.measure.drawing import DrawingState, draw
from vision.measure.fit import FLOOR_SIGMA_PX, centre_covariance
from vision.measure.patches import Patch, cut_patches


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """What a picture is taken to be like: levels of 255, and one sigma each of noise and blur.

    `noise` is what the fit leaves over at a mark: the ground's texture and the JPEG's blocks as
    well as the sensor's own. `texture_px` is what neighbouring pixels that are alike (the grain of
    asphalt, the tape's folds) add to a centre whatever the mark's size. The defaults are those of
    the rendered sets, which drawn scenes better: `python -m tests.accuracy.plan --centres`.
    """

    ground_level: float = 90.0
    tape_level: float = 155.0
    ink_level: float = 70.0
    noise: float = 5.0
    blur_px: float = 0.7
    texture_px: float = 0.035


def forecast_covariances(
    pose: Pose, lens: Lens, marks: Sequence[PlannedMark], light: Light
) -> list[Array | None]:
    """Covariance (2, 2) in px2 of each mark's centre; None where its piece leaves the picture.

    Marks that cannot be drawn are a ValueError.
    """
    if not marks:
        return []
    blank = np.zeros((lens.height, lens.width), dtype=np.float32)
    centres = lens.project(pose.transform(np.array([mark.centre_m for mark in marks])))
    patches = cut_patches(blank, pose, lens, marks, centres)
    return [None if patch is None else _covariance(patch, light) for patch in patches]


def _covariance(patch: Patch, light: Light) -> Array | None:
    state = DrawingState(blur=light.blur_px)
    basis, _ = draw(patch, state)
    dark, bright = light.ink_level, light.tape_level
    if patch.mark.ink == "light":
        dark, bright = bright, dark
    levels = np.array([light.ground_level, light.ground_level, bright, 0.0, 0.0, dark])
    drawn = replace(patch, levels=basis @ levels)
    in_mark = centre_covariance(drawn, state, light.noise**2)
    if in_mark is None:
        return None
    A = patch.d_pixel_d_mark
    covariance = A @ in_mark @ A.T + (FLOOR_SIGMA_PX**2 + light.texture_px**2) * np.eye(2)
    return np.asarray(0.5 * (covariance + covariance.T))
