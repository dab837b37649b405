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
        normal = look.rows.T @ (look.weight[:, None] * look.rows) / look.variance + prior
        pull = look.rows.T @ (look.weight * look.residual) / look.variance + prior @ state.ravel()
        step = -np.linalg.solve(normal, pull).reshape(6, 2)
        state = state + step
        if np.abs(step[0]).max() < TUNED.settled_m:
            break
    if np.abs(state[0]).max() > TUNED.search_m:
        return NoTexture(reason=Reason("no-peak"))
    look = _compared(band, fields, masks, state)
    floor = (
        max(blur, key=lambda each: float(np.trace(each))) * (TUNED.floor_px / TUNED.blur_px) ** 2
    )
    whole = _covariance(look, prior)
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
    """The two drawings at a shift: residuals (n,), rows (n, 12), weights, blocks, noise."""

    residual: Array
    rows: Array
    shared: Array
    weight: Array
    block: NDArray[np.int_]
    variance: float
    correlation: float
    shown: Flags

    @property
    def count(self) -> int:
        """How many ground points take part."""
        return int(self.shown.sum())


def _compared(band: Band, fields: Sequence[Floats], masks: Sequence[Flags], state: Array) -> _Look:
    """Both drawings moved half of the shift each, their difference and its derivatives."""
    u, v = np.meshgrid(np.arange(len(band.out_m)), np.arange(band.points_m.shape[0]))
    basis = band.basis
    moved, shown, slopes = [], [], []
    for field, mask, sign in zip(fields, masks, (0.5, -0.5), strict=True):
        apart = sign * (basis @ state) / TUNED.step_m
        maps = (u + apart[..., 0]).astype(np.float32), (v + apart[..., 1]).astype(np.float32)
        moved.append(_moved(field, maps))
        shown.append(_moved(mask.astype(np.float32), maps) > 0.999)
        slopes.append(_gradient(moved[-1].astype(np.float64)))
    both = shown[0] & shown[1]
    # Gradients need whole neighbours, two each way.
    both = np.asarray(cv2.erode(both.astype(np.uint8), np.ones((5, 5), np.uint8)), dtype=bool)
    a, b = (each[both].astype(np.float64) for each in moved)
    gain = np.sqrt(float(a @ a) / max(float(b @ b), 1e-12))
    a, b = a / np.sqrt(gain), b * np.sqrt(gain)
    of_a, of_b = slopes[0][:, both].T / np.sqrt(gain), slopes[1][:, both].T * np.sqrt(gain)
    residual = a - b
    weight = _weights(residual, both)
    rows_a, rows_b = (
        (basis[both][:, :, None] * each[:, None, :]).reshape(len(a), -1) for each in (of_a, of_b)
    )
    rows = (rows_a + rows_b) / 2
    shared = rows_a.T @ (weight[:, None] * rows_b)
    side = round(TUNED.block_m / TUNED.step_m)
    block = (v[both] // side) * (len(band.out_m) // side + 1) + u[both] // side
    grid = np.zeros(both.shape)
    grid[both] = residual * np.sqrt(weight)
    variance = float(np.mean(weight * residual**2)) * _correlated_pixels(grid, both)
    return _Look(
        residual=residual,
        rows=rows,
        shared=(shared + shared.T) / 2,
        weight=weight,
        block=block,
        variance=variance,
        correlation=float(a @ b / max(np.sqrt((a @ a) * (b @ b)), 1e-12)),
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


def _gradient(field: Array) -> Array:
    """Slopes (2, rows, columns) outward and to the right per m, right to the fourth order."""
    line = np.array([[1.0, -8.0, 0.0, 8.0, -1.0]]) / (12 * TUNED.step_m)
    both = [cv2.filter2D(field, cv2.CV_64F, kernel) for kernel in (line, line.T)]
    return np.stack([np.asarray(each, dtype=np.float64) for each in both])


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


def _covariance(look: _Look, prior: Array) -> Array | None:
    """Covariance (12, 12) from the peak's curvature and the scatter of its slope over blocks.

    None where the peak is no peak: the drawings share too little for it to be bent downward.
    """
    curvature = look.shared / look.variance + prior
    weighted = look.weight[:, None] * look.rows / look.variance
    spread = look.rows.T @ weighted
    names, index = np.unique(look.block, return_inverse=True)
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
