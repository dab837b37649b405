"""One picture that shows several cameras: where its panes lie, and each cut out.

A screen that is divided shows each camera in a pane of its own, with bars between or without. Panes
meet in straight lines from edge to edge, across which rows or columns that belong to two cameras do
not go on: a step that is larger than what the picture does to either side of it, at many places of
the line, and none beside the line. Nothing in a wide-angle view of a yard does that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vision.marks.picture import Picture
from vision.marks.settings import SETTINGS
from vision.marks.sources.origin import Source
from vision.units.arrays import Array

TUNED = SETTINGS.panes

Pane = tuple[int, int, int, int]
"""Left, top, width and height in px of the picture as delivered."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cut:
    """Where a rectangle is cut: across rows (`axis` 1) or columns (0), before pixel `at` of it."""

    share: float
    axis: int
    at: int


def find_panes(grey: np.ndarray, count: int) -> tuple[Pane, ...] | None:
    """Find `count` panes in a picture (height, width) as delivered, in the order of reading.

    An even grid is tried first, whose seams are known but for the bars: two views that are alike at
    their seam show little there. Else the plainest line is cut again and again. None where the
    picture does not fall into so many.
    """
    levels = np.asarray(grey, dtype=np.float32)
    whole = _trimmed(levels, (0, 0, levels.shape[1], levels.shape[0]))
    if min(whole[2:]) < TUNED.least_side_px:
        return None
    panes = _grid(levels, whole, count) or _cut_up(levels, whole, count)
    if panes is None or min(min(each[2:]) for each in panes) < TUNED.least_side_px:
        return None
    return tuple(sorted(panes, key=lambda pane: (round(pane[1] / TUNED.row_px), pane[0])))


def cut_out(picture: Picture, pane: Pane, name: str, *, mirrored: bool) -> Picture:
    """The picture of one camera, from one pane of it and of its further pictures."""
    left, top, width, height = pane
    delivered = picture.bgr[:, ::-1] if picture.mirrored else picture.bgr
    return Picture.from_delivered(
        name=name,
        file=picture.file,
        sha256=picture.sha256,
        mirrored=mirrored,
        bgr=np.ascontiguousarray(delivered[top : top + height, left : left + width]),
        sources=tuple(_moved(each, pane) for each in picture.own_sources),
    ).with_further([cut_out(each, pane, name, mirrored=mirrored) for each in picture.shots])


def _moved(source: Source, pane: Pane) -> Source:
    left, top = source.crop_px[:2]
    if source.homography is not None:
        moved = np.array([[1.0, 0, pane[0]], [0, 1, pane[1]], [0, 0, 1]])
        return replace(source, homography=source.homography @ moved)
    return replace(source, crop_px=(left + pane[0], top + pane[1], pane[2], pane[3]))


def _grid(levels: np.ndarray, whole: Pane, count: int) -> list[Pane] | None:
    """The even grid of so many panes whose seams are the plainest; None where none is plain."""
    view = _view(levels, whole)
    shares = [_shares(view), _shares(view.T)]
    best: tuple[float, list[list[int]]] | None = None
    for rows in (each for each in range(1, count + 1) if count % each == 0):
        cuts = [_near(shares[0], count // rows), _near(shares[1], rows)]
        found = [float(shares[axis][at]) for axis in (0, 1) for at in cuts[axis]]
        score = float(np.mean(found)) if found else 0.0
        plain = score >= TUNED.least_share and min(found) >= TUNED.faintest_share * score
        if plain and (best is None or score > best[0]):
            best = score, cuts
    if best is None:
        return None
    (left, top, width, height), (across, down) = whole, best[1]
    xs, ys = [0, *across, width], [0, *down, height]
    panes = [
        _trimmed(levels, (left + xs[i], top + ys[j], xs[i + 1] - xs[i], ys[j + 1] - ys[j]))
        for j in range(len(ys) - 1)
        for i in range(len(xs) - 1)
    ]
    sizes = np.array([pane[2:] for pane in panes])
    uneven = np.ptp(sizes, axis=0) > np.maximum(3, TUNED.irregular * sizes.max(axis=0))
    return None if uneven.any() else panes


def _near(shares: Array, parts: int) -> list[int]:
    """Where to cut into even parts: the plainest line near each place; there may be bars."""
    places = []
    for part in range(1, parts):
        middle = round(part * len(shares) / parts)
        low = max(middle - TUNED.bar_px, 0)
        places.append(low + int(np.argmax(shares[low : middle + TUNED.bar_px + 1])))
    return places


def _cut_up(levels: np.ndarray, whole: Pane, count: int) -> list[Pane] | None:
    """Cut the plainest line of all panes until there are so many."""
    panes = [whole]
    while len(panes) < count:
        cuts = [(_best_cut(_view(levels, pane)), index) for index, pane in enumerate(panes)]
        best, index = max(cuts, key=lambda each: each[0].share)
        if best.share < TUNED.least_share:
            regular = _regular_cut(panes)
            if regular is None:
                return None
            best, index = regular
        pane = panes.pop(index)
        panes += [_trimmed(levels, part) for part in _parts(pane, best)]
        panes = [each for each in panes if min(each[2:]) >= TUNED.least_side_px]
    return panes


def _view(levels: np.ndarray, pane: Pane) -> np.ndarray:
    left, top, width, height = pane
    return levels[top : top + height, left : left + width]


def _parts(pane: Pane, cut: _Cut) -> tuple[Pane, Pane]:
    left, top, width, height = pane
    if cut.axis == 0:
        return (left, top, cut.at, height), (left + cut.at, top, width - cut.at, height)
    return (left, top, width, cut.at), (left, top + cut.at, width, height - cut.at)


def _best_cut(levels: np.ndarray) -> _Cut:
    """The line across a rectangle at which most places step."""
    best = _Cut(share=0.0, axis=0, at=0)
    for axis, turned in ((0, levels), (1, levels.T)):
        if turned.shape[1] >= 2 * TUNED.least_side_px:
            shares = _shares(turned)
            at = int(np.argmax(shares))
            if shares[at] > best.share:
                best = _Cut(share=float(shares[at]), axis=axis, at=at)
    return best


def _regular_cut(panes: Sequence[Pane]) -> tuple[_Cut, int] | None:
    """Where a pane is twice as long as one beside it: two of a row that look alike at their seam.

    None where there is no such pane.
    """
    for index, pane in enumerate(panes):
        for other in panes:
            for axis in (0, 1):
                length, one = pane[2 + axis], other[2 + axis]
                beside = abs(pane[1 - axis] - other[1 - axis]) + abs(
                    pane[3 - axis] - other[3 - axis]
                )
                if beside <= 2 and abs(length - 2 * one) < max(TUNED.irregular * length, 3):
                    return _Cut(share=0.0, axis=axis, at=length - one), index
    return None


def _shares(levels: np.ndarray) -> Array:
    """By column of (n, width), the share of its rows that step between it and the one before.

    Less the share of the columns beside it, right and left: an edge in a view is never so straight.
    A picture that was resized afterwards steps over two pixels; the plainer of both readings is
    taken.
    """
    step = np.abs(np.diff(levels, axis=1))
    wide = np.abs(levels[:, 2:] - levels[:, :-2])
    shares = np.zeros(levels.shape[1])
    # Between columns x-1 and x, against x-2 to x-1 and x to x+1.
    beside = np.maximum(step[:, :-2], step[:, 2:])
    shares[2:-1] = (step[:, 1:-1] > TUNED.times * beside + TUNED.least_step).mean(axis=0)
    beside = np.maximum(step[:, :-3], step[:, 3:])
    soft = wide[:, 1:-1] > TUNED.times * beside + TUNED.least_step
    steeper = step[:, 2:-1] >= step[:, 1:-2]
    shares[3:-1] = np.maximum(shares[3:-1], (soft & steeper).mean(axis=0))
    shares[2:-2] = np.maximum(shares[2:-2], (soft & ~steeper).mean(axis=0))
    # On both sides: the other edge of a thin bar lies on one.
    left, right = (np.maximum(np.roll(shares, 3 * by), np.roll(shares, 4 * by)) for by in (1, -1))
    alone = np.asarray(shares - np.minimum(left, right))
    edge = TUNED.least_side_px
    alone[:edge] = alone[len(alone) - edge :] = 0.0
    return alone


def _trimmed(levels: np.ndarray, pane: Pane) -> Pane:
    """The pane without bars of one even level along its edges."""
    view = _view(levels, pane)
    if view.size == 0:
        return pane
    rows, columns = (_bar_ends(view, axis) for axis in (1, 0))
    left, top = pane[0] + columns[0], pane[1] + rows[0]
    return (left, top, columns[1] - columns[0], rows[1] - rows[0])


def _bar_ends(view: np.ndarray, axis: int) -> tuple[int, int]:
    """First and last plus one of the rows (axis 1) or columns (0) that are no bar."""
    low, high = np.percentile(view, (5, 95), axis=axis)
    even = high - low < TUNED.bar_spread
    if even.all():
        return 0, 0
    return int(np.argmin(even)), len(even) - int(np.argmin(even[::-1]))
