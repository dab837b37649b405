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
from vision.job import Board, BoxCorner, Cross, MarkShape, Quadrant, SingleShape
from vision.layout import BoardCorner


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
    `blur_px`: standard deviation of the blur in the picture, one number or (n,).
    """

    s: Array
    q: Array
    m_per_px_s: Array
    m_per_px_q: Array
    blur_px: float | Array

    def band(self, axis: str, half_width_m: float, centre_m: float | Array = 0.0) -> Drawn:
        """Coverage of the band |s - centre| < half_width, or |q - centre| < half_width."""
        along = axis == "s"
        x = (self.s if along else self.q) - centre_m
        m_per_px = self.m_per_px_s if along else self.m_per_px_q
        width = self.blur_px * m_per_px
        upper, lower = (half_width_m - x) / width, (-half_width_m - x) / width
        density_upper, density_lower = normal_density(upper), normal_density(lower)
        slope = (density_lower - density_upper) / width
        d_blur = (lower * density_lower - upper * density_upper) / self.blur_px
        zero = np.zeros_like(slope)
        return Drawn(
            value=ndtr(upper) - ndtr(lower),
            d_s=slope if along else zero,
            d_q=zero if along else slope,
            d_blur=d_blur,
        )

    def whole(self) -> Drawn:
        """Coverage of everything."""
        zero = np.zeros_like(self.s)
        return Drawn(value=np.ones_like(self.s), d_s=zero, d_q=zero, d_blur=zero)

    def half(self, axis: str) -> Drawn:
        """Coverage of the half plane s > 0, or q > 0."""
        along = axis == "s"
        width = self.blur_px * (self.m_per_px_s if along else self.m_per_px_q)
        t = (self.s if along else self.q) / width
        density = normal_density(t)
        zero = np.zeros_like(t)
        slope = density / width
        return Drawn(
            value=ndtr(t),
            d_s=slope if along else zero,
            d_q=zero if along else slope,
            d_blur=-t * density / self.blur_px,
        )

    def disc(self, radius_m: float) -> Drawn:
        """Coverage of the disc round the centre.

        The blur across its edge is that of the edge's own direction; its change along the edge is
        left out of the derivatives, being second order.
        """
        rho = np.hypot(self.s, self.q)
        safe = np.maximum(rho, 1e-9)
        cos, sin = np.where(rho > 1e-9, self.s / safe, 1.0), self.q / safe
        width = self.blur_px * np.hypot(cos * self.m_per_px_s, sin * self.m_per_px_q)
        t = (radius_m - rho) / width
        density = normal_density(t)
        return Drawn(
            value=ndtr(t),
            d_s=-cos * density / width,
            d_q=-sin * density / width,
            d_blur=-t * density / self.blur_px,
        )


def normal_density(x: Array) -> Array:
    """Of the normal distribution."""
    return np.asarray(np.exp(-0.5 * x * x) / np.sqrt(2 * np.pi))


Drawable = Cross | Quadrant | Board | BoardCorner
CORNER_REACH = 0.85
"""How far round a board's corner is drawn, in squares: the next corners stay outside the blur."""
BOARD_BORDER = 1 / 3
"""Light border round a board's squares, in squares; common practice, no source."""


def drawable(shape: MarkShape | SingleShape | BoardCorner) -> bool:
    """Whether a mark of this shape can be drawn, and so found and measured."""
    return not isinstance(shape, BoxCorner)


def ink_coverage(shape: Drawable, at: Blurred) -> Drawn:
    """Share of ink at each place."""
    match shape:
        case Cross():
            half = shape.line_m / 2
            line_along, line_across = at.band("q", half), at.band("s", half)
            along = at.band("s", shape.arm_along_m) * line_along
            across = line_across * at.band("q", shape.arm_across_m)
            return along + across + (line_across * line_along).times(-1.0)
        case Quadrant():
            return at.disc(shape.radius_m) * _sectors(at)
        case BoardCorner():
            sectors = _sectors(at)
            return sectors if shape.ahead_left else at.whole() + sectors.times(-1.0)
        case Board():
            waves = _wave(at, "s", shape.corners_along + 1, shape.square_m) * _wave(
                at, "q", shape.corners_across + 1, shape.square_m
            )
            half_along, half_across = half_extent(shape)
            panel = at.band("s", half_along) * at.band("q", half_across)
            return (panel + waves).times(0.5)


def _sectors(at: Blurred) -> Drawn:
    """Ahead and left, or behind and right: 1 - ahead - left + 2 ahead left."""
    ahead, left = at.half("s"), at.half("q")
    return (ahead * left).times(2.0) + ahead.times(-1.0) + left.times(-1.0) + at.whole()


def _wave(at: Blurred, axis: str, squares: int, square_m: float) -> Drawn:
    """+1 and -1 on alternate squares, +1 on the first, 0 outside."""
    total = at.whole().times(0.0)
    for index in range(squares):
        middle = (index - (squares - 1) / 2) * square_m
        total = total + at.band(axis, square_m / 2, middle).times((-1.0) ** index)
    return total


def tape_coverage(
    shape: Drawable, tape_width_m: float | None, at: Blurred, offset_m: float | Array = 0.0
) -> Drawn:
    """Share of tape at each place, the tape lying `offset_m` to the left of the mark.

    A board sits on a panel, wider than its tape; without a tape width all is tape.
    """
    if isinstance(shape, Board):
        along, across = (half + BOARD_BORDER * shape.square_m for half in half_extent(shape))
        panel = at.band("s", along) * at.band("q", across)
        if tape_width_m is None:
            return panel
        tape = at.band("q", tape_width_m / 2, offset_m)
        return panel + tape + (panel * tape).times(-1.0)
    return at.whole() if tape_width_m is None else at.band("q", tape_width_m / 2, offset_m)


def half_extent(shape: Drawable) -> tuple[float, float]:
    """Half the size of the mark along and across, in metres."""
    match shape:
        case Cross():
            return shape.arm_along_m, shape.arm_across_m
        case Quadrant():
            return shape.radius_m, shape.radius_m
        case BoardCorner():
            return CORNER_REACH * shape.square_m, CORNER_REACH * shape.square_m
        case Board():
            return (
                (shape.corners_along + 1) / 2 * shape.square_m,
                (shape.corners_across + 1) / 2 * shape.square_m,
            )
