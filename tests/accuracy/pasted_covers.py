"""Things pasted over the marks of a stored picture: even, mottled or striped, of any outline."""

from __future__ import annotations

import dataclasses

import cv2
import numpy as np

from tests.accuracy.conditions import View


def _mark(point_id: str) -> str:
    """The mark that a point belongs to: a board's corners are `strip/index/row/column`."""
    return point_id.rsplit("/", 2)[0] if point_id.count("/") == 3 else point_id


def covered(view: View, share: float, rng: np.random.Generator) -> View:
    """The view with things pasted over a `share` of its marks, which are then no longer due."""
    grey = np.asarray(view.grey, np.float32).copy()
    noise = float(np.std(grey - cv2.GaussianBlur(grey, (0, 0), 1.5)))
    places: dict[str, list[np.ndarray]] = {}
    for point_id, px in view.true_px.items():
        places.setdefault(_mark(point_id), []).append(px)
    centres = {mark: np.mean(px, axis=0) for mark, px in places.items()}
    height, width = grey.shape
    hidden = set()
    for mark, centre in centres.items():
        inside = (centre >= 0).all() and (centre < (width, height)).all()
        if not inside or rng.uniform() > share:
            continue
        apart = [float(np.linalg.norm(c - centre)) for m, c in centres.items() if m != mark]
        reach = max(6.0, min(60.0, 0.5 * min(apart))) * rng.uniform(0.6, 1.6)
        mask = _outline(centre + rng.normal(0, 0.25 * reach, 2), reach, grey.shape, rng)
        look = _look(grey.shape, rng) + rng.normal(0, noise, grey.shape)
        grey = grey * (1 - mask) + np.clip(look, 0, 255) * mask
        hidden.add(mark)
    due = frozenset(point_id for point_id in view.due if _mark(point_id) not in hidden)
    pixels = np.clip(grey, 0, 255).astype(np.uint8)
    return dataclasses.replace(view, grey=pixels, due=due, name=f"{view.name}, {share:.0%} hidden")


def _outline(
    centre: np.ndarray, reach: float, shape: tuple[int, ...], rng: np.random.Generator
) -> np.ndarray:
    """A soft mask of some polygon."""
    corners = int(rng.integers(5, 10))
    turns = np.sort(rng.uniform(0, 2 * np.pi, corners))
    radii = reach * rng.uniform(0.6, 1.2, corners)
    flat = rng.uniform(0.5, 1.5)
    polygon = centre + np.column_stack([radii * np.cos(turns), flat * radii * np.sin(turns)])
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(8 * polygon).astype(np.int32)], 1, shift=3)
    return np.asarray(cv2.GaussianBlur(mask.astype(np.float32), (0, 0), 0.8))


def _look(shape: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
    """Levels of a thing: even, mottled or striped."""
    match int(rng.integers(3)):
        case 0:
            return np.full(shape, rng.uniform(20, 230), np.float32)
        case 1:
            blobs = rng.normal(0, 1, (shape[0] // 4 + 1, shape[1] // 4 + 1)).astype(np.float32)
            blobs = cv2.GaussianBlur(blobs, (0, 0), rng.uniform(0.8, 3))
            mottled = cv2.resize(blobs / blobs.std(), shape[::-1])
            return np.asarray(rng.uniform(40, 200) + rng.uniform(5, 35) * mottled)
        case _:
            turn, period = rng.uniform(0, np.pi), rng.uniform(8, 30)
            v, u = np.indices(shape)
            wave = np.sin((u * np.cos(turn) + v * np.sin(turn)) * 2 * np.pi / period)
            return np.asarray(rng.uniform(40, 200) + rng.uniform(10, 50) * np.sign(wave))
