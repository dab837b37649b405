"""A display that was photographed: where its lit screen lies, and the picture on it straightened.

The screen's four edges are straight, and a phone's lens bends them a little: the four lines and one
term of radial distortion (Brown, "Close-range camera calibration", Photogrammetric Engineering
37(8), 1971) are fitted to places where lit pixels end and the dark frame begins. The corners, where
the lines meet, may lie outside the photograph. What the edges are still bent after the fit is what
the straightened picture may be bent anywhere: its marks get that as a sigma of their own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from vision.marks.settings import SETTINGS
from vision.marks.sources.straight import bent, half_diagonal, homography, projected, unbent
from vision.units.arrays import Array, Flags, freeze

TUNED = SETTINGS.screen


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Screen:
    """A screen's lit part in a photograph.

    `corners_px` (4, 2) from top left clockwise, where they would be without the lens's `bend`: a
    pixel at p from the photograph's middle belongs at p (1 + bend r^2), r in half diagonals.
    `covariance` (9, 9) of corners, one after the other, and bend; `left_px` (root mean square) by
    how much its edges are off straight lines, at so many `places` where they are seen.
    """

    corners_px: Array
    bend: float
    covariance: Array
    left_px: float
    places: int

    def __post_init__(self) -> None:
        freeze(self, corners_px=(4, 2), covariance=(9, 9))


@dataclass(frozen=True, slots=True, kw_only=True)
class NoScreen:
    """Why a photograph is no use; `width_px` of the screen in it, 0 where none was found."""

    code: Literal["no-screen", "screen-small", "screen-aslant"]
    width_px: float = 0.0


def find_screen(grey: np.ndarray) -> Screen | NoScreen:
    """Find the lit screen in a photograph (H, W), or say why it cannot be used."""
    fitted = [each for start in _rough(grey) if (each := _fitted(grey, start)) is not None]
    if not fitted:
        return NoScreen(code="no-screen")
    return max(fitted, key=lambda each: each.places)


def straightened(
    bgr: np.ndarray, screen: Screen, aspect: float
) -> tuple[np.ndarray, Array, float] | NoScreen:
    """The picture (h, w, 3) on a screen of that width over height, seen straight on.

    With the homography (3, 3) to pixels of the photograph, as if its lens did not bend, and how
    many px of the photograph one of the picture is.
    """
    sides = np.linalg.norm(np.roll(screen.corners_px, -1, axis=0) - screen.corners_px, axis=1)
    across = float(0.5 * (sides[0] + sides[2]))
    if across < TUNED.least_width_px:
        return NoScreen(code="screen-small", width_px=across)
    if max(sides[0] / sides[2], sides[2] / sides[0], sides[1] / sides[3], sides[3] / sides[1]) > (
        TUNED.most_slant
    ):
        return NoScreen(code="screen-aslant", width_px=across)
    width = int(min(across, TUNED.most_width_px))
    height = round(width / aspect)
    image = homography(screen.corners_px, width, height)
    u, v = np.meshgrid(np.arange(width, dtype=np.float64), np.arange(height, dtype=np.float64))
    at = bent(projected(image, np.stack([u, v], axis=-1)), screen.bend, bgr.shape[1::-1])
    shrunk = across / width
    soft = cv2.GaussianBlur(bgr, (0, 0), TUNED.soft_px * shrunk)
    x, y = np.moveaxis(at.astype(np.float32), -1, 0)
    picture = cv2.remap(soft, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_CONSTANT)
    return picture, image, shrunk


def _rough(grey: np.ndarray) -> list[Array]:
    """Corners (4, 2) to some px, the likeliest first: lines along what is lit round the middle.

    Which level parts it from its frame nobody knows: the straightest outlines of many levels count.
    """
    scale = TUNED.rough_width_px / grey.shape[1]
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), 1.0)
    found = []
    for level in range(*TUNED.levels):
        outline = _outline((small > level).astype(np.uint8))
        corners = None if outline is None else _four_lines(*outline)
        if outline is not None and corners is not None:
            off = np.stack([_distance(outline[0], *_ends(corners, i)) for i in range(4)])
            straight = float((np.abs(off).min(axis=0) < TUNED.straight_rough_px).mean())
            found.append((straight, (corners + 0.5) / scale - 0.5))
    found.sort(key=lambda each: -each[0])
    return [corners for _, corners in found[: TUNED.rough_starts]]


def _outline(lit: np.ndarray) -> tuple[Array, Array] | None:
    """The outline (n, 2) of the lit region round the middle, inside the photograph, and a box."""
    lit = cv2.morphologyEx(lit, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(lit, connectivity=4)
    if count < 2:
        return None
    height, width = lit.shape
    inner = labels[height // 4 : -height // 4, width // 4 : -width // 4]
    held = np.bincount(inner.ravel(), minlength=count)
    held[0] = 0
    best = int(np.argmax(held))
    if stats[best, cv2.CC_STAT_AREA] < TUNED.least_share * lit.size:
        return None
    outlines, _ = cv2.findContours(
        (labels == best).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    outline = max(outlines, key=len)[:, 0].astype(np.float64)
    box = cv2.boxPoints(cv2.minAreaRect(outline.astype(np.float32)))
    on_rim = (outline < 2).any(axis=1) | (outline > np.array([width, height]) - 3).any(axis=1)
    return outline[~on_rim], np.asarray(box, dtype=np.float64)


def _four_lines(outline: Array, box: Array) -> Array | None:
    """Corners (4, 2) of the four lines that an outline (n, 2) follows, from a first box on."""
    corners = _in_order(box)
    for _ in range(TUNED.rough_rounds):
        sides = []
        off = np.stack([np.abs(_distance(outline, *_ends(corners, i))) for i in range(4)], axis=1)
        nearest = off.argmin(axis=1)
        for i in range(4):
            own = outline[nearest == i]
            a, b = _ends(corners, i)
            along = (own - a) @ (b - a) / max(float((b - a) @ (b - a)), 1e-9)
            own = own[(along > 0.06) & (along < 0.94)]
            if len(own) < TUNED.least_outline:
                return None
            vx, vy, x, y = cv2.fitLine(
                own.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01
            ).ravel()
            sides.append(((float(x), float(y)), (float(vx), float(vy))))
        found = [_meeting(sides[i - 1], sides[i]) for i in range(4)]
        if any(each is None for each in found):
            return None
        corners = np.array(found)
    return corners if cv2.isContourConvex(corners.astype(np.float32)) else None


def _in_order(box: Array) -> Array:
    """Corners from top left clockwise."""
    off = box - box.mean(axis=0)
    box = box[np.argsort(np.arctan2(off[:, 1], off[:, 0]))]
    return np.asarray(np.roll(box, -int(np.argmin(box.sum(axis=1))), axis=0))


def _ends(corners: Array, side: int) -> tuple[Array, Array]:
    return corners[side], corners[(side + 1) % 4]


def _distance(points: Array, a: Array, b: Array) -> Array:
    """Signed distance (n,) of points (n, 2) from the line from a to b; inside is positive."""
    along = (b - a) / np.linalg.norm(b - a)
    return np.asarray((points - a) @ np.array([-along[1], along[0]]))


def _meeting(
    one: tuple[tuple[float, float], tuple[float, float]],
    other: tuple[tuple[float, float], tuple[float, float]],
) -> Array | None:
    (p, d), (q, e) = (tuple(map(np.array, each)) for each in (one, other))
    system = np.stack([d, -e], axis=1)
    if abs(np.linalg.det(system)) < 0.2:
        return None
    return np.asarray(p + d * np.linalg.solve(system, q - p)[0])


def _fitted(grey: np.ndarray, corners: Array) -> Screen | None:
    """The screen whose four lines, bent by the lens, follow the edges found beside rough ones."""
    size, bend = grey.shape[::-1], 0.0
    reach = TUNED.first_reach_px * grey.shape[1] / TUNED.rough_width_px
    for reach_px in (reach, max(0.3 * reach, 8.0), 8.0, 6.0):
        places, side = _edge_places(grey, corners, bend, reach_px)
        if any(np.count_nonzero(side == i) < TUNED.least_places for i in range(4)):
            return None
        corners, bend, covariance, left_px = _adjusted(places, side, corners, bend, size)
    held = _held(unbent(places, bend, size), side, corners)
    if left_px > TUNED.most_left_px or held is None:
        return None
    return Screen(
        corners_px=corners, bend=bend, covariance=covariance, left_px=left_px, places=held
    )


def _held(at: Array, side: Array, corners: Array) -> int | None:
    """How many places (n, 2) lie on their sides; None where one side hangs on few or on a part.

    A line along something on the screen is straight as well, but most of the edge lies elsewhere.
    """
    if not cv2.isContourConvex(corners.astype(np.float32)):
        return None
    total = 0
    for i in range(4):
        a, b = _ends(corners, i)
        own = at[side == i]
        on = np.abs(_distance(own, a, b)) < TUNED.on_edge_px
        along = (own[on] - a) @ (b - a) / float((b - a) @ (b - a))
        if len(along) < TUNED.least_places or np.ptp(along) < TUNED.least_span:
            return None
        if on.mean() < TUNED.least_held:
            return None
        total += len(along)
    return total


def _edge_places(
    grey: np.ndarray, corners: Array, bend: float, reach_px: float
) -> tuple[Array, Array]:
    """Where lit pixels end (n, 2) in the photograph along its sides, and which side's (n,)."""
    places, side = [], []
    steps = np.arange(-reach_px, reach_px + 0.25, 0.5)
    for i in range(4):
        a, b = _ends(corners, i)
        length = float(np.linalg.norm(b - a))
        along = (b - a) / length
        inward = np.array([-along[1], along[0]])
        count = TUNED.places_a_side
        middles = a + np.linspace(0.02, 0.98, count)[:, None] * (b - a)
        # The mean over a stretch of the edge: the screen's own pixels are as wide as the edge.
        wide = np.linspace(-0.3, 0.3, 9) * length / count
        grid = (
            middles[:, None, None] + wide[:, None, None] * along + steps[:, None] * inward
        )  # (count, 9, steps, 2)
        at = bent(grid, bend, grey.shape[::-1])
        # Beyond the photograph its rim goes on, where nothing steps.
        near = at[:, :, np.abs(steps) <= TUNED.near_px]
        inside = ((near > 3) & (near < np.array(grey.shape[::-1]) - 4)).all(axis=(1, 2, 3))
        x, y = np.moveaxis(at[inside].astype(np.float32), -1, 0)
        if not len(x):
            continue
        shape = x.shape
        seen = cv2.remap(
            grey,
            x.reshape(shape[0], -1),
            y.reshape(shape[0], -1),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        profile = seen.reshape(shape).mean(axis=1)
        offset, good = _step(profile, steps)
        places.append((middles[inside] + offset[:, None] * inward)[good])
        side.append(np.full(int(good.sum()), i))
    if not places:
        return np.zeros((0, 2)), np.zeros(0)
    found = bent(np.concatenate(places), bend, grey.shape[::-1])
    return found, np.concatenate(side)


def _step(profile: Array, steps: Array) -> tuple[Array, Flags]:
    """Where profiles (n, m) rise from the frame to the lit screen, (n,), and whether they do.

    The place at half the height, between the frame and what is lit just inside it.
    """
    smooth = cv2.GaussianBlur(profile.astype(np.float32), (0, 0), 2.0, sigmaY=1e-3)
    slope = np.gradient(smooth, axis=1)
    # The outermost of the steep places: what the screen shows has steps of its own.
    inner = slope[:, 2:-2]
    peak = (inner >= slope[:, 1:-3]) & (inner > slope[:, 3:-1])
    most = inner.max(axis=1, keepdims=True)
    best = (peak & (inner > np.maximum(TUNED.steep_share * most, TUNED.least_slope))).argmax(
        axis=1
    ) + 2
    n = np.arange(len(profile))
    low = smooth[n, np.maximum(best - 6, 0)]
    high = smooth[n, np.minimum(best + 6, len(steps) - 1)]
    y0, y1, y2 = (slope[n, best + k] for k in (-1, 0, 1))
    bend = y0 - 2 * y1 + y2
    shift = np.where(bend < -1e-6, 0.5 * (y0 - y2) / np.minimum(bend, -1e-6), 0.0)
    offset = steps[best] + np.clip(shift, -1, 1) * (steps[1] - steps[0])
    return offset, np.asarray(high - low > TUNED.least_step)


def _adjusted(
    places: Array, side: Array, corners: Array, bend: float, size: tuple[int, ...]
) -> tuple[Array, float, Array, float]:
    """Corners and bend that fit edge places best, their covariance, and what is left over, px."""
    middle, half = half_diagonal(size)
    weight = np.ones(len(places))
    for _ in range(TUNED.fit_rounds):
        at = unbent(places, bend, size)
        rows, off = np.zeros((len(places), 9)), np.zeros(len(places))
        for i in range(4):
            own = side == i
            a, b = _ends(corners, i)
            span = b - a
            normal = np.array([-span[1], span[0]]) / np.linalg.norm(span)
            t = (at[own] - a) @ span / (span @ span)
            off[own] = (at[own] - a) @ normal
            rows[own, 2 * i : 2 * i + 2] = -np.outer(1 - t, normal)
            j = 2 * ((i + 1) % 4)
            rows[own, j : j + 2] = -np.outer(t, normal)
            p = places[own] - middle
            rows[own, 8] = (p @ normal) * (p**2).sum(axis=1) / half**2
        # Each side by itself: one whose line is still off would else weigh nothing, and stay off.
        spread = [max(1.4826 * float(np.median(np.abs(off[side == i]))), 0.05) for i in range(4)]
        weight = 1 / (1 + (off / (2.0 * np.array(spread)[side.astype(int)])) ** 2) ** 2
        sigma = min(spread)
        system = (rows * weight[:, None]).T @ rows
        # A lens bends by a percent or so; a screen of which little is seen says nothing of it.
        system[8, 8] += (sigma / TUNED.bend_sigma) ** 2
        right = (rows * weight[:, None]).T @ off
        right[8] += (sigma / TUNED.bend_sigma) ** 2 * bend
        step = -np.linalg.solve(system, right)
        corners, bend = corners + step[:8].reshape(4, 2), bend + float(step[8])
    left_px = float(np.sqrt((weight * off**2).sum() / weight.sum()))
    # Neighbouring places are off alike.
    covariance = np.linalg.inv(system) * left_px**2 * TUNED.alike_places
    return corners, bend, np.asarray(covariance, dtype=np.float64), left_px
