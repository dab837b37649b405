"""A display photographed with a phone, made for tests: everything between the screen and the file.

A screen of coloured stripes behind each pixel, seen through a lens that bends by a percent, at a
slant; with the light of the room on it, through a sensor of red, green and blue cells, with blur,
noise and JPEG. Nothing here is used by what reads them.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

SAMPLES = 3
"""Rays through each pixel of the sensor, across and down."""


@dataclass(frozen=True, kw_only=True)
class Taken:
    """How a photograph is taken: angles in degrees, sizes in px of the photograph."""

    size: tuple[int, int] = (2016, 1512)
    slant_deg: float = 12.0
    slant_towards_deg: float = 40.0
    roll_deg: float = 1.5
    share: float = 0.78
    """How much of the photograph's width the screen takes up."""
    aside: tuple[float, float] = (0.01, -0.02)
    """Where the screen's middle is, in shares of the photograph's size from its own."""
    bend: float = 0.01
    blur_px: float = 0.7
    noise: float = 2.5
    glare: float = 25.0
    quality: int = 90
    seed: int = 0


def taken_by(seed: int) -> Taken:
    """One of many ways of taking it: up to 30 degrees aslant, some with a corner cut off."""
    rng = np.random.default_rng([seed, 47])
    cut = rng.random() < 0.15
    return Taken(
        slant_deg=float(rng.uniform(0, 8 if cut else 30)),
        slant_towards_deg=float(rng.uniform(0, 360)),
        roll_deg=float(rng.choice([-5, 5]) if cut else rng.normal(0, 2)),
        share=0.94 if cut else float(rng.uniform(0.62, 0.82)),
        aside=(0.0, 0.0) if cut else tuple(rng.normal(0, 0.015, 2)),
        bend=float(rng.uniform(-0.01, 0.01)),
        blur_px=float(rng.uniform(0.5, 1.0)),
        noise=float(rng.uniform(1, 4)),
        glare=float(rng.uniform(0, 40)),
        quality=int(rng.integers(85, 96)),
        seed=seed,
    )


def photographed(shown: np.ndarray, how: Taken) -> np.ndarray:
    """The photograph (H, W, 3) of a screen that shows a picture (h, w, 3)."""
    rng = np.random.default_rng([how.seed, 53])
    width, height = how.size
    screen = _from_photograph(shown.shape, how)
    seen = np.zeros((height, width, 3), np.float32)
    linear = (shown.astype(np.float32) / 255) ** 2.2
    for dy in range(SAMPLES):
        for dx in range(SAMPLES):
            u, v = np.meshgrid(
                np.arange(width) + (dx + 0.5) / SAMPLES - 0.5,
                np.arange(height) + (dy + 0.5) / SAMPLES - 0.5,
            )
            seen += _light(linear, *screen(u, v))
    seen /= SAMPLES**2
    seen += _room(width, height, how, rng)
    levels = 255 * np.clip(seen, 0, 1) ** (1 / 2.2)
    levels = cv2.GaussianBlur(levels, (0, 0), how.blur_px)
    return _sensed(levels, how, rng)


def screen_px(shown: tuple[int, ...], how: Taken, pixels: np.ndarray) -> np.ndarray:
    """Pixels of the screen (n, 2) that a photograph shows at its pixels (n, 2)."""
    return np.stack(_from_photograph(shown, how)(pixels[:, 0], pixels[:, 1]), axis=1)


def corners_px(shown: tuple[int, ...], how: Taken) -> np.ndarray:
    """Where a screen's corners are in the photograph (4, 2), from top left round clockwise."""
    width, height = how.size
    u, v = np.meshgrid(np.arange(0, width, 2.0), np.arange(0, height, 2.0))
    x, y = _from_photograph(shown, how)(u, v)
    h, w = shown[:2]
    found = []
    for cx, cy in ((-0.5, -0.5), (w - 0.5, -0.5), (w - 0.5, h - 0.5), (-0.5, h - 0.5)):
        at = np.unravel_index(np.argmin((x - cx) ** 2 + (y - cy) ** 2), x.shape)
        found.append((u[at], v[at]))
    return np.array(found)


def _from_photograph(shown, how: Taken):
    """From pixels of the photograph to pixels of the screen."""
    width, height = how.size
    h, w = shown[:2]
    f = 0.9 * width
    slant, towards, roll = np.radians([how.slant_deg, how.slant_towards_deg, how.roll_deg])
    axis = np.array([np.cos(towards), np.sin(towards), 0.0]) * slant
    R = cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(np.array([0, 0, roll]))[0]
    unit = how.share * width / w
    away = f / unit
    middle = np.array([how.aside[0] * width / f, how.aside[1] * height / f, 1.0]) * away
    # Screen pixels (x, y) relative to its middle, in camera axes; and back.
    image = np.diag([f, f, 1.0]) @ np.column_stack([R[:, 0], R[:, 1], middle])
    back = np.linalg.inv(image)
    half = 0.5 * np.hypot(width, height)

    def screen(u: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        x, y = u - 0.5 * (width - 1), v - 0.5 * (height - 1)
        # The lens bends r to r (1 + bend r^2); five steps turn that round to a thousandth of a px.
        ideal = 1.0
        for _ in range(5):
            ideal = 1 / (1 + how.bend * ideal**2 * (x**2 + y**2) / half**2)
        x, y = x * ideal, y * ideal
        p = back @ np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
        return (
            (p[0] / p[2] + 0.5 * (w - 1)).reshape(u.shape),
            (p[1] / p[2] + 0.5 * (h - 1)).reshape(u.shape),
        )

    return screen


def _light(linear: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """What comes from each place of the screen and its frame; a third of a pixel a colour."""
    h, w = linear.shape[:2]
    column, row = np.floor(x + 0.5), np.floor(y + 0.5)
    inside = (column >= 0) & (row >= 0) & (column < w) & (row < h)
    c, r = (np.where(inside, each, 0).astype(int) for each in (column, row))
    across, down = x + 0.5 - column, y + 0.5 - row
    stripe = np.minimum((across * 3).astype(int), 2)
    lit = inside & (down < 0.88) & (np.abs(across * 3 - stripe - 0.5) < 0.42)
    out = np.zeros((*x.shape, 3), np.float32)
    for colour in range(3):
        # Blue, green, red are stored; red stands first on a screen.
        on = lit & (stripe == 2 - colour)
        out[..., colour] = np.where(on, 3.2 * linear[r, c, colour] + 0.012, 0.0)
    frame = ~inside & (x > -60) & (y > -60) & (x < w + 60) & (y < h + 60)
    out[frame] = 0.002
    out[~inside & ~frame] = 0.05
    return out


def _room(width: int, height: int, how: Taken, rng: np.random.Generator) -> np.ndarray:
    """Light of the room on the screen: a slope, and one soft reflection."""
    u, v = np.meshgrid(np.linspace(-1, 1, width), np.linspace(-1, 1, height))
    slope = 0.004 * (1 + 0.6 * (u * rng.uniform(-1, 1) + v * rng.uniform(-1, 1)))
    x, y = rng.uniform(-0.8, 0.8, 2)
    spot = np.exp(-0.5 * ((u - x) ** 2 + (v - y) ** 2) / rng.uniform(0.1, 0.25) ** 2)
    return (slope + (how.glare / 255) ** 2.2 * spot * 3)[..., None].astype(np.float32)


def _sensed(levels: np.ndarray, how: Taken, rng: np.random.Generator) -> np.ndarray:
    """Through cells of one colour each, with noise, put together again, and compressed."""
    noisy = np.clip(levels + rng.normal(0, how.noise, levels.shape), 0, 255)
    cells = noisy[..., 1].copy()
    cells[::2, ::2] = noisy[::2, ::2, 2]
    cells[1::2, 1::2] = noisy[1::2, 1::2, 0]
    bgr = cv2.cvtColor(np.round(cells).astype(np.uint8), cv2.COLOR_BayerBG2BGR)
    data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, how.quality])[1]
    return cv2.imdecode(data, cv2.IMREAD_COLOR)
