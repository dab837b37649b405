"""Edges of a picture, linked to strands and cut into pieces, to a fraction of a pixel."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vision.marks.picture import Grey, Pixels
from vision.marks.strands.light import Gradient, along_normals, gradient_of
from vision.marks.strands.pieces import OFFSETS_PX, Pieces, normals_of
from vision.marks.strands.settings import SETTINGS
from vision.units.arrays import Array, Flags

NEIGHBOURS = ((0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1))
"""Steps to the pixels around one, as (v, u)."""

Curve = tuple[Array, float, float, float, int]
"""Middle, normal, bend, length and strand of a piece."""


def find_pieces(bgr: Pixels, where: Flags) -> Pieces:
    """Pieces of the edges that lie `where` (height, width) says, of a picture turned back."""
    gradient = gradient_of(bgr)
    strength = np.hypot(gradient.du, gradient.dv)
    rows, columns, begins = ridges(gradient, strength, where)
    offsets = _peak_offsets(gradient, strength, rows, columns)
    normal = np.stack([gradient.du, gradient.dv], axis=-1)[rows, columns]
    normal = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    places = np.stack([columns, rows], axis=-1) + offsets[:, None] * normal
    strands = _linked(rows, columns, normal, strength[rows, columns], begins, strength.shape)
    curves: list[Curve] = []
    for number, strand in enumerate(strands):
        for part in _cut(places[strand]):
            curves.append((*_curve(places[strand][part], normal[strand][part]), number))
    return _with_profiles(gradient, curves)


def ridges(
    gradient: Gradient, strength: Grey, where: Flags
) -> tuple[NDArray[np.intp], NDArray[np.intp], Flags]:
    """Pixels at which the gradient is largest along itself, and which of them begin an edge."""
    over = strength / np.maximum(gradient.noise, 1e-9)
    clear = (over > SETTINGS.weak) & (strength > SETTINGS.contrast * gradient.light) & where
    clear[:2], clear[-2:], clear[:, :2], clear[:, -2:] = False, False, False, False
    rows, columns = np.nonzero(clear)
    here = strength[rows, columns]
    du, dv = gradient.du[rows, columns] / here, gradient.dv[rows, columns] / here
    ahead, behind = (_at(strength, columns + s * du, rows + s * dv) for s in (1.0, -1.0))
    top = (here >= ahead) & (here > behind)
    rows, columns = rows[top], columns[top]
    return rows, columns, over[rows, columns] > SETTINGS.strong


def _at(image: Grey, u: Array, v: Array) -> Array:
    """Values between pixels, bilinear; places must lie inside."""
    left, top = np.floor(u).astype(int), np.floor(v).astype(int)
    a, b = u - left, v - top
    upper = image[top, left] * (1 - a) + image[top, left + 1] * a
    lower = image[top + 1, left] * (1 - a) + image[top + 1, left + 1] * a
    return np.asarray(upper * (1 - b) + lower * b)


def _peak_offsets(
    gradient: Gradient, strength: Grey, rows: NDArray[np.intp], columns: NDArray[np.intp]
) -> Array:
    """How far along the gradient from its pixel the peak lies, by a parabola through three."""
    here = strength[rows, columns].astype(np.float64)
    du, dv = gradient.du[rows, columns] / here, gradient.dv[rows, columns] / here
    ahead, behind = (_at(strength, columns + s * du, rows + s * dv) for s in (1.0, -1.0))
    bent = ahead - 2 * here + behind
    return np.asarray(np.clip(0.5 * (behind - ahead) / np.minimum(bent, -1e-12), -0.7, 0.7))


def _linked(
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
    normal: Array,
    strength: Array,
    begins: Flags,
    shape: tuple[int, ...],
) -> list[NDArray[np.intp]]:
    """Strands of pixels, each in order from one end to the other; the strongest begin."""
    index = np.full(shape, -1, dtype=np.int64)
    index[rows, columns] = np.arange(len(rows))
    free = np.ones(len(rows), dtype=bool)
    found = []
    for seed in np.argsort(-strength):
        if not (free[seed] and begins[seed]):
            continue
        free[seed] = False
        ways = [_followed(int(seed), sign, rows, columns, normal, index, free) for sign in (1, -1)]
        strand = np.array([*reversed(ways[1]), int(seed), *ways[0]], dtype=np.intp)
        if len(strand) >= SETTINGS.least_px * 0.7:
            found.append(strand)
    return found


def _followed(
    seed: int,
    sign: int,
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
    normal: Array,
    index: NDArray[np.int64],
    free: Flags,
) -> list[int]:
    """Pixels from `seed` on along the edge, one way; each is taken once."""
    path: list[int] = []
    here = seed
    while True:
        n = normal[here]
        along = (-n[1] * sign, n[0] * sign)
        best, score = -1, 0.3
        for dv, du in NEIGHBOURS:
            other = int(index[rows[here] + dv, columns[here] + du])
            if other < 0 or not free[other]:
                continue
            same = n[0] * normal[other, 0] + n[1] * normal[other, 1]
            if same < SETTINGS.most_turn:
                continue
            ahead = (du * along[0] + dv * along[1]) / np.hypot(du, dv)
            if ahead > score:
                best, score = other, ahead
        if best < 0:
            return path
        free[best] = False
        path.append(best)
        here = best


def _cut(places_px: Array) -> list[slice]:
    """A strand cut to pieces that are long enough and lie on one shallow curve each."""
    done: list[slice] = []
    waiting = [slice(0, len(places_px))]
    while waiting:
        part = waiting.pop()
        along = places_px[part]
        length = float(np.linalg.norm(along[-1] - along[0]))
        if length < SETTINGS.least_px:
            continue
        count = int(np.ceil(length / SETTINGS.piece_px))
        if count > 1:
            ends = np.linspace(part.start, part.stop, count + 1).astype(int)
            waiting += [slice(a, b) for a, b in pairwise(ends)]
        elif _off_curve(along) > SETTINGS.straight_px:
            middle = (part.start + part.stop) // 2
            waiting += [slice(part.start, middle), slice(middle, part.stop)]
        else:
            done.append(part)
    return sorted(done, key=lambda part: int(part.start))


def _parabola(places_px: Array) -> tuple[Array, Array, Array, Array]:
    """Chord's middle and direction, and the parabola of the distance from it, over the chord."""
    first, last = places_px[0], places_px[-1]
    middle = 0.5 * (first + last)
    along = (last - first) / max(float(np.linalg.norm(last - first)), 1e-9)
    across = np.array([along[1], -along[0]])
    off = places_px - middle
    s, d = off @ along, off @ across
    return middle, along, np.polynomial.polynomial.polyfit(s, d, 2), np.stack([s, d])


def _off_curve(places_px: Array) -> float:
    """RMS distance of places from their parabola."""
    _, _, terms, (s, d) = _parabola(places_px)
    return float(np.sqrt(np.mean((d - np.polynomial.polynomial.polyval(s, terms)) ** 2)))


def _curve(places_px: Array, normals: Array) -> tuple[Array, float, float, float]:
    """Middle, normal, bend and length of a piece, its normal to the brighter side."""
    middle, along, terms, (s, _) = _parabola(places_px)
    across = np.array([along[1], -along[0]])
    half = 0.5 * (s.max() + s.min())
    slope = terms[1] + 2 * terms[2] * half
    at = np.polynomial.polynomial.polyval(half, terms)
    place = middle + half * along + at * across
    normal = (across - slope * along) / np.hypot(1, slope)
    bend = 2 * terms[2] / (1 + slope**2) ** 1.5
    if float(normals.mean(axis=0) @ normal) < 0:
        normal, bend = -normal, -bend
    return place, float(np.arctan2(normal[1], normal[0])), float(bend), float(np.ptp(s))


def _with_profiles(gradient: Gradient, curves: list[Curve]) -> Pieces:
    """The pieces with the profile across each, and moved onto its own peak."""
    count = len(curves)
    pieces = Pieces(
        middle_px=np.array([each[0] for each in curves]).reshape(count, 2),
        normal_rad=np.array([each[1] for each in curves], dtype=np.float64),
        bend=np.array([each[2] for each in curves], dtype=np.float64),
        length_px=np.array([each[3] for each in curves], dtype=np.float64),
        profile=np.zeros((count, len(OFFSETS_PX))),
        strand=np.array([each[4] for each in curves], dtype=np.int64),
    )
    if not count:
        return pieces
    profile = profiles(gradient, pieces.places())
    middle = np.abs(OFFSETS_PX) <= 1.5
    peak = np.nanmax(np.where(middle, profile, -np.inf), axis=1)
    whole = np.isfinite(profile).all(axis=1) & (peak > 0)
    profile = profile[whole] / peak[whole, None]
    kept = pieces.only(whole)
    return Pieces(
        middle_px=kept.middle_px,
        normal_rad=kept.normal_rad,
        bend=kept.bend,
        length_px=kept.length_px,
        profile=profile,
        strand=kept.strand,
    )


def profiles(gradient: Gradient, places_px: Array, offsets_px: Array = OFFSETS_PX) -> Array:
    """Mean slope of the light along the normals of curves (n, m, 2), (n, k); NaN outside."""
    normals = normals_of(places_px).astype(np.float32)
    offsets = offsets_px.astype(np.float32)
    # Single precision is a thousandth of a pixel here, and twice as fast.
    across = places_px.astype(np.float32)[:, :, None] + offsets[:, None] * normals[:, :, None]
    slopes = along_normals(gradient, across, normals[:, :, None])
    total: Array = np.einsum("nmk->nk", slopes).astype(np.float64)
    return np.asarray(total / places_px.shape[1])
