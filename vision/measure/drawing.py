"""Marks drawn onto their patches: basis images for the levels, and derivatives of the whole.

A drawing's state has a row for each mark: shift along and across (m), turn (rad), blur (px), offset
of the tape (m) and, where a shadow's edge crosses, that edge's direction (of its normal, rad),
distance from the centre (px) and softness (px).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from vision.geometry import Array
from vision.measure.patches import Patches, shape_of, window_of
from vision.pattern import Blurred, Drawn, ink_coverage, normal_density, tape_coverage

START_BLUR_PX = 0.9
BLUR_RANGE_PX = (0.35, 8.0)
SOFT_RANGE_PX = (0.0, 12.0)
MOST_TURN_RAD = 0.3
PLAIN, SHADED = 5, 8
"""How many numbers a mark's state has without and with a shadow's edge."""
LEVELS = 6
DOUBLED = [0, 1, 2, 5]
"""Levels that a shadow changes: all but the tape's two slopes."""


def start(count: int) -> Array:
    """The plain state (count, 5) to begin with."""
    state = np.zeros((count, PLAIN))
    state[:, 3] = START_BLUR_PX
    return state


def moved(state: Array, step: Array) -> Array:
    """A state after a step, both (m, p), within what a mark can look like."""
    state = state + step
    state[:, 2] = np.clip(state[:, 2], -MOST_TURN_RAD, MOST_TURN_RAD)
    state[:, 3] = np.clip(state[:, 3], *BLUR_RANGE_PX)
    if state.shape[1] == SHADED:
        state[:, 7] = np.clip(state[:, 7], *SOFT_RANGE_PX)
    return state


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edge:
    """A shadow's edge: coverage (n,) of its far side, with derivatives (n, 4).

    They are by direction, distance, softness and the picture's blur.
    """

    value: Array
    slopes: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """What the picture is made of at each pixel: `basis` (n, k) times levels is the picture.

    Levels: ground on the left and on the right, tape, its slopes along and across, ink; with a
    shadow, what ground left and right, tape and ink change by on its far side.
    """

    basis: Array
    tape: Drawn
    ink: Drawn
    along: Array
    across: Array
    left: Array
    edge: Edge | None
    cos: Array
    sin: Array
    s: Array
    q: Array
    reach_m: tuple[float, float]

    def slopes(self, levels: Array) -> Array:
        """Derivatives (n, p) by the state of the picture with levels (n, k) at each pixel."""
        tape, ink = self.tape, self.ink
        right = 1 - self.left
        ground = levels[:, 0] * self.left + levels[:, 1] * right
        clear = levels[:, 2] + levels[:, 3] * self.along + levels[:, 4] * self.across
        inked = levels[:, 5]
        if self.edge is not None:
            shade = self.edge.value
            by_shade = (
                (1 - tape.value) * (levels[:, 6] * self.left + levels[:, 7] * right)
                + tape.value * (1 - ink.value) * levels[:, 8]
                + tape.value * ink.value * levels[:, 9]
            )
            ground = ground + shade * (levels[:, 6] * self.left + levels[:, 7] * right)
            clear = clear + shade * levels[:, 8]
            inked = inked + shade * levels[:, 9]
        by_tape = (1 - ink.value) * clear + ink.value * inked - ground
        by_ink = tape.value * (inked - clear)
        bare = tape.value * (1 - ink.value)
        by_s = by_tape * tape.d_s + by_ink * ink.d_s + bare * levels[:, 3] / self.reach_m[0]
        by_q = by_tape * tape.d_q + by_ink * ink.d_q + bare * levels[:, 4] / self.reach_m[1]
        by_blur = by_tape * tape.d_blur + by_ink * ink.d_blur
        columns = [
            self.sin * by_q - self.cos * by_s,
            -self.sin * by_s - self.cos * by_q,
            by_s * self.q - by_q * self.s,
            by_blur,
            -by_tape * tape.d_q,
        ]
        if self.edge is not None:
            columns[3] = by_blur + by_shade * self.edge.slopes[:, 3]
            columns += list(by_shade * self.edge.slopes[:, :3].T)
        return np.stack(columns, axis=1)


def draw(patches: Patches, state: Array) -> Drawing:
    """Draw marks of one shape, on one tape, with a state (m, 5), or (m, 8) with shadow edges."""
    first = patches.marks[0]
    shift_s, shift_q, _, blur, offset = state[:, :PLAIN].T[:, patches.of]
    cos, sin = np.cos(state[:, 2])[patches.of], np.sin(state[:, 2])[patches.of]
    ds, dq = patches.s - shift_s, patches.q - shift_q
    s, q = cos * ds + sin * dq, cos * dq - sin * ds
    at = Blurred(
        s=s,
        q=q,
        m_per_px_s=patches.m_per_px_s[patches.of],
        m_per_px_q=patches.m_per_px_q[patches.of],
        blur_px=blur,
    )
    ink = ink_coverage(shape_of(first), at)
    tape = tape_coverage(shape_of(first), first.tape_width_m, at, offset)
    reach = window_of(first)
    along, across = s / reach[0], q / reach[1]
    left = (q > offset).astype(np.float64)
    clear, bare = tape.value * (1 - ink.value), 1 - tape.value
    images = [bare * left, bare * (1 - left), clear, clear * along, clear * across]
    basis = np.stack([*images, tape.value * ink.value], axis=1)
    edge = _edge(patches, state) if state.shape[1] == SHADED else None
    if edge is not None:
        basis = np.concatenate([basis, basis[:, DOUBLED] * edge.value[:, None]], axis=1)
    return Drawing(
        basis=basis,
        tape=tape,
        ink=ink,
        along=along,
        across=across,
        left=left,
        edge=edge,
        cos=cos,
        sin=sin,
        s=s,
        q=q,
        reach_m=reach,
    )


def _edge(patches: Patches, state: Array) -> Edge:
    """A straight shadow edge, blurred by the picture and by its own penumbra."""
    normal = np.stack([np.cos(state[:, 5]), np.sin(state[:, 5])], axis=1)
    u, v = patches.away_px.T
    cos, sin = normal[patches.of].T
    blur, soft = state[:, 3][patches.of], state[:, 7][patches.of]
    width = np.hypot(blur, soft)
    x = (u * cos + v * sin - state[:, 6][patches.of]) / width
    slope = normal_density(x) / width
    return Edge(
        value=ndtr(x),
        slopes=np.stack(
            [
                slope * (v * cos - u * sin),
                -slope,
                -slope * x * soft / width,
                -slope * x * blur / width,
            ],
            axis=1,
        ),
    )
