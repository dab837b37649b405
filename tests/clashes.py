"""Finds what cannot be read on a printed page."""

from __future__ import annotations

import itertools

from vision.sheets.page import Box, Page, Shape, clipped


def clashes(page: Page) -> list[str]:
    """Texts that cover each other, leave the page, or are covered by a black shape drawn later."""
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
        if text.grey < 0.5 and clipped(shape.points, box.grown(-0.2)):
            found.append(f"{text.text!r} under a black shape")
    return found
