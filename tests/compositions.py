"""Screens that show several cameras, put together from pictures of one camera each.

What a display does, written out for tests: pictures shrunk into panes, bars between, the whole
resized and compressed. Nothing here is used by what reads them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np

Rect = tuple[int, int, int, int]
LAYOUTS = ("2x2", "1x4", "4x1", "large left", "large top")


@dataclass(frozen=True, kw_only=True)
class Screen:
    """What a display shows, and where each pane is: left, top, width, height."""

    bgr: np.ndarray
    rects: tuple[Rect, ...]


def rects_of(layout: str, size: tuple[int, int], bar: int) -> list[Rect]:
    """The panes of a screen of that size with bars of so many px between them and round it."""
    width, height = size

    def line(length: int, parts: Sequence[float]) -> list[tuple[int, int]]:
        free = length - bar * (len(parts) + 1)
        ends = np.round(np.cumsum([0, *parts]) / sum(parts) * free).astype(int)
        return [(int(a) + bar * (i + 1), int(b - a)) for i, (a, b) in enumerate(pairwise(ends))]

    match layout:
        case "2x2":
            return [(x, y, w, h) for y, h in line(height, (1, 1)) for x, w in line(width, (1, 1))]
        case "1x4":
            return [(x, y, w, h) for y, h in line(height, (1,)) for x, w in line(width, (1,) * 4)]
        case "4x1":
            return [(x, y, w, h) for y, h in line(height, (1,) * 4) for x, w in line(width, (1,))]
        case "large left":
            (x, w), (x2, w2) = line(width, (3, 1))
            ((top, tall),) = line(height, (1,))
            return [(x, top, w, tall), *((x2, y, w2, h) for y, h in line(height, (1, 1, 1)))]
        case "large top":
            (y, h), (y2, h2) = line(height, (3, 1))
            ((left, wide),) = line(width, (1,))
            return [(left, y, wide, h), *((x, y2, w, h2) for x, w in line(width, (1, 1, 1)))]
    raise ValueError(layout)


def compose(
    pictures: Sequence[np.ndarray],
    layout: str,
    size: tuple[int, int],
    *,
    bar: int = 0,
    level: int = 0,
    quality: int = 92,
) -> Screen:
    """Put pictures into the panes of a screen, in the order of reading."""
    rects = rects_of(layout, size, bar)
    bgr = np.full((size[1], size[0], 3), level, np.uint8)
    for (left, top, width, height), picture in zip(rects, pictures, strict=True):
        shrunk = cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA)
        bgr[top : top + height, left : left + width] = shrunk
    data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return Screen(bgr=cv2.imdecode(data, cv2.IMREAD_COLOR), rects=tuple(rects))
