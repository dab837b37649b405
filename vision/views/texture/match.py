"""The shift that brings two drawings of the same ground together, with its covariance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.marks.measure.noise_correlation import at_least
from vision.units.arrays import Array, Flags
from vision.units.reason import Reason
from vision.views.settings import SETTINGS
from vision.views.texture.rectified import Band, Floats
from vision.views.texture.shift import NoTexture, TextureShift

TUNED = SETTINGS.texture


FIELD_SIGMA = np.array(TUNED.field_sigma)


def coarse(fields: Sequence[Floats], masks: Sequence[Flags]) -> Array | NoTexture:
    """The whole shift (2,) in grid steps (outward, right) at which the drawings correlate best."""
    reach = round(TUNED.search_m / TUNED.step_m)
    inner = (slice(reach, -reach), slice(reach, -reach))
    ones = [mask.astype(np.float32) for mask in masks]
    a, b = fields
    across = _correlate(a, b[inner])
    energy_a = _correlate(a * a, ones[1][inner])
    energy_b = _correlate(ones[0], (b * b)[inner])
    shared = _correlate(ones[0], ones[1][inner])
    known = shared * TUNED.step_m**2 > TUNED.least_ground_m2 / 2
    score = np.where(known, across / np.sqrt(np.maximum(energy_a * energy_b, 1e-12)), -1.0)
    row, column = np.unravel_index(int(np.argmax(score)), score.shape)
    best = float(score[row, column])
    if best < TUNED.least_correlation:
        return NoTexture(reason=Reason("poor-texture", correlation=best))
    # The peak is all that can be reached from it without falling below the rival's share.
    high = (score > TUNED.rival_share * best).astype(np.uint8)
    if cv2.connectedComponents(high, connectivity=8)[0] > 2:
        return NoTexture(reason=Reason("ambiguous"))
    if row in (0, score.shape[0] - 1) or column in (0, score.shape[1] - 1):
        return NoTexture(reason=Reason("no-peak", reach_m=TUNED.search_m))
    return np.array([column - reach, row - reach], dtype=np.float64)


def _correlate(image: Floats, template: Floats) -> Floats:
    found = cv2.matchTemplate(
        np.ascontiguousarray(image), np.ascontiguousarray(template), cv2.TM_CCORR
    )
    return np.asarray(found, dtype=np.float32)


def refined(
    band: Band,
    fields: Sequence[Floats],
    masks: Sequence[Flags],
    start: Array,
    blur: list[Array],
) -> TextureShift | NoTexture:
    """Gauss-Newton from the peak: shift outward and right at the middle, and how they change."""
    state = np.zeros((6, 2))
    state[0] = start * TUNED.step_m
    prior = np.diag(np.repeat(FIELD_SIGMA**-2.0, 2))
    for _ in range(TUNED.steps):
        look = _compared(band, fields, masks, state)
        if look.count * TUNED.step_m**2 < TUNED.least_ground_m2 / 2:
            return NoTexture(reason=Reason("no-ground", lacking="shifted"))
        rows = look.rows
        weighted = look.weight[:, None] * rows / look.variance
        normal = rows.T @ weighted + prior
        pull = look.residual @ weighted + prior @ state.ravel()
        step = -np.linalg.solve(normal, pull)
        state = state + step.reshape(6, 2)
        if step @ normal @ step < TUNED.settled_sigmas**2:
            break
    if np.abs(state[0]).max() > TUNED.search_m:
        return NoTexture(reason=Reason("no-peak"))
    look = _compared(band, fields, masks, state)
    floor = (
        max(blur, key=lambda each: float(np.trace(each))) * (TUNED.floor_px / TUNED.blur_px) ** 2
    )
    whole = _covariance(look, _blocks(look.shown), prior)
    if whole is None:
        return NoTexture(reason=Reason("poor-texture"))
    covariance = whole[:2, :2] + floor
    worst = float(np.sqrt(np.linalg.eigvalsh(covariance)[-1]))
    if worst > TUNED.largest_sigma_m:
        return NoTexture(reason=Reason("poor-texture", sigma_m=worst))
    axes = np.stack([band.along, -band.left], axis=1)
    return TextureShift(
        at_m=band.middle_m,
        shift_m=axes @ state[0],
        covariance_m2=axes @ covariance @ axes.T,
        slope=axes @ state[1],
        correlation=look.correlation,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Look:
    """The two drawings at a shift, at the n ground points `shown` in both.

    Levels of each (n,), their slopes (n, 2) by the shift, residuals, weights, the basis (n, 6).
    """

    levels: tuple[Array, Array]
    slopes: tuple[Array, Array]
    basis: Array
    residual: Array
    weight: Array
    variance: float
    shown: Flags

    @property
    def count(self) -> int:
        """How many ground points take part."""
        return len(self.residual)

    @property
    def rows(self) -> Array:
        """Derivative (n, 12) of the residuals by the state: the mean of both gradients."""
        return self._rows((self.slopes[0] + self.slopes[1]) / 2)

    @property
    def shared(self) -> Array:
        """Of the normal matrix (12, 12) what both drawings have in common, not each its noise."""
        first, second = map(self._rows, self.slopes)
        both = first.T @ (self.weight[:, None] * second)
        return np.asarray((both + both.T) / 2)

    @property
    def correlation(self) -> float:
        """Of the two drawings."""
        a, b = self.levels
        return float(a @ b) / max(float(np.linalg.norm(a) * np.linalg.norm(b)), 1e-12)

    def _rows(self, slopes: Array) -> Array:
        return np.asarray((self.basis[:, :, None] * slopes[:, None, :]).reshape(self.count, -1))


def _compared(band: Band, fields: Sequence[Floats], masks: Sequence[Flags], state: Array) -> _Look:
    """Both drawings moved half of the shift each, their difference and its derivatives."""
    u, v = np.meshgrid(np.arange(len(band.out_m)), np.arange(band.points_m.shape[0]))
    moved, shown, slopes = [], [], []
    for field, mask, sign in zip(fields, masks, (0.5, -0.5), strict=True):
        apart = sign * (band.basis @ state) / TUNED.step_m
        maps = (u + apart[..., 0]).astype(np.float32), (v + apart[..., 1]).astype(np.float32)
        moved.append(_moved(field, maps))
        shown.append(_moved(mask.astype(np.float32), maps) > 0.999)
        slopes.append(_gradient(moved[-1]))
    both = shown[0] & shown[1]
    # Gradients need whole neighbours, two each way.
    both = np.asarray(cv2.erode(both.astype(np.uint8), np.ones((5, 5), np.uint8)), dtype=bool)
    a, b = (each[both].astype(np.float64) for each in moved)
    gain = np.sqrt(float(a @ a) / max(float(b @ b), 1e-12))
    a, b = a / np.sqrt(gain), b * np.sqrt(gain)
    residual = a - b
    weight = _weights(residual, both)
    grid = np.zeros(both.shape)
    grid[both] = residual * np.sqrt(weight)
    return _Look(
        levels=(a, b),
        slopes=(slopes[0][both] / np.sqrt(gain), slopes[1][both] * np.sqrt(gain)),
        basis=band.basis[both],
        residual=residual,
        weight=weight,
        variance=float(np.mean(weight * residual**2)) * _correlated_pixels(grid, both),
        shown=both,
    )


def _weights(residual: Array, shown: Flags) -> Array:
    """One over the local variance, near 1 where the drawings differ as they do elsewhere."""
    grid = np.zeros(shown.shape)
    grid[shown] = residual**2
    sigma = TUNED.near_m / TUNED.step_m
    above = np.asarray(cv2.GaussianBlur(grid, (0, 0), sigma))
    below = np.asarray(cv2.GaussianBlur(shown.astype(np.float64), (0, 0), sigma))
    local = above / np.maximum(below, 1e-3)
    usual = float(np.median(local[shown])) + 1e-12
    return np.asarray(2 / (1 + local[shown] / usual))


def _gradient(field: Floats) -> Array:
    """Slopes (rows, columns, 2) outward and to the right per m, right to the fourth order."""
    line = np.array([[1.0, -8.0, 0.0, 8.0, -1.0]]) / (12 * TUNED.step_m)
    fine = field.astype(np.float64)
    return np.stack([cv2.filter2D(fine, cv2.CV_64F, kernel) for kernel in (line, line.T)], axis=-1)


def _moved(field: Floats, maps: tuple[Floats, Floats]) -> Floats:
    """Sampled between grid points; OpenCV's cubic kernel would steepen slopes by up to half."""
    taken = cv2.remap(field, *maps, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_CONSTANT)
    return np.asarray(taken, dtype=np.float32)


def _correlated_pixels(residual: Array, shown: Flags) -> float:
    """How many pixels one independent residual stands for: the sum of their autocorrelation."""
    power = np.abs(np.fft.rfft2(residual)) ** 2
    count = np.abs(np.fft.rfft2(shown.astype(np.float64))) ** 2
    auto, pairs = np.fft.irfft2(power, residual.shape), np.fft.irfft2(count, residual.shape)
    reach = round(TUNED.high_pass_m / TUNED.step_m)
    window = np.r_[0 : reach + 1, -reach:0]
    auto, pairs = auto[np.ix_(window, window)], pairs[np.ix_(window, window)]
    ratio = np.where(pairs > 100, auto / np.maximum(pairs, 1), 0)
    return float(max((ratio / ratio[0, 0]).sum(), 1.0)) if ratio[0, 0] > 0 else 1.0


def _blocks(shown: Flags) -> NDArray[np.intp]:
    """Number of the block of ground that each point shown lies in, (n,)."""
    side = round(TUNED.block_m / TUNED.step_m)
    v, u = np.nonzero(shown)
    return np.asarray((v // side) * (shown.shape[1] // side + 1) + u // side)


def _covariance(look: _Look, block: NDArray[np.intp], prior: Array) -> Array | None:
    """Covariance (12, 12) from the peak's curvature and the scatter of its slope over blocks.

    None where the peak is no peak: the drawings share too little for it to be bent downward.
    """
    rows = look.rows
    curvature = look.shared / look.variance + prior
    weighted = look.weight[:, None] * rows / look.variance
    spread = rows.T @ weighted
    names, index = np.unique(block, return_inverse=True)
    scores = np.stack(
        [np.bincount(index, column * look.residual, len(names)) for column in weighted.T], axis=1
    )
    unknowns = scores.shape[1]
    blocks = scores.T @ scores * len(names) / max(len(names) - unknowns, 1)
    slope = at_least(blocks, spread) + prior
    least = float(np.linalg.eigvals(np.linalg.solve(spread + prior, curvature)).real.min())
    if least < TUNED.least_shared:
        return None
    inverse = np.linalg.inv(curvature)
    return np.asarray(inverse @ slope @ inverse)
