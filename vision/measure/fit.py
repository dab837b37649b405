"""The centres of marks, measured by drawing them into the picture and fitting them to its pixels.

The known mark with its piece of tape is drawn through pose and lens onto the picture's own pixels,
with a blur in picture pixels, and centre, turn, blur, levels, the tape's own offset and, where
there is one, the edge of a shadow are fitted. Nothing is resampled, so that the noise of
neighbouring pixels stays as independent as the picture has it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.geometry import Array, Pose, frozen_array
from vision.layout import PlannedMark
from vision.lens import Lens
from vision.measure.descent import Fits, descend, information
from vision.measure.drawing import LEVELS, SHADED, start
from vision.measure.likeness import covariance
from vision.measure.patches import Patches, cut_patches, per_mark
from vision.measure.shadows import shadow_starts

ROUGH = (6, 2e-2)
FINE = (8, 1e-2)
"""Most Gauss-Newton steps of a round, and the move of the centre in px at which it ends: a step of
this size leaves some ten-thousandths of a pixel, a fortieth of a centre's sigma."""
ROUGH_PIXELS = 400
"""A large mark's pixels that the rough round looks at: enough for some hundredths of a pixel."""
FLOOR_SIGMA_PX = 0.002
"""What calibration of a sensor's pixel grid leaves: no centre is claimed better than this."""
SHADOW_SIGMA_PX = 0.02
"""The same where a shadow's edge crosses: no edge is quite straight, and it pulls at the centre."""
CLEARLY = 10.0
"""Times the noise. Boards' corners in a soft picture came out right from 6 times the wrong way."""
SHADOW_GAIN = 0.6
"""A shadow edge is added only where it takes this share of the misfit away."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """A mark's measured centre in the picture turned back, with covariance.

    `blur_px` fitted blur (sigma) and its own sigma `blur_sigma_px`; `contrast` (tape minus ink)
    over the residual noise; `explained` share of the patch's variance that the drawn mark explains
    (0 to 1).
    """

    id: str
    pixel_px: Array
    covariance_px2: Array
    blur_px: float
    contrast: float
    explained: float
    noise: float
    blur_sigma_px: float = 0.0
    turn_rad: float = 0.0
    shadow: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "pixel_px", frozen_array(self.pixel_px, (2,), "pixel_px"))
        object.__setattr__(
            self, "covariance_px2", frozen_array(self.covariance_px2, (2, 2), "covariance_px2")
        )


def measure(
    grey: np.ndarray, pose: Pose, lens: Lens, marks: Sequence[PlannedMark], centres_px: Array
) -> tuple[Measured | None, ...]:
    """Measure every mark from where it was seen, (n, 2); None where it cannot be.

    `grey` (height, width) is the picture turned back, levels 0 to 255. Robust weights in a second
    round set aside what is not tape, ink or ground: leaves, a crossing tape, a person's shoe. The
    covariance is that of the original pixels' noise, widened by how much neighbouring residuals
    are alike.
    """
    answers: list[Measured | None] = [None] * len(marks)
    for patches in cut_patches(grey, pose, lens, marks, centres_px).light().alike():
        for index, answer in zip(patches.which, _measured(patches), strict=True):
            answers[index] = answer
    return tuple(answers)


def _measured(patches: Patches) -> list[Measured | None]:
    """Measure marks of one shape: plainly, and with a shadow's edge where that explains more."""
    few = patches.thinned(ROUGH_PIXELS)
    plain = descend(few, start(len(patches.marks)), *ROUGH)
    edges = shadow_starts(few, plain)
    tried = np.asarray(np.isfinite(edges).all(axis=1))
    shaded, lots = np.zeros_like(tried), []
    if tried.any():
        with_edge = descend(few.take(tried), edges[tried], *ROUGH)
        helps = np.asarray(with_edge.cost < (1 - SHADOW_GAIN) * plain.cost[tried])
        shaded[tried] = helps
        lots.append((shaded, with_edge.take(helps, helps[few.take(tried).of])))
    lots.append((~shaded, plain.take(~shaded, ~shaded[few.of])))
    answers: list[Measured | None] = [None] * len(patches.marks)
    for these, rough in lots:
        if these.any():
            found = _refined(patches.take(these), few.take(these), rough)
            for index, answer in zip(np.flatnonzero(these), found, strict=True):
                answers[index] = answer
    return answers


def _refined(patches: Patches, few: Patches, rough: Fits) -> list[Measured | None]:
    """Measure marks once more, with what does not belong to them set aside.

    A mark whose ink clearly took the place of its tape is not there: it stays as it is.
    """
    there = _contrasts(few, rough) > -CLEARLY * np.sqrt(rough.noise2)
    answers: list[Measured | None] = [None] * len(there)
    lots = []
    if there.any():
        lot = patches.take(there)
        lots.append((there, _answers(lot, descend(lot, rough.state[there], *FINE, robust=True))))
    if not there.all():
        lot = few.take(~there)
        lots.append((~there, _answers(lot, rough.take(~there, ~there[few.of]))))
    for these, found in lots:
        for index, answer in zip(np.flatnonzero(these), found, strict=True):
            answers[index] = answer
    return answers


def _answers(patches: Patches, fits: Fits) -> list[Measured | None]:
    p, parameters = fits.state.shape[1], fits.normal.shape[1]
    noise2 = np.maximum(fits.cost / np.maximum(fits.count - parameters, 1.0), 0.08)
    enough = fits.count >= parameters + 8
    inverse = np.linalg.inv(information(fits, noise2))
    # What a change of each pixel by its own sigma does to the centre, in mark coordinates.
    trust = np.sqrt(fits.weights)
    lever = np.concatenate([fits.slopes, fits.basis], axis=1) * trust[:, None]
    influence = np.concatenate(
        [lever[a] @ each[:, :2] for a, each in zip(patches.spans, inverse, strict=True)]
    )
    seen = fits.residual * trust
    A = patches.d_pixel_d_mark
    floor = FLOOR_SIGMA_PX if p < SHADED else SHADOW_SIGMA_PX
    in_mark = covariance(patches, seen, influence, noise2)
    covariance_px2 = A @ in_mark @ np.swapaxes(A, 1, 2) + floor**2 * np.eye(2)
    centres = patches.centre_px + np.einsum("nij,nj->ni", A, fits.state[:, :2])
    contrasts = _contrasts(patches, fits) / np.sqrt(noise2)
    answers: list[Measured | None] = []
    for i, (mark, span) in enumerate(zip(patches.marks, patches.spans, strict=True)):
        if not (enough[i] and np.isfinite(covariance_px2[i]).all()):
            answers.append(None)
            continue
        spread = patches.levels[span] - patches.levels[span].mean()
        misfit = fits.residual[span]
        explained = 1 - float(misfit @ misfit) / max(float(spread @ spread), 1e-9)
        answers.append(
            Measured(
                id=mark.id,
                pixel_px=centres[i],
                covariance_px2=0.5 * (covariance_px2[i] + covariance_px2[i].T),
                blur_px=float(fits.state[i, 3]),
                blur_sigma_px=float(np.sqrt(inverse[i, 3, 3] * noise2[i])),
                contrast=float(contrasts[i]),
                explained=explained,
                noise=float(noise2[i] ** 0.5),
                turn_rad=float(fits.state[i, 2]),
                shadow=p == SHADED,
            )
        )
    return answers


def _contrasts(patches: Patches, fits: Fits) -> Array:
    """How many levels ink is darker than its tape, or lighter where it should be, (m,).

    With a shadow's edge, in the light that the ink lies in.
    """
    levels = fits.levels
    steps = levels[:, 2] - levels[:, 5]
    if levels.shape[1] > LEVELS:
        shaded, inked = (per_mark(patches, fits.basis[:, k]) for k in (9, 5))
        steps = steps + shaded / np.maximum(inked, 1e-9) * (levels[:, 8] - levels[:, 9])
    return np.where([mark.ink == "dark" for mark in patches.marks], steps, -steps)
