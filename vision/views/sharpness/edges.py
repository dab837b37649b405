"""How blurred the edges of a picture are: places, directions and blur, with no mark known.

The strongest edges, spread over the picture, are each fitted on the picture's own pixels. What is
no single straight step (a thin line, a corner, leaves) is
explained badly and left out. In a dark or very soft picture the same is done at half the size.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.marks.damping import with_rows
from vision.marks.edge_fit import EdgeFit, fit_edges
from vision.marks.settings import SETTINGS as MARKS
from vision.units.arrays import Array, freeze
from vision.views.settings import SETTINGS
from vision.views.sharpness.light import Light, measure_light

TUNED = SETTINGS.sharpness


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeBlurs:
    """Edges of a picture: `pixels_px` (n, 2), and (n,) each of the following.

    `normal_rad`: direction across the edge, from u towards v; `blur_px`: sigma of the blur across
    it; `sigma_px`: standard deviation of that.
    """

    pixels_px: Array
    normal_rad: Array
    blur_px: Array
    sigma_px: Array

    def __post_init__(self) -> None:
        count = (len(self.pixels_px),)
        freeze(self, pixels_px=(*count, 2), normal_rad=count, blur_px=count, sigma_px=count)

    def __len__(self) -> int:
        return len(self.blur_px)

    def in_square_px(self, aspect: float, row_px: float) -> EdgeBlurs:
        """The same edges, directions and blurs in columns, as if each pixel were square.

        `aspect` is the width of a pixel over its height: a lens that blurs alike in every direction
        blurs rows so many times as much as columns. Places become px of the whole picture, of which
        a row here is `row_px`.
        """
        across, down = np.cos(self.normal_rad), aspect * np.sin(self.normal_rad)
        stretch = np.hypot(across, down)
        return EdgeBlurs(
            pixels_px=self.pixels_px * [1.0, row_px],
            normal_rad=np.arctan2(down, across),
            blur_px=self.blur_px / stretch,
            sigma_px=self.sigma_px / stretch,
        )


def measure_edges(grey: np.ndarray, light: Light | None = None) -> EdgeBlurs:
    """The edges of a picture (height, width), levels 0 to 255, at the finest size that has enough.

    Blur and places are in px of the picture as given, whatever size they were measured at. `light`
    is the picture's own where it is known already.
    """
    best: EdgeBlurs | None = None
    for level in range(TUNED.coarsest + 1):
        found = _at_size(np.asarray(grey, dtype=np.float32), 2**level, light)
        soft = len(found) > 0 and np.median(found.blur_px) > TUNED.surely_soft_px * 2**level
        if best is None or len(found) > len(best) or _too_soft(best, level - 1):
            best = found
        if len(found) >= TUNED.enough_edges and not soft:
            break
    assert best is not None
    return best


def _too_soft(edges: EdgeBlurs, level: int) -> bool:
    return len(edges) > 0 and bool(np.median(edges.blur_px) > TUNED.surely_soft_px * 2**level)


def _at_size(grey: np.ndarray, scale: int, light: Light | None) -> EdgeBlurs:
    """Edges measured in the picture made smaller by `scale`, in px of the picture as it was."""
    small = grey
    if scale > 1:
        size = (grey.shape[1] // scale, grey.shape[0] // scale)
        cut = grey[: size[1] * scale, : size[0] * scale]
        small = np.asarray(cv2.resize(cut, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    own = light if light is not None and scale == 1 else measure_light(small)
    noise, span = own.noise, own.span
    pixels, normal = _strongest(small, noise, span)
    fit = _fitted(small, pixels, normal, noise)
    good = (
        (fit.explained > TUNED.edge_explained)
        & (fit.blur_sigma_px < 0.2 * fit.blur_px + 0.2)
        & (np.abs(fit.off_px) < TUNED.most_off_px)
        & (np.abs(fit.step) > max(TUNED.least_noises * noise, TUNED.least_share * span))
        & (fit.blur_px < 0.95 * MARKS.edges.blur_range_px[1])
    )
    turned = normal[good] + fit.turn_rad[good]
    across = np.stack([np.cos(turned), np.sin(turned)], axis=1)
    places = pixels[good] + fit.off_px[good, None] * across
    # Averaging `scale` pixels into one has blurred the small picture by a box of that width.
    variance = (scale * fit.blur_px[good]) ** 2 - (scale**2 - 1) / 12
    return EdgeBlurs(
        pixels_px=(places + 0.5) * scale - 0.5,
        normal_rad=turned,
        blur_px=np.sqrt(np.maximum(variance, MARKS.edges.blur_range_px[0] ** 2)),
        sigma_px=scale * fit.blur_sigma_px[good],
    )


def _strongest(grey: np.ndarray, noise: float, span: float) -> tuple[np.ndarray, Array]:
    """Pixels (n, 2) on the strongest edges of each tile, and the directions across them (n,).

    The second, larger smoothing sees what is too soft for the first.
    """
    found: list[tuple[np.ndarray, Array]] = []
    for smoothing_px, per_tile, most in TUNED.edge_looks:
        pixels, normal = _strongest_at(grey, noise, span, smoothing_px, per_tile)
        if found:
            taken = np.zeros(grey.shape, dtype=np.uint8)
            taken[found[0][0][:, 1], found[0][0][:, 0]] = 1
            taken = np.asarray(cv2.dilate(taken, _square(TUNED.cell_px)))
            free = taken[pixels[:, 1], pixels[:, 0]] == 0
            pixels, normal = pixels[free], normal[free]
        found.append((pixels[:most], normal[:most]))
    return np.concatenate([p for p, _ in found]), np.concatenate([n for _, n in found])


def _strongest_at(
    grey: np.ndarray, noise: float, span: float, smoothing_px: float, per_tile: int
) -> tuple[np.ndarray, Array]:
    """The same at one smoothing: the first of every tile, strongest first, then the second."""
    smooth = cv2.GaussianBlur(grey, (0, 0), smoothing_px)
    slope_u = np.asarray(cv2.Scharr(smooth, cv2.CV_32F, 1, 0, scale=1 / 32))
    slope_v = np.asarray(cv2.Scharr(smooth, cv2.CV_32F, 0, 1, scale=1 / 32))
    slope = np.asarray(cv2.magnitude(slope_u, slope_v))
    border = int(np.ceil(np.hypot(TUNED.wide.across_px, TUNED.wide.along_px))) + 1
    inner = np.zeros_like(slope)
    inner[border:-border, border:-border] = slope[border:-border, border:-border]
    inner[_rim(smooth)] = 0.0
    rows, columns = (size // TUNED.cell_px for size in slope.shape)
    cells = inner[: rows * TUNED.cell_px, : columns * TUNED.cell_px]
    cells = cells.reshape(rows, TUNED.cell_px, columns, TUNED.cell_px).transpose(0, 2, 1, 3)
    cells = cells.reshape(rows * columns, TUNED.cell_px * TUNED.cell_px)
    place = cells.argmax(axis=1)
    v = np.repeat(np.arange(rows), columns) * TUNED.cell_px + place // TUNED.cell_px
    u = np.tile(np.arange(columns), rows) * TUNED.cell_px + place % TUNED.cell_px
    # A sharp step of the least height that counts, and six sigma of the smoothed noise's slope.
    weakest = TUNED.least_share * span / (np.sqrt(2 * np.pi) * smoothing_px) / 3
    least = max(6 * noise / (np.sqrt(8 * np.pi) * smoothing_px**2), weakest)
    seen = np.flatnonzero(inner[v, u] > least)
    u, v = u[seen], v[seen]
    value = slope[v, u]
    tile = (v // TUNED.tile_px) * (slope.shape[1] // TUNED.tile_px + 1) + u // TUNED.tile_px
    order = np.lexsort((-value, tile))
    rank = np.empty(len(order), dtype=int)
    rank[order] = np.arange(len(order)) - np.searchsorted(tile[order], tile[order])
    kept = np.flatnonzero(rank < per_tile)
    kept = kept[np.lexsort((-value[kept], rank[kept]))]
    u, v = u[kept], v[kept]
    normal = np.arctan2(slope_v[v, u], slope_u[v, u]).astype(np.float64)
    return np.stack([u, v], axis=1), normal


def _rim(smooth: np.ndarray) -> np.ndarray:
    """Where the rim of the lens's image circle is: the border of the black in the corners.

    It lies far out of focus by construction, and says nothing of the lens.
    """
    black = (smooth < max(4.0, TUNED.black_share * np.percentile(smooth[::4, ::4], 95))).astype(
        np.uint8
    )
    height, width = black.shape
    for corner in ((0, 0), (width - 1, 0), (0, height - 1), (width - 1, height - 1)):
        if black[corner[1], corner[0]] == 1:
            cv2.floodFill(black, None, corner, (2,), flags=8)
    return np.asarray(cv2.dilate((black == 2).astype(np.uint8), _square(TUNED.rim_px)), dtype=bool)


def _square(reach_px: int) -> np.ndarray:
    """All places no farther than this in rows and in columns."""
    return np.ones((2 * reach_px + 1, 2 * reach_px + 1), dtype=np.uint8)


def _fitted(grey: np.ndarray, pixels: np.ndarray, normal: Array, noise: float) -> EdgeFit:
    """Fit every edge in a narrow window, and those that are soft once more in a wide one."""
    fit = fit_edges(grey, pixels, normal, TUNED.narrow, noise)
    soft = np.flatnonzero(fit.blur_px > TUNED.wide_from_px)
    if len(soft) == 0:
        return fit
    wide = fit_edges(grey, pixels[soft], normal[soft], TUNED.wide, noise)
    return with_rows(fit, soft, wide)
