"""What a mark and its piece of tape look like: ink and tape coverage under a blur.

Mark coordinates: s along the strip, q to its left, metres, from the mark's centre. A straight edge
under a Gaussian blur is a normal integral of the distance from the edge over the blur, and a
rectangle the product of its edges. Where edges meet at other than a right angle in the picture
this product is not exact, but it is wrong by the same amount on opposite sides of the centre, so
the centre is not moved.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from vision.geometry import Array
from vision.job import Cross, MarkShape


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """Coverage (n,) from 0 to 1 with its derivatives by s, q (1/m) and by the blur (1/px)."""

    value: Array
    d_s: Array
    d_q: Array
    d_blur: Array

    def __add__(self, other: Drawn) -> Drawn:
        return Drawn(
            value=self.value + other.value,
            d_s=self.d_s + other.d_s,
            d_q=self.d_q + other.d_q,
            d_blur=self.d_blur + other.d_blur,
        )

    def __mul__(self, other: Drawn) -> Drawn:
        return Drawn(
            value=self.value * other.value,
            d_s=self.d_s * other.value + self.value * other.d_s,
            d_q=self.d_q * other.value + self.value * other.d_q,
            d_blur=self.d_blur * other.value + self.value * other.d_blur,
        )

    def times(self, factor: float) -> Drawn:
        """The coverage times a number."""
        return Drawn(
            value=self.value * factor,
            d_s=self.d_s * factor,
            d_q=self.d_q * factor,
            d_blur=self.d_blur * factor,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blurred:
    """Places (n,) in mark coordinates and how the picture's blur looks there.

    `m_per_px_s`, `m_per_px_q` (n,): change of s and of q per pixel square to their level lines;
    `blur_px`: standard deviation of the blur in the picture.
    """

    s: Array
    q: Array
    m_per_px_s: Array
    m_per_px_q: Array
    blur_px: float

    def band(self, axis: str, half_width_m: float, centre_m: float = 0.0) -> Drawn:
        """Coverage of the band |s - centre| < half_width, or |q - centre| < half_width."""
        along = axis == "s"
        x = (self.s if along else self.q) - centre_m
        m_per_px = self.m_per_px_s if along else self.m_per_px_q
        width = self.blur_px * m_per_px
        upper, lower = (half_width_m - x) / width, (-half_width_m - x) / width
        density_upper, density_lower = _density(upper), _density(lower)
        slope = (density_lower - density_upper) / width
        d_blur = (lower * density_lower - upper * density_upper) / self.blur_px
        zero = np.zeros_like(slope)
        return Drawn(
            value=ndtr(upper) - ndtr(lower),
            d_s=slope if along else zero,
            d_q=zero if along else slope,
            d_blur=d_blur,
        )


def _density(x: Array) -> Array:
    return np.asarray(np.exp(-0.5 * x * x) / np.sqrt(2 * np.pi))


def ink_coverage(shape: MarkShape, at: Blurred) -> Drawn:
    """Share of ink at each place; NotImplementedError for a kind that cannot be drawn yet."""
    if isinstance(shape, Cross):
        half = shape.line_m / 2
        line_along, line_across = at.band("q", half), at.band("s", half)
        along = at.band("s", shape.arm_along_m) * line_along
        across = line_across * at.band("q", shape.arm_across_m)
        return along + across + (line_across * line_along).times(-1.0)
    raise NotImplementedError(f"{type(shape).__name__} marks cannot be drawn yet")


def half_extent(shape: MarkShape) -> tuple[float, float]:
    """Half the size of the mark along and across, in metres."""
    if isinstance(shape, Cross):
        return shape.arm_along_m, shape.arm_across_m
    raise NotImplementedError(f"{type(shape).__name__} marks cannot be drawn yet")
