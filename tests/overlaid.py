"""What a screen draws over its cameras' pictures, put there for tests: stamps, lines and bars.

Nothing here is used by what reads them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

FONTS = (cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_PLAIN)


@dataclass(frozen=True, kw_only=True)
class Overlaid:
    """Pictures with what was drawn, and which of their pixels that changed, alike for all."""

    views: dict[str, np.ndarray]
    drawn: np.ndarray


def overlaid(views: Mapping[str, np.ndarray], seed: int) -> Overlaid:
    """Draw a stamp whose seconds differ, a caption and guide lines, as `seed` says."""
    rng = np.random.default_rng([seed, 31])
    height, width = next(iter(views.values())).shape[:2]
    font = int(rng.choice(FONTS))
    scale = float(rng.uniform(0.8, 1.4)) * (1.6 if font == cv2.FONT_HERSHEY_PLAIN else 1.0)
    white = (int(rng.integers(225, 256)),) * 3
    second = int(rng.integers(0, 40))
    corner = (int(rng.uniform(0.03, 0.4) * width), int(rng.choice([0.07, 0.95]) * height))
    caption = (int(rng.uniform(0.4, 0.7) * width), int(rng.choice([0.06, 0.94]) * height))
    lines = _guide_lines(rng, width, height)
    out, drawn = {}, np.zeros((height, width), bool)
    for number, (name, view) in enumerate(views.items()):
        bgr = view.copy()
        stamp = f"2026-05-04 10:{14 + number // 2}:{(second + 7 * number) % 60:02d}"
        for text, place in ((stamp, corner), ("LIVE CH", caption)):
            cv2.putText(bgr, text, place, font, scale, (10, 10, 10), 6, cv2.LINE_AA)
            cv2.putText(bgr, text, place, font, scale, white, 2, cv2.LINE_AA)
        for points, colour in lines:
            cv2.polylines(bgr, [points], False, colour, 4, cv2.LINE_AA)
        out[name] = bgr
        drawn |= (bgr != view).any(axis=2)
    return Overlaid(views=out, drawn=drawn)


def _guide_lines(
    rng: np.random.Generator, width: int, height: int
) -> list[tuple[np.ndarray, tuple[int, int, int]]]:
    """Two slanted lines with rungs, as displays draw them for reversing; or none."""
    if rng.random() < 0.3:
        return []
    colours = [(0, 220, 0), (0, 230, 230), (0, 0, 230)]
    low, high = rng.uniform(0.80, 0.92) * height, rng.uniform(0.50, 0.62) * height
    wide, narrow = rng.uniform(0.20, 0.32) * width, rng.uniform(0.08, 0.15) * width
    middle = 0.5 * width
    lines = []
    for part, colour in enumerate(colours):
        near, far = low + (high - low) * part / 3, low + (high - low) * (part + 1) / 3
        half_near, half_far = (
            wide + (narrow - wide) * part / 3,
            wide + (narrow - wide) * (part + 1) / 3,
        )
        for side in (-1, 1):
            points = [
                (middle + side * half_near, near),
                (middle + side * half_far, far),
                (middle + side * 0.8 * half_far, far),
            ]
            lines.append((np.round(points).astype(np.int32), colour))
    return lines


def barred(view: np.ndarray, size: tuple[int, int], level: int = 0) -> np.ndarray:
    """Lay a picture into the middle of a black screen of that width and height."""
    width, height = size
    screen = np.full((height, width, 3), level, np.uint8)
    tall, wide = view.shape[:2]
    top, left = (height - tall) // 2, (width - wide) // 2
    screen[top : top + tall, left : left + wide] = view
    return screen
