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

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.job.layout import PlannedMark
from vision.marks.measure.descent import evaluate, information
from vision.marks.measure.drawing import draw, start
from vision.marks.measure.patches import Patches, cut_patches
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array

TUNED = SETTINGS.measure


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
    found: list[Array | None] = [None] * len(marks)
    for patches in cut_patches(blank, pose, lens, marks, centres).alike():
        for index, covariance in zip(patches.which, _covariances(patches, light), strict=True):
            found[index] = covariance
    return found


def _covariances(patches: Patches, light: Light) -> Array:
    """Covariances (m, 2, 2) of the centres of marks that are drawn alike."""
    state = start(len(patches.marks))
    state[:, 3] = light.blur_px
    drawing = draw(patches, state)
    ground, tape, ink = light.ground_level, light.tape_level, light.ink_level
    levels = np.tile([ground, ground, tape, 0.0, 0.0, ink], (len(state), 1))
    swapped = [mark.ink == "light" for mark in patches.marks]
    levels[swapped, 2], levels[swapped, 5] = ink, tape
    shown = np.einsum("nk,nk->n", drawing.basis, levels[patches.of])
    fits = evaluate(replace(patches, levels=shown), state, drawing, np.ones(len(shown)))
    noise2 = np.full(len(state), light.noise**2)
    in_mark = np.linalg.inv(information(fits, noise2))[:, :2, :2] * light.noise**2
    A = patches.d_pixel_d_mark
    spread = A @ in_mark @ np.swapaxes(A, 1, 2)
    spread += (TUNED.floor_sigma_px**2 + light.texture_px**2) * np.eye(2)
    return np.asarray(0.5 * (spread + np.swapaxes(spread, 1, 2)))
