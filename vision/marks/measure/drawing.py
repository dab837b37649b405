"""Marks drawn onto their patches: basis images for the levels, and derivatives of the whole.

A drawing's state has a row for each mark: shift along and across (m), turn (rad), blur (px), offset
of the tape (m) and, where a shadow's edge crosses, the direction of that edge's normal in mark
coordinates (rad), its distance from where the patch has s = q = 0 (m) and its softness (px).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.camera.distributions import normal_integral
from vision.job.coverage import Blurred, Drawn, normal_density
from vision.marks.measure.patches import Patches, window_of
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array

TUNED = SETTINGS.measure


PLAIN, SHADED = 5, 8
"""How many numbers a mark's state has without and with a shadow's edge."""
LEVELS = 6
DOUBLED = [0, 1, 2, 5]
"""Levels that a shadow changes: all but the tape's two slopes."""


def start(count: int) -> Array:
    """The plain state (count, 5) to begin with."""
    state = np.zeros((count, PLAIN))
    state[:, 3] = TUNED.focus_blur_px
    return state


def moved(state: Array, step: Array) -> Array:
    """A state after a step, both (m, p), within what a mark can look like."""
    state = state + step
    state[:, 2] = np.clip(state[:, 2], -TUNED.most_turn_rad, TUNED.most_turn_rad)
    state[:, 3] = np.clip(state[:, 3], *TUNED.blur_range_px)
    if state.shape[1] == SHADED:
        state[:, 7] = np.clip(state[:, 7], *TUNED.soft_range_px)
    return state


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edge:
    """A shadow's edge: coverage (n,) of its far side, with derivatives (n, 4).

    They are by direction, distance, softness and the picture's blur; `steep` (n, 2) is the change
    of the coverage by s and q.
    """

    value: Array
    slopes: Array
    steep: Array


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
        bare = tape.value - ink.value
        if self.edge is not None:
            shade = self.edge.value
            in_shade = levels[:, 6] * self.left + levels[:, 7] * right
            by_shade = (1 - tape.value) * in_shade + bare * levels[:, 8] + ink.value * levels[:, 9]
            ground = ground + shade * in_shade
            clear = clear + shade * levels[:, 8]
            inked = inked + shade * levels[:, 9]
        by_tape, by_ink = clear - ground, inked - clear
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
        return np.stack(columns).T


def draw(patches: Patches, state: Array) -> Drawing:
    """Draw marks of one shape, on one tape, with a state (m, 5), or (m, 8) with shadow edges."""
    first = patches.marks[0]
    each_mark = np.column_stack([state[:, [0, 1, 3, 4]], np.cos(state[:, 2]), np.sin(state[:, 2])])
    shift_s, shift_q, blur, offset, cos, sin = patches.at_pixels(each_mark)
    ds, dq = patches.s - shift_s, patches.q - shift_q
    s, q = cos * ds + sin * dq, cos * dq - sin * ds
    metric = patches.metric
    lengths = np.sqrt(metric[:, [0, 1], [0, 1]])
    m_per_px_s, m_per_px_q, skew = patches.at_pixels(np.column_stack([lengths, metric[:, 0, 1]]))
    at = Blurred(s=s, q=q, m_per_px_s=m_per_px_s, m_per_px_q=m_per_px_q, skew=skew, blur_px=blur)
    ink = first.shape.ink(at)
    tape = first.shape.tape(first.tape_width_m, at, offset)
    reach = window_of(first)
    along, across = s / reach[0], q / reach[1]
    left = (q > offset).astype(s.dtype)
    # Ink lies on tape: what the tape covers and the ink does not is their difference.
    clear, bare = tape.value - ink.value, 1 - tape.value
    images = [bare * left, bare * (1 - left), clear, clear * along, clear * across, ink.value]
    # Column by column, which is how all of it is worked with.
    basis = np.stack(images).T
    edge = _edge(patches, state) if state.shape[1] == SHADED else None
    if edge is not None:
        crossing = _crossing(patches, state, edge, (tape, ink), left, (cos, sin))
        shaded = basis[:, DOUBLED] * edge.value[:, None] + crossing
        basis = np.concatenate([basis, shaded], axis=1)
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
    """A shadow's edge, straight on the ground, blurred by the picture and by its own penumbra."""
    normal = np.stack([np.cos(state[:, 5]), np.sin(state[:, 5])], axis=1)
    beside = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    # Square of the metres per pixel square to the edge, and half its change as the edge turns.
    square = np.einsum("mi,mij,mj->m", normal, patches.metric, normal)
    turns = np.einsum("mi,mij,mj->m", normal, patches.metric, beside) / square
    blur, soft = state[:, 3], state[:, 7]
    width_px = np.hypot(blur, soft)
    width = width_px * np.sqrt(square)
    # Place across the edge and along it, in widths; what a wider blur does.
    numbers = [normal / width[:, None], beside / width[:, None], state[:, 6] / width, turns]
    numbers += [soft / width_px**2, blur / width_px**2, 1 / width]
    n_s, n_q, b_s, b_q, away, turns, soft, blur, per_m = patches.at_pixels(np.column_stack(numbers))
    x = n_s * patches.s + n_q * patches.q - away
    slope = normal_density(x)
    by_turn = b_s * patches.s + b_q * patches.q - x * turns
    by_width = -slope * x
    slopes = [slope * by_turn, -slope * per_m, by_width * soft, by_width * blur]
    return Edge(
        value=normal_integral(x),
        slopes=np.stack(slopes).T,
        steep=np.stack([slope * n_s, slope * n_q]).T,
    )


def _crossing(
    patches: Patches,
    state: Array,
    edge: Edge,
    drawn: tuple[Drawn, Drawn],
    left: Array,
    turn: tuple[Array, Array],
) -> Array:
    """What the blur adds where the shadow's edge crosses or runs along other edges, (n, 4).

    A blurred product is the product of the blurred plus the blur's variance times the product of
    their gradients: the first term of the series of `vision.job.pattern`, for edges of any
    direction. Its own changes are small and left out of the derivatives.
    """
    tape, ink = drawn
    spread = patches.metric * np.square(state[:, 3])[:, None, None]
    s_s, s_q, q_q = patches.at_pixels(spread.reshape(-1, 4)[:, [0, 1, 3]])
    along, across = edge.steep.T
    lever = s_s * along + s_q * across, s_q * along + q_q * across
    # The mark's own s and q are turned a little against the patch's.
    cos, sin = turn
    by_s = cos * lever[0] + sin * lever[1]
    by_q = cos * lever[1] - sin * lever[0]
    d_tape = by_s * tape.d_s + by_q * tape.d_q
    d_ink = by_s * ink.d_s + by_q * ink.d_q
    return np.stack([-d_tape * left, -d_tape * (1 - left), d_tape - d_ink, d_ink]).T
