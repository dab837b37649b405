"""A mark drawn onto its patch: basis images for the levels, and their derivatives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.geometry import Array
from vision.measure.patches import Patch, shape_of, window_of
from vision.pattern import Blurred, ink_coverage, tape_coverage

START_BLUR_PX = 0.9
BLUR_RANGE_PX = (0.35, 8.0)


@dataclass(slots=True, kw_only=True)
class DrawingState:
    """Nonlinear parameters of a drawing: shift (m), turn, blur, tape offset, shadow edge."""

    s: float = 0.0
    q: float = 0.0
    turn: float = 0.0
    blur: float = START_BLUR_PX
    tape: float = 0.0
    shadow: tuple[float, float] | None = None  # angle of the edge's normal, offset in px

    def moved(self, step: Array, patch: Patch) -> DrawingState:
        """Move by a step (5,), or (7,) with a shadow, within what a mark can look like."""
        shadow = self.shadow
        if shadow is not None:
            shadow = (shadow[0] + float(step[5]), shadow[1] + float(step[6]))
        return DrawingState(
            s=self.s + float(step[0]),
            q=self.q + float(step[1]),
            turn=float(np.clip(self.turn + step[2], -0.3, 0.3)),
            blur=float(np.clip(self.blur + step[3], *BLUR_RANGE_PX)),
            tape=self.tape + float(step[4]),
            shadow=shadow,
        )


def draw(patch: Patch, state: DrawingState) -> tuple[Array, Array]:
    """Basis images (n, k) for the levels, and their derivatives (n, k, p) by the state.

    Levels: ground on the left and on the right, tape, its slopes along and across, ink; with a
    shadow the ground, the tape and the ink once more for the shaded side.
    """
    mark = patch.mark
    cos, sin = np.cos(state.turn), np.sin(state.turn)
    ds, dq = patch.s - state.s, patch.q - state.q
    s, q = cos * ds + sin * dq, -sin * ds + cos * dq
    at = Blurred(
        s=s, q=q, m_per_px_s=patch.m_per_px_s, m_per_px_q=patch.m_per_px_q, blur_px=state.blur
    )
    ink = ink_coverage(shape_of(mark), at)
    tape = tape_coverage(shape_of(mark), mark.tape_width_m, at, state.tape)
    bare = tape.times(-1.0)
    left = (q > state.tape).astype(np.float64)
    reach_s, reach_q = window_of(mark)
    clear = tape.value * (1 - ink.value)
    basis = np.stack(
        [
            (1 + bare.value) * left,
            (1 + bare.value) * (1 - left),
            clear,
            clear * s / reach_s,
            clear * q / reach_q,
            tape.value * ink.value,
        ],
        axis=1,
    )
    # d/ds etc. of tape, clear and inked, then the chain to shift, turn, blur and tape offset.
    partial = {}
    for name in ("d_s", "d_q", "d_blur"):
        d_tape, d_ink = getattr(tape, name), getattr(ink, name)
        d_clear = d_tape * (1 - ink.value) - tape.value * d_ink
        d_inked = d_tape * ink.value + tape.value * d_ink
        partial[name] = np.stack(
            [
                -d_tape * left,
                -d_tape * (1 - left),
                d_clear,
                d_clear * s / reach_s + (clear / reach_s if name == "d_s" else 0.0),
                d_clear * q / reach_q + (clear / reach_q if name == "d_q" else 0.0),
                d_inked,
            ],
            axis=1,
        )
    d_tape = -tape.d_q
    by_tape = np.stack(
        [
            -d_tape * left,
            -d_tape * (1 - left),
            d_tape * (1 - ink.value),
            d_tape * (1 - ink.value) * s / reach_s,
            d_tape * (1 - ink.value) * q / reach_q,
            d_tape * ink.value,
        ],
        axis=1,
    )
    by_s, by_q = partial["d_s"], partial["d_q"]
    slopes = np.stack(
        [
            -cos * by_s + sin * by_q,
            -sin * by_s - cos * by_q,
            by_s * q[:, None] - by_q * s[:, None],
            partial["d_blur"],
            by_tape,
        ],
        axis=2,
    )
    return basis, slopes


def shade(patch: Patch, state: DrawingState, basis: Array, slopes: Array) -> tuple[Array, Array]:
    """Split every level but the tape's slopes into a lit and a shaded one, along a straight edge.

    The edge's own softness is that of the blur: a penumbra wider than this shows as misfit.
    """
    assert state.shadow is not None
    angle, offset = state.shadow
    away = patch.pixels - patch.centre_px
    normal = np.array([np.cos(angle), np.sin(angle)])
    x = (away @ normal - offset) / max(state.blur, 0.6)
    value = 0.5 * (1 + np.tanh(0.8 * x))
    slope = 0.4 / np.cosh(0.8 * x) ** 2 / max(state.blur, 0.6)
    double = [0, 1, 2, 5]
    shaded = basis[:, double] * value[:, None]
    whole = np.concatenate([basis, shaded], axis=1)
    turn = (away @ np.array([-normal[1], normal[0]])) * slope
    n, _, p = slopes.shape
    out = np.zeros((n, whole.shape[1], p + 2))
    out[:, :6, :p] = slopes
    out[:, 6:, :p] = slopes[:, double] * value[:, None, None]
    out[:, 6:, p] = basis[:, double] * turn[:, None]
    out[:, 6:, p + 1] = -basis[:, double] * slope[:, None]
    return whole, out
