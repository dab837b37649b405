"""The templates, and what they draw with: arrows, the aim view, outlines of the target picture."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from jinja2 import Environment

from cli.lot.shown import Aim, Card, Kind
from vision.documents.cautions import CAUTION
from vision.documents.progress import AngleLeft
from vision.documents.templates import page_templates
from vision.units.arrays import Array

TURN = {
    "pan": ("left", "right"),
    "tilt": ("down", "up"),
    "roll": ("clockwise", "anticlockwise"),
}
"""Which way to turn what is off to the negative, and to the positive side."""
ARROWS = {
    "up": "M50 6 92 52H68V94H32V52H8Z",
    "down": "M50 94 8 48H32V6H68V48H92Z",
    "left": "M6 50 52 8V32H94V68H52V92Z",
    "right": "M94 50 48 92V68H6V32H48V8Z",
    "clockwise": "M50 10A40 40 0 0 1 88 62L98 66 74 88 58 58 71 60A23 23 0 0 0 50 28"
    "A23 23 0 0 0 33 66L21 78A40 40 0 0 1 50 10Z",
    "anticlockwise": "M50 10A40 40 0 0 0 12 62L2 66 26 88 42 58 29 60A23 23 0 0 1 50 28"
    "A23 23 0 0 1 67 66L79 78A40 40 0 0 0 50 10Z",
}
"""Of 100 by 100."""
HALF, ROOM = 100.0, 88.0
"""Half the width of the aim view, and how far from its middle something is drawn at most."""
GOOD = ("keep", "within")
OPEN = ("", "not-judged")
LEAST_SPAN_DEG = 2.0


def environment() -> Environment:
    """The templates with everything they draw with."""
    made = page_templates("cli.lot")
    made.filters.update(
        kind=kind,
        word=lambda verdict: "not judged" if verdict == "not-judged" else verdict or "looking",
        points=points,
        one=lambda value: f"{abs(value):.1f}",
    )
    made.globals.update(
        caution=CAUTION, worst=worst, way=way, others=others, aim_view=aim_view, ARROWS=ARROWS
    )
    return made


def kind(verdict: str) -> Kind:
    """What a verdict is to the eye."""
    return "good" if verdict in GOOD else "open" if verdict in OPEN else "bad"


def way(left: AngleLeft) -> str:
    """Which way to turn the camera."""
    return TURN[left.name][int(left.off_deg > 0)]


def worst(card: Card) -> AngleLeft | None:
    """The angle that is farthest from what is allowed, of those that are not within."""
    open_ = [each for each in card.left if each.word != "within"]
    # What is surely beyond comes before what is not sure.
    return max(
        open_,
        key=lambda a: (a.word == "beyond", abs(a.off_deg) / max(card.limits_deg[a.name], 1e-9)),
        default=None,
    )


def others(card: Card) -> list[AngleLeft]:
    """The other angles."""
    first = worst(card)
    return [each for each in card.left if each is not first]


def points(pixels: Iterable[Array]) -> str:
    """Pixels as an SVG list of points."""
    return " ".join(f"{u:.1f},{v:.1f}" for u, v in pixels)


def aim_view(card: Card) -> dict[str, Any] | None:
    """What is drawn of how a camera looks, seen from behind it; None where that is not known.

    The middle is where it is meant to look, the square what is allowed, the trail every try.
    """
    if not card.trail:
        return None
    far = max(max(abs(pan), abs(tilt)) for pan, tilt, _ in card.trail)
    limit = max(card.limits_deg["pan"], card.limits_deg["tilt"])
    scale = ROOM / max(1.15 * far, 2.0 * limit, LEAST_SPAN_DEG)

    def place(aim: Aim) -> tuple[float, float]:
        return HALF - scale * aim[0], HALF + scale * aim[1]

    x, y = place(card.trail[-1])
    away = float(np.hypot(x - HALF, y - HALF))
    roll = card.trail[-1][2]
    return {
        "trail": [place(aim) for aim in card.trail[:-1]],
        "line": points(np.array(place(aim)) for aim in card.trail),
        "x": x,
        "y": y,
        "half": scale * limit,
        "roll": roll,
        "arrow": away > 14,
        "tip": (HALF + (x - HALF) * 6 / max(away, 1e-9), HALF + (y - HALF) * 6 / max(away, 1e-9)),
        "angle": float(np.degrees(np.arctan2(HALF - y, HALF - x))),
        "said": _said(card),
    }


def _said(card: Card) -> str:
    told = ", ".join(
        f"{each.name} {abs(each.off_deg):.1f} degrees {each.too_far}".strip() for each in card.left
    )
    return f"How the {card.name} camera looks, seen from behind it: {told}"
