"""The blur of a picture as a low-order map with its uncertainty, and what of it is motion.

The squared blur across an edge is a quadratic map over the picture, plus a part that depends on
the edge's direction alone: motion during the exposure blurs every edge square to it by the same
amount, wherever it lies. Some edges are soft by themselves (a penumbra, a round kerb) and none is
sharper than the lens, so the map goes through the lower middle of the edges (quantile regression;
R. Koenker and G. Bassett, Regression quantiles, Econometrica 46, 1978). Its covariance comes from
leaving out one part of the picture at a time, since edges side by side are alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.units.arrays import Array, Flags, freeze
from vision.views.settings import SETTINGS
from vision.views.sharpness.blur import Blur, Motion
from vision.views.sharpness.edges import EdgeBlurs

TUNED = SETTINGS.sharpness


BLUR_WIDTH_PX = 1280
"""Width of the picture in whose pixels tolerances and limits of blur are stated."""

TERMS = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BlurMap:
    """Squared blur over a picture: `terms` (8,) with `covariance` (8, 8), from `edges` edges.

    Terms: 1, a, b, aa, ab, bb, with a and b the place from the picture's middle in half widths
    (b downwards), then the cosine and sine of twice the direction across an edge.
    """

    width: int
    height: int
    terms: Array
    covariance: Array
    edges: int

    def __post_init__(self) -> None:
        freeze(self, terms=(TERMS,), covariance=(TERMS, TERMS))

    def blur(self, pixels_px: Array, way: float = 0.0) -> Blur:
        """Blur, mean square over pixels (n, 2) and, with `way` 0, over all directions.

        With `way` -1 in the direction in which it is least, for along it lies no motion; with 1 in
        that in which it is largest. What differs by direction is itself known with a sigma: the
        mean is the best known of the three.
        """
        pixels = np.asarray(pixels_px).reshape(-1, 2)
        row = design(pixels, np.zeros(len(pixels)), self.width, self.height).mean(axis=0)
        row[6:] = way * self.terms[6:] / max(float(np.hypot(*self.terms[6:])), 1e-300)
        blur = float(np.sqrt(max(float(row @ self.terms), TUNED.least_variance_px2)))
        return Blur(blur_px=blur, sigma_px=float(np.sqrt(row @ self.covariance @ row)) / (2 * blur))

    @property
    def motion(self) -> Motion:
        """The motion during the exposure.

        An even motion over a length blurs like a box of that length: its variance is a twelfth of
        the square. Half the difference between the two directions is that of the terms.
        """
        c, s = self.terms[6:]
        size = float(np.hypot(c, s))
        along = np.array([c, s]) / size if size > 0 else np.array([1.0, 0.0])
        across = np.array([-s, c]) / max(size**2, 1e-12) / 2
        sigma, turn_sigma = (
            float(np.sqrt(row @ self.covariance[6:, 6:] @ row)) for row in (along, across)
        )
        length = float(np.sqrt(24 * size))
        own = 12 * sigma / max(length, np.sqrt(12 * sigma), 1e-9)
        return Motion(
            length_px=length / TUNED.ramp,
            sigma_px=float(np.hypot(own, TUNED.ramp_sigma * length)) / TUNED.ramp,
            direction_rad=float(0.5 * np.arctan2(s, c)),
            direction_sigma_rad=min(turn_sigma, float(np.pi / 2)),
        )


def design(pixels_px: Array, normal_rad: Array, width: int, height: int) -> Array:
    """Terms (n, 8) of the map at pixels (n, 2) and directions across an edge (n,)."""
    pixels = np.asarray(pixels_px, dtype=np.float64)
    a = (pixels[:, 0] - (width - 1) / 2) / (width / 2)
    b = (pixels[:, 1] - (height - 1) / 2) / (width / 2)
    one = np.ones_like(a)
    cos, sin = np.cos(2 * normal_rad), np.sin(2 * normal_rad)
    return np.stack([one, a, b, a * a, a * b, b * b, cos, sin], axis=1)


def fit_blur_map(edges: EdgeBlurs, width: int, height: int) -> BlurMap | None:
    """The map through a picture's edges; None where they are too few."""
    if len(edges) < TUNED.least_edges:
        return None
    rows = design(edges.pixels_px, edges.normal_rad, width, height)
    squared = edges.blur_px**2
    block = np.floor(edges.pixels_px / (TUNED.block_px * width)).astype(int)
    # A stride coprime with the number of groups scatters each group's blocks over the picture.
    group = (block[:, 0] + 3 * block[:, 1]) % TUNED.groups
    there = [g for g in range(TUNED.groups) if (group == g).any() and (group != g).sum() > TERMS]
    kept = np.stack([np.ones(len(rows), dtype=bool), *(group != g for g in there)])
    terms, *left_out = _quantile_fits(rows, squared, edges.sigma_px, kept)
    away = left_out - np.mean(left_out, axis=0)
    covariance = (len(there) - 1) / len(there) * away.T @ away
    return BlurMap(width=width, height=height, terms=terms, covariance=covariance, edges=len(edges))


def _quantile_fits(rows: Array, squared: Array, sigma_px: Array, kept: Flags) -> Array:
    """Quantile regressions (m, 8) by reweighted least squares, each on the rows `kept` (m, n).

    A little ridge holds all but the level. The spread of squared blurs grows with the blur itself
    and with its own sigma: residuals count relative to both.
    """
    level = np.array([max(float(np.median(squared[each])), 0.1) for each in kept])
    terms = np.zeros((len(kept), rows.shape[1]))
    terms[:, 0] = level
    for _ in range(TUNED.iterations):
        expected = terms @ rows.T
        about = np.maximum(expected, np.maximum(0.2 * terms[:, :1], 0.02))
        weight = 1 / (about + 2 * np.sqrt(about) * sigma_px + 0.1)
        away = (squared - expected) * weight
        side = np.where(away > 0, TUNED.quantile, 1 - TUNED.quantile)
        pull = np.where(kept, weight**2 * side / np.maximum(np.abs(away), 0.02), 0.0)
        weighted = pull[:, :, None] * rows
        ridge = TUNED.ridge * pull.sum(axis=1)[:, None, None] * np.eye(rows.shape[1])
        ridge[:, 0, 0] = 0.0
        normal = weighted.transpose(0, 2, 1) @ rows + ridge
        terms = np.linalg.solve(normal, (squared @ weighted)[..., None])[..., 0]
    return terms
