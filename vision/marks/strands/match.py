"""How far an edge lies, along its normal, from where it is expected in another picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.marks.strands.find import profiles
from vision.marks.strands.light import Gradient
from vision.marks.strands.pieces import OFFSETS_PX
from vision.marks.strands.settings import SETTINGS
from vision.units.arrays import Array, Flags

TAPER = np.exp(-0.5 * (OFFSETS_PX / SETTINGS.taper_px) ** 2)
"""Weight of a profile's places."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Matched:
    """Edges (n,): how far along its normal each lies from its place, and how sure that is.

    `off_px` with `sigma_px`, what light and noise leave; `alike` the correlation of the profiles,
    whatever the sign: an edge whose bright side has become the dark one is the same edge. NaN, NaN
    and 0 where the picture does not reach; `found` where a match is good enough to count.
    """

    off_px: Array
    sigma_px: Array
    alike: Array

    @property
    def found(self) -> Flags:
        """Which edges were found again."""
        return np.asarray(self.alike >= SETTINGS.alike)


def match(gradient: Gradient, places_px: Array, profile: Array, search_px: float) -> Matched:
    """Match profiles (n, k) at `OFFSETS_PX` with a picture at places (n, m, 2), within a distance.

    The correlation of both under the same taper, at every half pixel; its peak by a parabola.
    """
    return _peaks(likeness(gradient, places_px, profile, search_px), profile)


def likeness(gradient: Gradient, places_px: Array, profile: Array, search_px: float) -> Array:
    """How alike profiles (n, k) are to a picture's at each half pixel along the normal, (n, s).

    The middle one of s is the place itself, and one more than `search_px` asks for stands at each
    end. 0 where there is no edge, or no picture.
    """
    step = SETTINGS.step_px
    extra = int(np.ceil(search_px / step)) + 1
    reach = len(OFFSETS_PX) // 2 + extra
    wide = profiles(gradient, places_px, step * np.arange(-reach, reach + 1.0))
    windows = np.lib.stride_tricks.sliding_window_view(wide, len(OFFSETS_PX), axis=1)
    product = (windows @ (profile * TAPER)[..., None])[..., 0]
    power = np.lib.stride_tricks.sliding_window_view(wide * wide, len(OFFSETS_PX), axis=1) @ TAPER
    own = np.square(profile) @ TAPER
    with np.errstate(invalid="ignore", divide="ignore"):
        alike = np.abs(product) / np.sqrt(power * own[:, None])
    least = _least_slopes(gradient, places_px)
    enough = np.abs(product) / own[:, None] > least[:, None]
    return np.nan_to_num(np.where(enough, alike, 0.0))


def _least_slopes(gradient: Gradient, places_px: Array) -> Array:
    """Least slope of the light (n,) across an edge that is one: over its noise, and by contrast."""
    height, width = gradient.light.shape
    middle = np.nan_to_num(places_px[:, places_px.shape[1] // 2])
    u, v = np.rint(middle).astype(int).T
    at = np.clip(v, 0, height - 1), np.clip(u, 0, width - 1)
    length = np.linalg.norm(places_px[:, -1] - places_px[:, 0], axis=1)
    independent = np.maximum(length / (2 * SETTINGS.scale_px), 1.0)
    noise = SETTINGS.weak * gradient.noise[at] / np.sqrt(independent)
    return np.asarray(np.maximum(noise, SETTINGS.faded * SETTINGS.contrast * gradient.light[at]))


def _peaks(alike: Array, profile: Array) -> Matched:
    count, shifts = alike.shape
    step = SETTINGS.step_px
    best = 1 + alike[:, 1:-1].argmax(axis=1)
    rows = np.arange(count)
    before, peak, after = (alike[rows, best + i] for i in (-1, 0, 1))
    bent = before - 2 * peak + after
    # At the end of the search there is no peak, only a slope.
    ended = (bent >= 0) | (before > peak) | (after > peak) | (peak <= 0)
    part = np.where(ended, 0.0, 0.5 * (before - after) / np.where(bent < 0, bent, -1.0))
    off = (best - shifts // 2 + part) * step
    # What the best profile leaves is noise of that size in every place that its slope weighs.
    slope = np.gradient(profile, step, axis=1)
    left = np.clip(1 - peak**2, 1e-4, 1) / np.clip(peak**2, 1e-2, 1)
    ratio = (np.square(profile) @ TAPER) / np.maximum(np.square(slope) @ TAPER, 1e-9)
    independent = np.sqrt(2 * np.pi) * SETTINGS.taper_px / (2 * SETTINGS.scale_px)
    sigma = np.sqrt(left * ratio / independent)
    return Matched(
        off_px=np.where(ended, np.nan, off),
        sigma_px=np.where(ended, np.nan, np.hypot(sigma, SETTINGS.floor_px)),
        alike=np.where(ended, 0.0, peak),
    )
