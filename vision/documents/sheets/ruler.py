"""Rulers and arrows beside a printed mark: whether it was scaled, and which way it lies."""

from __future__ import annotations

from collections.abc import Callable

from vision.documents.sheets.drawing import BLACK, Picture, Point, arrowhead

MM_LONG = 100.0
INCHES_LONG = 4
RULER_MM = 11.0
"""What a ruler takes up across: figures, ticks of both systems, figures."""

MIDDLE_MM = RULER_MM / 2


def rulers(page: Picture, left: float, low: float) -> None:
    """100 mm and 4 in along the bottom and up the left side.

    A printer may scale the way the paper runs and across it differently, so both are there. They
    leave out the corner (left, low) that they share.
    """
    start = RULER_MM + 2.0
    _ruler(page, lambda u, v: (left + start + u, low + MIDDLE_MM + v), turned=False)
    _ruler(page, lambda u, v: (left + MIDDLE_MM - v, low + start + u), turned=True)


def _ruler(page: Picture, place: Callable[[float, float], Point], *, turned: bool) -> None:
    """One ruler: u along it, v across it towards the figures in millimetres."""
    page.line(place(0, 0), place(INCHES_LONG * 25.4, 0), width=0.15)
    for mm in range(0, int(MM_LONG) + 1, 5):
        high = 1.8 if mm % 50 == 0 else 1.2 if mm % 10 == 0 else 0.7
        page.line(place(mm, 0), place(mm, high), width=0.15)
    for half in range(2 * INCHES_LONG + 1):
        deep = 1.8 if half % 2 == 0 else 0.9
        page.line(place(half * 12.7, 0), place(half * 12.7, -deep), width=0.15)
    for at_mm, text in ((0.0, "0"), (MM_LONG / 2, "50"), (MM_LONG, "100 mm")):
        page.text(*place(at_mm, 2.2), text, anchor="middle", turned=turned)
    for inch, text in ((0, "0"), (2, "2"), (INCHES_LONG, "4 in")):
        page.text(*place(inch * 25.4, -4.9), text, anchor="middle", turned=turned)


def way_arrows(page: Picture, left: float, top: float, ahead: str) -> None:
    """An arrow up for `ahead` and one to the left, in the band of the ruler."""
    foot = left + RULER_MM - 2.0, top - 26.0
    for tip in ((foot[0], top), (left, foot[1])):
        page.line(foot, tip, width=0.5)
        page.polygon(arrowhead(tip, foot, 3.0, 1.4), fill=BLACK)
    page.text(foot[0] - 2.6, foot[1] + 2.0, ahead, turned=True)
    page.text(left, foot[1] - 4.5, "left")
