"""How much of each pixel something on the ground covers, under the picture's blur.

Mark coordinates: s along the strip, q to its left, metres, from the mark's centre. A straight edge
under a Gaussian blur is a normal integral of the distance from the edge over the blur. Where an
edge along s meets one along q, the blur, round in the picture, is slanted in mark coordinates,
and the blurred corner is not the product of the blurred edges: Mehler's formula gives it as a
series in their derivatives (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.3.29).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.camera.distributions import normal_integral
from vision.units.arrays import Array

Axis = Literal["s", "q"]
EDGE_REACH = 6.0
"""Blurs from an edge beyond which it is taken as sharp: a normal integral is within 1e-9 there."""
CORNER_TERMS = 2
"""Terms of Mehler's series beyond the product: with edges 50 degrees apart in the picture what is
left out is below 0.02 of the contrast, at few pixels."""


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
class Profile:
    """A coverage that changes along one axis only: `d` (k, n), itself and its derivatives (1/m)."""

    axis: Axis
    d: Array

    def __add__(self, other: Profile) -> Profile:
        return Profile(axis=self.axis, d=self.d + other.d)

    def __sub__(self, other: Profile) -> Profile:
        return Profile(axis=self.axis, d=self.d - other.d)

    def signed(self) -> Profile:
        """From -1 to 1 in place of from 0 to 1."""
        d = 2.0 * self.d
        d[0] -= 1.0
        return Profile(axis=self.axis, d=d)

    @property
    def changing(self) -> NDArray[np.bool_]:
        """Where an edge is near, (n,)."""
        return np.asarray((self.d[1] != 0) | (self.d[2] != 0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blurred:
    """Places (n,) in mark coordinates and how the picture's blur looks there.

    `m_per_px_s`, `m_per_px_q` (n,): length of the gradients of s and of q in the picture; `skew`
    (n,): their scalar product, m^2 per px^2; `blur_px`: standard deviation of the blur in the
    picture, one number or (n,). Without `slopes` only rough values are wanted: all derivatives are
    zero, corners are products of edges, and edges within 0.0002.
    """

    s: Array
    q: Array
    m_per_px_s: Array
    m_per_px_q: Array
    skew: Array
    blur_px: float | Array
    slopes: bool = True

    @classmethod
    def under(
        cls, s: Array, q: Array, metric: Array, blur_px: float | Array, slopes: bool = True
    ) -> Blurred:
        """Places with the scalar products (2, 2) or (n, 2, 2) of the gradients of s and q there."""
        metric = np.broadcast_to(metric, (*s.shape, 2, 2))
        return cls(
            s=s,
            q=q,
            m_per_px_s=np.sqrt(metric[:, 0, 0]),
            m_per_px_q=np.sqrt(metric[:, 1, 1]),
            skew=metric[:, 0, 1],
            blur_px=blur_px,
            slopes=slopes,
        )

    def edge(self, axis: Axis, place_m: float | Array) -> Profile:
        """Coverage of s > place, or of q > place."""
        return self.edges(axis, ((1.0, place_m),))

    def band(self, axis: Axis, half_width_m: float, centre_m: float | Array = 0.0) -> Profile:
        """Coverage of the band |s - centre| < half_width, or |q - centre| < half_width."""
        return self.edges(axis, ((1.0, centre_m - half_width_m), (-1.0, centre_m + half_width_m)))

    def edges(self, axis: Axis, edges: Iterable[tuple[float, float | Array]]) -> Profile:
        """Sum of the coverages beyond some edges along one axis, each times a number."""
        x, m_per_px = (self.s, self.m_per_px_s) if axis == "s" else (self.q, self.m_per_px_q)
        per_m = 1.0 / (self.blur_px * m_per_px)
        if not self.slopes:
            total = sum(f * rough_normal_integral((x - place_m) * per_m) for f, place_m in edges)
            return Profile(axis=axis, d=np.asarray(total)[None])
        d = np.zeros((CORNER_TERMS + 3, *x.shape), dtype=x.dtype)
        for factor, place_m in edges:
            t = (x - place_m) * per_m
            d[0] += factor * (t > 0)
            # Most places lie far to one side of an edge, where nothing changes any more.
            near = np.flatnonzero(np.abs(t) < EDGE_REACH)
            t, rise = t[near], per_m[near]
            d[0, near] += factor * (normal_integral(t) - (t > 0))
            now, before = factor * normal_density(t) * rise, np.zeros_like(t)
            d[1, near] += now
            # Each derivative of the density is the one before with the next Hermite polynomial.
            for k in range(2, len(d)):
                before, now = now, -rise * (t * now + (k - 2) * rise * before)
                d[k, near] += now
        return Profile(axis=axis, d=d)

    def drawn(self, profile: Profile) -> Drawn:
        """A profile as a coverage of the plane."""
        zero = np.zeros_like(self.s)
        if not self.slopes:
            return Drawn(value=profile.d[0], d_s=zero, d_q=zero, d_blur=zero)
        along = profile.axis == "s"
        m_per_px = self.m_per_px_s if along else self.m_per_px_q
        return Drawn(
            value=profile.d[0],
            d_s=profile.d[1] if along else zero,
            d_q=zero if along else profile.d[1],
            # The heat equation: a blur's variance spreads as time does.
            d_blur=self.blur_px * m_per_px**2 * profile.d[2],
        )

    def corner(self, f: Profile, g: Profile) -> Drawn:
        """Where both a profile of s and a profile of q cover."""
        if not self.slopes:
            zero = np.zeros_like(self.s)
            return Drawn(value=f.d[0] * g.d[0], d_s=zero, d_q=zero, d_blur=zero)
        f_d, g_d = f.d, g.d
        value, d_s, d_q = f_d[0] * g_d[0], f_d[1] * g_d[0], f_d[0] * g_d[1]
        spread = self.m_per_px_s**2 * f_d[2] * g_d[0] + self.m_per_px_q**2 * f_d[0] * g_d[2]
        # The rest of the series is there only where edges of both profiles are near.
        near = np.flatnonzero(f.changing & g.changing)
        for total, more in zip((value, d_s, d_q, spread), self._slanted(f, g, near), strict=True):
            total[near] += more
        return Drawn(value=value, d_s=d_s, d_q=d_q, d_blur=self.blur_px * spread)

    def _slanted(
        self, f: Profile, g: Profile, near: NDArray[np.intp]
    ) -> tuple[Array, Array, Array, Array]:
        """What Mehler's series adds to a product at some places: value, by s, by q, and spread."""
        f_d, g_d = f.d[:, near], g.d[:, near]
        along, across, skew = self.m_per_px_s[near], self.m_per_px_q[near], self.skew[near]
        weight = np.ones_like(skew)
        value, d_s, d_q = np.zeros_like(skew), np.zeros_like(skew), np.zeros_like(skew)
        spread = 2 * skew * f_d[1] * g_d[1]
        blur_px = np.broadcast_to(self.blur_px, self.s.shape)[near]
        for k in range(1, CORNER_TERMS + 1):
            # The next term's weight; mixed derivatives end one term before the others.
            weight = weight * blur_px**2 * skew / k
            value += weight * f_d[k] * g_d[k]
            d_s += weight * f_d[k + 1] * g_d[k]
            d_q += weight * f_d[k] * g_d[k + 1]
            twice = along**2 * f_d[k + 2] * g_d[k] + across**2 * f_d[k] * g_d[k + 2]
            if k < CORNER_TERMS:
                twice += 2 * skew * f_d[k + 1] * g_d[k + 1]
            spread += weight * twice
        return value, d_s, d_q, spread

    def both(self, a: Drawn, b: Drawn) -> Drawn:
        """Where two coverages of any form both are: the product, and the series' first term.

        The change of that term is left out of the derivatives.
        """
        plain = a * b
        slanted = self.skew * (a.d_s * b.d_q + a.d_q * b.d_s)
        square = self.m_per_px_s**2 * a.d_s * b.d_s + self.m_per_px_q**2 * a.d_q * b.d_q
        return replace(plain, value=plain.value + self.blur_px**2 * (square + slanted))

    def opposite_quarters(self) -> Drawn:
        """Coverage of the quarter planes ahead-left and behind-right of the centre."""
        signs = self.corner(self.edge("s", 0.0).signed(), self.edge("q", 0.0).signed())
        return (self.whole() + signs).times(0.5)

    def alternating(self, axis: Axis, squares: int, square_m: float) -> Profile:
        """+1 and -1 on alternate squares round the centre, +1 on the first, 0 outside."""
        first = -squares / 2 * square_m
        edges = [(1.0, first)]
        edges += [(2.0 * (-1.0) ** i, first + i * square_m) for i in range(1, squares)]
        edges += [((-1.0) ** squares, -first)]
        return self.edges(axis, edges)

    def whole(self) -> Drawn:
        """Coverage of everything."""
        zero = np.zeros_like(self.s)
        return Drawn(value=np.ones_like(self.s), d_s=zero, d_q=zero, d_blur=zero)

    def disc(self, radius_m: float) -> Drawn:
        """Coverage of the disc round the centre.

        The blur across its edge is that of the edge's own direction; its change along the edge is
        left out of the derivatives, being second order.
        """
        rho = np.hypot(self.s, self.q)
        safe = np.maximum(rho, 1e-9)
        cos, sin = np.where(rho > 1e-9, self.s / safe, 1.0), self.q / safe
        square = (cos * self.m_per_px_s) ** 2 + (sin * self.m_per_px_q) ** 2
        width = self.blur_px * np.sqrt(square + 2 * cos * sin * self.skew)
        t = (radius_m - rho) / width
        density = normal_density(t)
        return Drawn(
            value=normal_integral(t),
            d_s=-cos * density / width,
            d_q=-sin * density / width,
            d_blur=-t * density / self.blur_px,
        )


def normal_density(x: Array) -> Array:
    """Of the normal distribution."""
    return np.asarray(np.exp(-0.5 * x * x) / math.sqrt(2 * math.pi))


def rough_normal_integral(x: Array) -> Array:
    """Of the normal distribution, within 0.0002, at a fraction of the cost.

    E. Page, "Approximations to the cumulative normal function and its inverse for use on a pocket
    calculator", Applied Statistics 26(1), 1977.
    """
    steep = math.sqrt(2 / math.pi)
    return np.asarray(0.5 + 0.5 * np.tanh(x * (steep + 0.044715 * steep * (x * x))))
