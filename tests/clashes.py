"""Finds what cannot be read on a printed page."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tests.drawn import Box, Disc, Page, Point, Shape, Text, drawn
from vision.documents.sheets.drawing import Picture, clipped
from vision.units.arrays import Array


def clashes(picture: Picture) -> list[str]:
    """Texts that cover each other, leave the page, lie under a black shape or across a line."""
    page = drawn(picture)
    texts = [(text, text.box) for text in page.texts]
    edge = Box(left=5, top=5, right=page.width_mm - 5, bottom=page.height_mm - 5)
    found = [f"{text.text!r} leaves the page" for text, box in texts if not edge.holds(box)]
    for (a, one), (b, other) in itertools.combinations(texts, 2):
        if one.overlaps(other):
            found.append(f"{a.text!r} over {b.text!r}")
    black = [
        item for item in page.items
        if isinstance(item, Shape) and item.fill is not None and item.fill < 0.5
    ]  # fmt: skip
    for (text, box), shape in itertools.product(texts, black):
        if text.grey < 0.5 and _within(shape.points, box.grown(-0.2)):
            found.append(f"{text.text!r} under a black shape")
    return found + crossed(page)


def crossed(page: Page) -> list[str]:
    """Texts that a line or a dot runs through; what something opaque hides is not seen."""
    found = []
    order = np.array([index for index, _ in lines_of(page)])
    lines = np.array([ends for _, ends in lines_of(page)]).reshape(-1, 2, 2)
    dots = [(index, item) for index, item in enumerate(page.items) if isinstance(item, Disc)]
    for index, text in enumerate(page.items):
        if not isinstance(text, Text):
            continue
        box = _inked(text).grown(-0.2)
        through = order[_runs_through(lines, box)]
        on = [each for each, dot in dots if _on_dot(box, dot)]
        hidden = -1
        if any(each < index for each in (*through, *on)):
            hidden = max((i for i in range(index) if _hides(page.items[i], box)), default=-1)
        if (through > hidden).any():
            found.append(f"{text.text!r} across a line")
        if any(each > hidden for each in on):
            found.append(f"{text.text!r} on a dot")
    return found


def _inked(text: Text) -> Box:
    """What the ink of a text covers: where no letter reaches below the line, nothing does."""
    if set(text.text) & set("gjpqyQ,;()[]/|"):
        return text.box
    return replace(text.box, right=text.x) if text.turned else replace(text.box, bottom=text.y)


def _hides(item: Text | Shape | Disc, box: Box) -> bool:
    """Whether something opaque lies over all of a box."""
    if isinstance(item, Disc):
        corners = itertools.product((box.left, box.right), (box.top, box.bottom))
        return all(math.hypot(x - item.x, y - item.y) <= item.radius for x, y in corners)
    if isinstance(item, Text) or item.fill is None:
        return False
    whole = box.width * box.height
    return abs(_area(_within(item.points, box)) - whole) < 1e-6 * whole


def _within(points: Sequence[Point], box: Box) -> tuple[Point, ...]:
    return clipped(points, (box.left, box.top, box.right, box.bottom))


def _area(points: Sequence[Point]) -> float:
    turned = [*points[1:], *points[:1]]
    return abs(sum(a[0] * b[1] - a[1] * b[0] for a, b in zip(points, turned, strict=True))) / 2


def _on_dot(box: Box, dot: Disc) -> bool:
    x, y = min(max(dot.x, box.left), box.right), min(max(dot.y, box.top), box.bottom)
    return dot.fill < 0.5 and math.hypot(x - dot.x, y - dot.y) < dot.radius


def lines_of(page: Page) -> Iterator[tuple[int, tuple[Point, Point]]]:
    """Every straight piece of line that is drawn, with the number of its item."""
    for index, item in enumerate(page.items):
        if isinstance(item, Shape) and item.line_mm > 0:
            points = (*item.points, item.points[0]) if item.closed else item.points
            for ends in itertools.pairwise(points):
                yield index, ends


def _runs_through(lines: Array, box: Box) -> NDArray[np.bool_]:
    """Which of the lines (n, 2, 2) enter a box; after Liang and Barsky (1984)."""
    start, step = lines[:, 0], lines[:, 1] - lines[:, 0]
    low_edge, high_edge = np.array([[box.left, box.top], [box.right, box.bottom]])
    with np.errstate(divide="ignore", invalid="ignore"):
        shares = np.stack([(low_edge - start) / step, (high_edge - start) / step])
    within = (low_edge < start) & (start < high_edge)
    first = np.where(step == 0, np.where(within, 0.0, np.inf), shares.min(axis=0)).max(axis=1)
    last = np.where(step == 0, np.where(within, 1.0, -np.inf), shares.max(axis=0)).min(axis=1)
    return np.asarray(np.maximum(first, 0.0) < np.minimum(last, 1.0))
