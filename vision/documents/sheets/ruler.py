"""Rulers and arrows beside a printed mark: whether it was scaled, and which way it lies."""

from __future__ import annotations

from collections.abc import Callable

from vision.documents.sheets.page import BLACK, SMALLEST_PT, Page, Point

MM_LONG = 100.0
INCHES_LONG = 4
RULER_MM = 11.0
"""What a ruler takes up across: figures, ticks of both systems, figures."""

MIDDLE_MM = RULER_MM / 2


def rulers(page: Page, left: float, bottom: float) -> None:
    """100 mm and 4 in along the bottom and up the left side.

    A printer may scale the way the paper runs and across it differently, so both are there. They
    leave out the corner (left, bottom) that they share.
    """
    start = RULER_MM + 2.0
    _ruler(page, lambda u, v: (left + start + u, bottom - MIDDLE_MM - v), turned=False)
    _ruler(page, lambda u, v: (left + MIDDLE_MM - v, bottom - start - u), turned=True)


def _ruler(page: Page, place: Callable[[float, float], Point], *, turned: bool) -> None:
    """One ruler: u along it, v across it towards the figures in millimetres."""
    page.line(place(0, 0), place(INCHES_LONG * 25.4, 0), line_mm=0.15)
    for mm in range(0, int(MM_LONG) + 1, 5):
        high = 1.8 if mm % 50 == 0 else 1.2 if mm % 10 == 0 else 0.7
        page.line(place(mm, 0), place(mm, high), line_mm=0.15)
    for half in range(2 * INCHES_LONG + 1):
        deep = 1.8 if half % 2 == 0 else 0.9
        page.line(place(half * 12.7, 0), place(half * 12.7, -deep), line_mm=0.15)
    for at_mm, text in ((0.0, "0"), (MM_LONG / 2, "50"), (MM_LONG, "100 mm")):
        page.text(*place(at_mm, 2.2), text, SMALLEST_PT, anchor="middle", turned=turned)
    for inch, text in ((0, "0"), (2, "2"), (INCHES_LONG, "4 in")):
        page.text(*place(inch * 25.4, -4.9), text, SMALLEST_PT, anchor="middle", turned=turned)


def way_arrows(page: Page, left: float, top: float, ahead: str) -> None:
    """An arrow up for `ahead` and one to the left, in the band of the ruler."""
    x, foot = left + RULER_MM - 2.0, top + 26.0
    _arrow(page, (x, foot), (x, top))
    _arrow(page, (x, foot), (left, foot))
    page.text(x - 2.6, foot - 2.0, ahead, SMALLEST_PT, turned=True)
    page.text(left, foot + 4.5, "left", SMALLEST_PT)


def _arrow(page: Page, start: Point, tip: Point) -> None:
    page.line(start, tip, line_mm=0.5)
    dx, dy = tip[0] - start[0], tip[1] - start[1]
    size = (dx * dx + dy * dy) ** 0.5
    dx, dy = dx / size, dy / size
    back = tip[0] - 3.0 * dx, tip[1] - 3.0 * dy
    wings = [(back[0] - side * 1.4 * dy, back[1] + side * 1.4 * dx) for side in (1, -1)]
    page.polygon((tip, *wings), fill=BLACK)
