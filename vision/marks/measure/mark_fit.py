"""The centres of marks, measured by drawing them into the picture and fitting them to its pixels.

The known mark with its piece of tape is drawn through pose and lens onto the picture's own pixels,
with a blur in picture pixels, and centre, turn, blur, levels, the tape's own offset and, where
there is one, the edge of a shadow are fitted. Nothing is resampled, so that the noise of
neighbouring pixels stays as independent as the picture has it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.job.layout import PlannedMark
from vision.job.mark_id import MarkId
from vision.marks.measure.descent import Fits, descend, information
from vision.marks.measure.drawing import LEVELS, PLAIN, SHADED, start
from vision.marks.measure.growth import Growth, growths, of_picture
from vision.marks.measure.noise_correlation import covariance
from vision.marks.measure.occlusion import half_hidden, uncovered
from vision.marks.measure.patches import Patches, cut_patches, per_mark
from vision.marks.measure.shadows import shadow_starts
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array, Flags, freeze

TUNED = SETTINGS.measure


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """A mark's measured centre in the picture turned back, with covariance.

    `shadow` where the edge of a shadow, or of what covers part of it, crosses the mark, `covered`
    where it is the latter. `blur_px`
    fitted blur (sigma) and its own sigma `blur_sigma_px`; `contrast` (tape minus ink)
    over the residual noise; `explained` share of the patch's variance that the drawn mark explains
    (0 to 1); NaN where there is no ink to speak of. `growth` is what it says of the picture's.
    """

    id: MarkId
    pixel_px: Array
    covariance_px2: Array
    blur_px: float = float("nan")
    contrast: float = float("nan")
    explained: float = float("nan")
    noise: float = float("nan")
    blur_sigma_px: float = 0.0
    turn_rad: float = 0.0
    shadow: bool = False
    covered: bool = False
    growth: Growth | None = None

    def __post_init__(self) -> None:
        freeze(self, pixel_px=(2,), covariance_px2=(2, 2))

    def with_sigma(self, sigma_px: float) -> Measured:
        """The same where every place in the picture may be off by so much more."""
        if sigma_px == 0:
            return self
        return replace(self, covariance_px2=self.covariance_px2 + sigma_px**2 * np.eye(2))


def measure(
    grey: np.ndarray,
    pose: Pose,
    lens: Lens,
    marks: Sequence[PlannedMark],
    centres_px: Array,
    covered: Flags | None = None,
    known: Iterable[Measured] = (),
) -> tuple[Measured | None, ...]:
    """Measure every mark from where it was seen, (n, 2); None where it cannot be.

    `grey` (height, width) is the picture turned back, levels 0 to 255. Robust weights in a second
    round set aside outliers, what is not tape, ink or ground: leaves, a crossing tape, a person's
    shoe. The covariance is that of the original pixels' noise, widened by how much neighbouring
    residuals are alike, and by what the mark's size being drawn a little wrong does to a mark half
    seen. What is covered up to an edge (`occlusion`) is left out; None where a half is without one.
    So is what is known to be `covered` (height, width), and None where that is much of a mark.
    `known` are other marks of the same picture, which tell how far its bright parts have grown.
    """
    found: Found = {}
    whole = cut_patches(grey, pose, lens, marks, centres_px)
    if covered is not None:
        whole = _clear_of(whole, covered)
    for patches in whole.light().alike():
        found |= _measured(patches)
    told = [each for each in (*found.values(), *known) if each is not None and not each.shadow]
    growth = of_picture(each.growth for each in told if each.growth is not None)
    answers = (found.get(index) for index in range(len(marks)))
    return tuple(None if each is None else _without_growth(each, *growth) for each in answers)


def _without_growth(measured: Measured, growth_px: float, sigma_px: float) -> Measured:
    """A mark put where it is once its bright parts have shrunk again by a growth."""
    if measured.growth is None:
        return measured
    moved_px = measured.growth.moved_px
    return replace(
        measured,
        pixel_px=measured.pixel_px - growth_px * moved_px,
        covariance_px2=measured.covariance_px2 + sigma_px**2 * np.outer(moved_px, moved_px),
    )


def _clear_of(patches: Patches, covered: Flags) -> Patches:
    """The marks of which little is covered, each with its clear pixels."""
    hidden = covered[patches.pixels[:, 1], patches.pixels[:, 0]]
    count = np.bincount(patches.of, minlength=len(patches.marks))
    share = per_mark(patches, hidden.astype(np.float64)) / np.maximum(count, 1)
    clear = per_mark(patches, (~hidden).astype(np.float64))
    keep = (share <= SETTINGS.overlays.most_share) & (clear >= TUNED.least_pixels)
    return patches.part(keep, keep[patches.of] & ~hidden)


Found = dict[int, Measured | None]
"""What was measured, by where each mark stands in the list that was asked for."""


def _measured(patches: Patches) -> Found:
    """Measure marks of one shape: plainly, and with a shadow's edge where that explains more."""
    few = patches.thinned(TUNED.rough_pixels)
    plain = descend(few, start(len(patches.marks)), *TUNED.rough)
    edges = shadow_starts(few, plain)
    tried = np.asarray(np.isfinite(edges).all(axis=1))
    shaded, found = np.zeros_like(tried), {}
    if tried.any():
        some = few.take(tried)
        with_edge = descend(some, edges[tried], *TUNED.rough)
        helps = np.asarray(with_edge.cost < (1 - TUNED.shadow_gain) * plain.cost[tried])
        shaded[tried] = helps
        if helps.any():
            rough = with_edge.take(helps, helps[some.of])
            found = _refined(patches.take(shaded), few.take(shaded), rough)
    if not shaded.all():
        rough = plain.take(~shaded, ~shaded[few.of])
        found |= _refined(patches.take(~shaded), few.take(~shaded), rough)
    return found


def _refined(patches: Patches, few: Patches, rough: Fits) -> Found:
    """Measure marks once more, with what does not belong to them set aside.

    A mark whose ink clearly took the place of its tape is not there: it stays as it is.
    """
    there = _contrasts(few, rough) > -TUNED.clearly * np.sqrt(rough.noise2)
    found: Found = {}
    if there.any():
        lot = patches.take(there)
        fits = descend(lot, rough.state[there], *TUNED.fine, robust=True)
        found = _answers(lot, fits)
        if rough.state.shape[1] == SHADED:
            found |= _without_covers(lot, fits)
    if not there.all():
        found |= _answers(few.take(~there), rough.take(~there, ~there[few.of]))
    return found


def _without_covers(patches: Patches, fits: Fits) -> Found:
    """Anew what no shadow crosses but the edge of a cover; None where little is left."""
    covered, enough, rest = uncovered(patches, fits, _noise2(fits))
    found: Found = dict.fromkeys(patches.which[covered].tolist())
    if enough.any():
        rough = descend(rest, fits.state[enough, :PLAIN], *TUNED.rough)
        again = _answers(rest, descend(rest, rough.state, *TUNED.fine, robust=True), covered=True)
        for index, answer in again.items():
            held = answer is not None and _widest_px(answer) <= TUNED.most_uncovered_sigma_px
            found[index] = answer if held else None
    return found


def _widest_px(measured: Measured) -> float:
    return float(np.sqrt(np.linalg.eigvalsh(measured.covariance_px2)[-1]))


def _by_form(patches: Patches, fits: Fits, influence: Array) -> Array:
    """Covariance (m, 2, 2) of centres that the mark's drawn size and slant being a little off make.

    Both come from a pose and a lens that the marks themselves gave. On a mark that is seen whole
    opposite sides cancel; half a mark hangs on them. `influence` (n, 2) as `noise_correlation` has
    it.
    """
    s, q = patches.s - fits.state[patches.of, 0], patches.q - fits.state[patches.of, 1]
    by_s, by_q = fits.slopes[:, 0], fits.slopes[:, 1]
    forms = np.stack([by_s * s, by_q * q, 0.5 * (by_s * q + by_q * s)], axis=1)
    forms *= np.sqrt(fits.weights)[:, None]
    moved = np.stack([influence[a].T @ forms[a] for a in patches.spans])
    return np.asarray(TUNED.form_sigma**2 * moved @ np.swapaxes(moved, 1, 2))


def _noise2(fits: Fits) -> Array:
    """Variance of a pixel (m,)."""
    freedom = np.maximum(fits.count - fits.normal.shape[1], 1.0)
    return np.asarray(np.maximum(fits.cost / freedom, 0.08))


def _answers(patches: Patches, fits: Fits, covered: bool = False) -> Found:
    """The measurements; `covered` where what lies beyond an edge is left out."""
    p, parameters = fits.state.shape[1], fits.normal.shape[1]
    crossed = covered or p == SHADED
    noise2 = _noise2(fits)
    enough = fits.count >= parameters + 8
    if not crossed:
        enough &= ~half_hidden(patches, fits)
    inverse = np.asarray(np.linalg.inv(information(fits, noise2)), dtype=np.float64)
    # What a change of each pixel by its own sigma does to the centre, in mark coordinates.
    trust = np.sqrt(fits.weights)
    lever: Array = np.concatenate([fits.slopes, fits.basis], axis=1) * trust[:, None]
    influence = np.concatenate(
        [lever[a] @ each[:, :2] for a, each in zip(patches.spans, inverse, strict=True)]
    )
    seen = fits.residual * trust
    A = patches.d_pixel_d_mark
    floor = TUNED.shadow_sigma_px if crossed else TUNED.floor_sigma_px
    in_mark = covariance(patches, seen, influence, noise2) + _by_form(patches, fits, influence)
    covariance_px2 = A @ in_mark @ np.swapaxes(A, 1, 2) + floor**2 * np.eye(2)
    centres = patches.centre_px + np.einsum("nij,nj->ni", A, fits.state[:, :2])
    contrasts = _contrasts(patches, fits) / np.sqrt(noise2)
    grown = growths(patches, fits, lever, inverse)
    found: Found = {}
    for i, (mark, span) in enumerate(zip(patches.marks, patches.spans, strict=True)):
        if not (enough[i] and np.isfinite(covariance_px2[i]).all()):
            continue
        spread = patches.levels[span] - patches.levels[span].mean()
        misfit = fits.residual[span]
        found[int(patches.which[i])] = Measured(
            id=mark.id,
            pixel_px=centres[i],
            covariance_px2=0.5 * (covariance_px2[i] + covariance_px2[i].T),
            blur_px=float(fits.state[i, 3]),
            blur_sigma_px=float(np.sqrt(inverse[i, 3, 3] * noise2[i])),
            contrast=float(contrasts[i]),
            explained=1 - float(misfit @ misfit) / max(float(spread @ spread), 1e-9),
            noise=float(noise2[i] ** 0.5),
            turn_rad=float(fits.state[i, 2]),
            shadow=crossed,
            covered=covered,
            # At a board's corner four squares meet: what grows there cancels.
            growth=None if mark.is_corner else grown[i],
        )
    return found


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
