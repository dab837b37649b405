"""The centre of one mark, measured by drawing the mark into the picture and fitting it.

The known mark with its piece of tape is drawn through pose and lens onto the picture's own pixels,
with a blur in picture pixels, and centre, turn, blur, levels, the tape's own offset and, where
there is one, the edge of a shadow are fitted (Gauss-Newton, analytic derivatives). Nothing is
resampled, so that the noise of neighbouring pixels stays as independent as the picture has it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.geometry import Array, Pose, frozen_array
from vision.job import BoxCorner
from vision.layout import BoardCorner, PlannedMark
from vision.lens import Lens
from vision.pattern import Blurred, Drawable, half_extent, ink_coverage, tape_coverage

MARGIN = 0.2
"""Ground drawn beyond the mark's end and the tape's edge, in half extents of each."""
ROUGH = (6, 5e-3)
FINE = (4, 1e-3)
"""Most Gauss-Newton steps of a round, and the move of the centre in px at which it ends. Only the
last round's end counts, and it starts within thousandths of a pixel of it."""
START_BLUR_PX = 0.9
BLUR_RANGE_PX = (0.35, 8.0)
FLOOR_SIGMA_PX = 0.01
"""What calibration of a sensor's pixel grid leaves: no centre is claimed better than this."""
SHADOW_SIGMA_PX = 0.05
"""The same where a shadow's edge crosses: its penumbra is not drawn, and pulls at the centre."""
SHADOW_GAIN = 0.6
"""A shadow edge is added only where it takes this share of the misfit away."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """A mark's piece of picture: pixels (n, 2) whole numbers, levels (n,), mark coordinates.

    `s`, `q` (n,) metres; `m_per_px_s`, `m_per_px_q` (n,); `d_pixel_d_mark` (2, 2) at the centre;
    `centre_px` (2,) where pose and lens put the mark.
    """

    mark: PlannedMark
    pixels: np.ndarray
    levels: Array
    s: Array
    q: Array
    m_per_px_s: Array
    m_per_px_q: Array
    d_pixel_d_mark: Array
    centre_px: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """A mark's measured centre in the picture turned back, with covariance.

    `blur_px` fitted blur (sigma); `contrast` (tape minus ink) over the residual noise;
    `explained` share of the patch's variance that the drawn mark explains (0 to 1).
    """

    id: str
    pixel_px: Array
    covariance_px2: Array
    blur_px: float
    contrast: float
    explained: float
    noise: float
    turn_rad: float = 0.0
    shadow: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "pixel_px", frozen_array(self.pixel_px, (2,), "pixel_px"))
        object.__setattr__(
            self, "covariance_px2", frozen_array(self.covariance_px2, (2, 2), "covariance_px2")
        )


def d_pixel_d_mark(pose: Pose, lens: Lens, marks: Sequence[PlannedMark]) -> tuple[Array, Array]:
    """Where marks fall, (n, 2), and the derivative of that by (s, q), (n, 2, 2)."""
    centres = np.array([mark.centre_m for mark in marks]).reshape(-1, 3)
    headings = np.array([mark.heading_rad for mark in marks])
    pixels, d_point, _ = lens.project_with_derivatives(pose.transform(centres))
    cos, sin, zero = np.cos(headings), np.sin(headings), np.zeros_like(headings)
    axes = np.stack([np.stack([cos, sin, zero], -1), np.stack([-sin, cos, zero], -1)], axis=-1)
    return pixels, d_point @ (pose.R @ axes)


def _shape(mark: PlannedMark) -> Drawable:
    if isinstance(mark.shape, BoxCorner):
        raise ValueError(f"{mark.id}: expected a mark that can be drawn, found a box corner")
    return mark.shape


def _window(mark: PlannedMark) -> tuple[float, float]:
    """Half size along and across of the ground that is drawn round a mark."""
    along, across = half_extent(_shape(mark))
    if isinstance(mark.shape, BoardCorner):
        return along, across
    tape = 0.5 * (mark.tape_width_m or 0.0)
    return along * (1 + MARGIN), max(across * (1 + MARGIN), tape * (1 + MARGIN))


def cut_patches(
    grey: np.ndarray, pose: Pose, lens: Lens, marks: Sequence[PlannedMark], centres_px: Array
) -> list[Patch | None]:
    """Pieces of a picture round `centres_px` (n, 2), with exact mark coordinates for each pixel.

    None where the piece leaves the picture or the lens. Mark coordinates are counted from the
    predicted centre shifted to `centres_px`, so that a fit starts at zero.
    """
    predicted, jacobians = d_pixel_d_mark(pose, lens, marks)
    boxes: list[np.ndarray | None] = []
    for mark, centre, jacobian in zip(marks, centres_px, jacobians, strict=True):
        boxes.append(_box(centre, np.abs(jacobian) @ np.array(_window(mark)), grey.shape))
    cut = [index for index, box in enumerate(boxes) if box is not None]
    if not cut:
        return [None] * len(marks)
    counts = [len(boxes[index]) for index in cut]  # type: ignore[arg-type]
    pixels = np.concatenate([boxes[index] for index in cut])  # type: ignore[list-item]
    shift = np.repeat(predicted[cut] - centres_px[cut], counts, axis=0)
    s, q = _mark_coordinates(pose, lens, [marks[i] for i in cut], counts, pixels + shift)
    patches: list[Patch | None] = [None] * len(marks)
    for index, part in zip(
        cut, np.split(np.arange(len(pixels)), np.cumsum(counts)[:-1]), strict=True
    ):
        inverse = np.linalg.inv(jacobians[index])
        along, across = _window(marks[index])
        inside = (np.abs(s[part]) < along) & (np.abs(q[part]) < across)
        keep = part[inside]
        if len(keep) < 24:
            continue
        u, v = pixels[keep].T
        patches[index] = Patch(
            mark=marks[index],
            pixels=pixels[keep],
            levels=grey[v, u].astype(np.float64),
            s=s[keep],
            q=q[keep],
            m_per_px_s=np.full(len(keep), np.hypot(*inverse[0])),
            m_per_px_q=np.full(len(keep), np.hypot(*inverse[1])),
            d_pixel_d_mark=jacobians[index],
            centre_px=centres_px[index],
        )
    return patches


def _box(centre: Array, half: Array, shape: tuple[int, ...]) -> np.ndarray | None:
    if not (np.isfinite(centre).all() and np.isfinite(half).all()):
        return None
    low = np.floor(centre - half).astype(int)
    high = np.ceil(centre + half).astype(int)
    if (low < 0).any() or high[0] >= shape[1] or high[1] >= shape[0] or (high - low).max() > 400:
        return None
    u, v = np.meshgrid(np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1))
    return np.stack([u.ravel(), v.ravel()], axis=1)


def _mark_coordinates(
    pose: Pose, lens: Lens, marks: Sequence[PlannedMark], counts: Sequence[int], pixels: Array
) -> tuple[Array, Array]:
    """Mark coordinates s, q (n,) of pixels (n, 2) on the mark's plane; NaN above the horizon."""
    rays = lens.unproject(pixels) @ pose.R
    place = pose.camera_in_ground_m
    centre = np.repeat(np.array([mark.centre_m for mark in marks]), counts, axis=0)
    heading = np.repeat(np.array([mark.heading_rad for mark in marks]), counts)
    with np.errstate(invalid="ignore", divide="ignore"):
        reach = np.where(rays[:, 2] < 0, (centre[:, 2] - place[2]) / rays[:, 2], np.nan)
    away = place[:2] + reach[:, None] * rays[:, :2] - centre[:, :2]
    cos, sin = np.cos(heading), np.sin(heading)
    return cos * away[:, 0] + sin * away[:, 1], -sin * away[:, 0] + cos * away[:, 1]


def match(
    grey: np.ndarray, pose: Pose, lens: Lens, marks: Sequence[PlannedMark], reach_px: float
) -> tuple[Array, Array]:
    """Where each drawn mark correlates best within `reach_px` of its prediction.

    Returns pixels (n, 2) and how well ink and tape agree there (n,), a correlation over the tape
    alone: with the ground in it the tape's own edges would pass for a mark. NaN where a mark
    cannot be tried. The drawing is affine and on whole pixels: a start for `measure`, no more.
    """
    predicted, jacobians = d_pixel_d_mark(pose, lens, marks)
    found, correlation = np.full((len(marks), 2), np.nan), np.full(len(marks), np.nan)
    reach = int(np.ceil(reach_px))
    for index, mark in enumerate(marks):
        half = np.abs(jacobians[index]) @ np.array(_window(mark))
        if not np.isfinite(half).all() or half.max() > 150 or half.min() < 1.5:
            continue
        half_px = np.maximum(np.ceil(half), 2).astype(int)
        middle = np.round(predicted[index]).astype(int)
        low, high = middle - half_px - reach, middle + half_px + reach + 1
        if (low < 0).any() or high[0] > grey.shape[1] or high[1] > grey.shape[0]:
            continue
        template, tape = _affine_drawing(mark, jacobians[index], half_px)
        window = grey[low[1] : high[1], low[0] : high[0]].astype(np.float32)
        score = cv2.matchTemplate(window, template, cv2.TM_CCOEFF_NORMED)
        _, _, _, (u, v) = cv2.minMaxLoc(score)
        found[index] = middle - reach + _subpixel(score, u, v)
        piece = window[v : v + template.shape[0], u : u + template.shape[1]]
        correlation[index] = _correlation(piece[tape], template[tape])
    return found, correlation


def _correlation(a: np.ndarray, b: np.ndarray) -> float:
    a, b = a - a.mean(), b - b.mean()
    return float(a @ b / max(np.sqrt(float(a @ a) * float(b @ b)), 1e-9))


def _subpixel(score: np.ndarray, u: int, v: int) -> Array:
    """Place of the peak by a parabola each way; whole pixels at the rim."""

    def offset(before: float, here: float, after: float) -> float:
        bend = before - 2 * here + after
        return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0 else 0.0

    place = np.array([float(u), float(v)])
    if 0 < u < score.shape[1] - 1:
        place[0] += offset(score[v, u - 1], score[v, u], score[v, u + 1])
    if 0 < v < score.shape[0] - 1:
        place[1] += offset(score[v - 1, u], score[v, u], score[v + 1, u])
    return place


def _affine_drawing(
    mark: PlannedMark, jacobian: Array, half_px: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """A small picture of the mark, levels 0 to 1, and which of its pixels are tape."""
    u, v = np.meshgrid(
        np.arange(-half_px[0], half_px[0] + 1), np.arange(-half_px[1], half_px[1] + 1)
    )
    inverse = np.linalg.inv(jacobian)
    s, q = inverse @ np.stack([u.ravel(), v.ravel()])
    at = Blurred(
        s=s,
        q=q,
        m_per_px_s=np.full(s.shape, np.hypot(*inverse[0])),
        m_per_px_q=np.full(s.shape, np.hypot(*inverse[1])),
        blur_px=START_BLUR_PX,
    )
    ink = ink_coverage(_shape(mark), at).value
    tape = tape_coverage(_shape(mark), mark.tape_width_m, at).value
    level = 0.4 + tape * (0.6 - 0.8 * ink)
    if mark.ink == "light":
        level = 1.0 - level
    on_tape = (tape > 0.7) & (np.abs(s) < _window(mark)[0])
    return np.asarray(level.reshape(u.shape), dtype=np.float32), on_tape.reshape(u.shape)


@dataclass(slots=True, kw_only=True)
class _State:
    """Nonlinear parameters of a drawing: shift (m), turn, blur, tape offset, shadow edge."""

    s: float = 0.0
    q: float = 0.0
    turn: float = 0.0
    blur: float = START_BLUR_PX
    tape: float = 0.0
    shadow: tuple[float, float] | None = None  # angle of the edge's normal, offset in px

    def moved(self, step: Array, patch: Patch) -> _State:
        shadow = self.shadow
        if shadow is not None:
            shadow = (shadow[0] + float(step[5]), shadow[1] + float(step[6]))
        return _State(
            s=self.s + float(step[0]),
            q=self.q + float(step[1]),
            turn=float(np.clip(self.turn + step[2], -0.3, 0.3)),
            blur=float(np.clip(self.blur + step[3], *BLUR_RANGE_PX)),
            tape=self.tape + float(step[4]),
            shadow=shadow,
        )


def _draw(patch: Patch, state: _State) -> tuple[Array, Array, Array]:
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
    ink = ink_coverage(_shape(mark), at)
    tape = tape_coverage(_shape(mark), mark.tape_width_m, at, state.tape)
    bare = tape.times(-1.0)
    left = (q > state.tape).astype(np.float64)
    reach_s, reach_q = _window(mark)
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
    return basis, slopes, np.stack([s, q], axis=1)


def _shade(patch: Patch, state: _State, basis: Array, slopes: Array) -> tuple[Array, Array]:
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    state: _State
    levels: Array
    residual: Array
    weights: Array
    jacobian: Array
    cost: float


def _evaluate(patch: Patch, state: _State, weights: Array) -> _Fit:
    basis, slopes, _ = _draw(patch, state)
    if state.shadow is not None:
        basis, slopes = _shade(patch, state, basis, slopes)
    # A little pull of each level towards the patch's mean keeps levels that cover no pixel finite.
    pull = 1e-3
    middle = float(np.median(patch.levels))
    target = np.zeros(basis.shape[1])
    target[[0, 1, 2, 5]] = middle
    normal = basis.T @ (basis * weights[:, None]) + pull * np.eye(basis.shape[1])
    levels = np.linalg.solve(normal, basis.T @ (weights * patch.levels) + pull * target)
    residual = patch.levels - basis @ levels
    jacobian = np.concatenate([slopes.transpose(0, 2, 1) @ levels, basis], axis=1)
    cost = float(weights @ residual**2)
    return _Fit(
        state=state,
        levels=np.asarray(levels, dtype=np.float64),
        residual=residual,
        weights=weights,
        jacobian=jacobian,
        cost=cost,
    )


def _prior(patch: Patch, state: _State, noise2: float) -> tuple[Array, Array]:
    """Weak knowledge of turn, blur and tape offset, as (precision, pull), (p,) each.

    A mark small in the picture cannot tell them itself; a large one is not held by this.
    """
    sigma = [0.05, 0.6, 0.012]
    precision = np.zeros(5 if state.shadow is None else 7)
    pull = np.zeros_like(precision)
    precision[2:5] = noise2 / np.square(sigma)
    pull[2:5] = precision[2:5] * np.array([-state.turn, START_BLUR_PX - state.blur, -state.tape])
    if state.shadow is not None:
        precision[5:] = noise2 / np.square([1.0, 6.0])
    return precision, pull


def _gauss_newton(patch: Patch, start: _State, weights: Array, effort: tuple[int, float]) -> _Fit:
    fit = _evaluate(patch, start, weights)
    damping = 1e-3
    most_steps, end_px = effort
    for _ in range(most_steps):
        noise2 = max(fit.cost / max(weights.sum() - 10, 5), 0.25)
        p = fit.jacobian.shape[1] - len(fit.levels)
        weighted = fit.jacobian * weights[:, None]
        normal = fit.jacobian.T @ weighted
        right = weighted.T @ fit.residual
        precision, pull = _prior(patch, fit.state, noise2)
        normal[np.arange(p), np.arange(p)] += precision
        right[:p] += pull
        scale = np.sqrt(np.diag(normal)) + 1e-9
        system = normal / np.outer(scale, scale) + damping * np.eye(len(scale))
        step = (np.linalg.solve(system, right / scale) / scale)[:p]
        trial = _evaluate(patch, fit.state.moved(step, patch), weights)
        if trial.cost <= fit.cost * (1 + 1e-9) or damping > 10:
            moved = patch.d_pixel_d_mark @ step[:2]
            fit, damping = trial, damping * 0.2
            if np.hypot(*moved) < end_px and abs(step[3]) < 10 * end_px:
                break
        else:
            damping = max(damping, 1e-3) * 10
    return fit


def measure(patch: Patch) -> Measured | None:
    """Fit the drawn mark to its patch; None where the mark is not there.

    Robust weights in a second round set aside what is not tape, ink or ground: leaves, a crossing
    tape, a person's shoe. The covariance is that of the original pixels' noise, widened by how
    much neighbouring residuals are alike (effective number of an AR(1) field, each way).
    """
    ones = np.ones(len(patch.levels))
    fit = _gauss_newton(patch, _State(), ones, ROUGH)
    shadow = _shadow_start(patch, fit)
    if shadow is not None:
        shaded = _gauss_newton(patch, shadow, ones, ROUGH)
        if shaded.cost < (1 - SHADOW_GAIN) * fit.cost:
            fit = shaded
    for _ in range(2):
        scale = max(1.4826 * float(np.median(np.abs(fit.residual))), 0.5)
        t = fit.residual / (4.0 * scale)
        weights = np.where(np.abs(t) < 1, (1 - t**2) ** 2, 0.0)
        fit = _gauss_newton(patch, fit.state, weights, FINE)
    return _answer(patch, fit)


def _shadow_start(patch: Patch, fit: _Fit) -> _State | None:
    """Angle and offset of the step that the misfit is most like; None where noise explains it."""
    away = patch.pixels - patch.centre_px
    basis = fit.jacobian[:, -len(fit.levels) :]
    clear = basis[:, 2] > 0.5
    if clear.sum() < 30:
        return None
    # The tape's slopes would take most of a step near its middle: give them back before looking.
    whole = fit.residual + basis[:, 3:5] @ fit.levels[3:5]
    residual, place = whole[clear] - whole[clear].mean(), away[clear]
    best, start = 0.15 * float(residual @ residual), None
    for angle in np.arange(0, np.pi, np.pi / 8):
        across = place @ np.array([np.cos(angle), np.sin(angle)])
        for offset in np.percentile(across, [12, 25, 38, 50, 62, 75, 88]):
            side = across > offset
            count = side.sum()
            if count < 8 or len(side) - count < 8:
                continue
            gain = residual[side].sum() ** 2 * (1 / count + 1 / (len(side) - count))
            if gain > best:
                best, start = gain, (float(angle), float(offset))
    if start is None:
        return None
    state = fit.state
    return _State(s=0.0, q=0.0, turn=0.0, blur=min(state.blur, 1.5), tape=0.0, shadow=start)


def _answer(patch: Patch, fit: _Fit) -> Measured | None:
    count = float(fit.weights.sum())
    parameters = fit.jacobian.shape[1]
    if count < parameters + 8:
        return None
    noise2 = max(fit.cost / (count - parameters), 0.08)
    p = parameters - len(fit.levels)
    normal = fit.jacobian.T @ (fit.jacobian * fit.weights[:, None])
    normal[np.arange(p), np.arange(p)] += _prior(patch, fit.state, noise2)[0]
    normal += 1e-3 * np.diag([0.0] * p + [1.0] * (parameters - p))
    try:
        in_mark = np.linalg.inv(normal)[:2, :2] * noise2 * _alikeness(patch, fit)
    except np.linalg.LinAlgError:
        return None
    A = patch.d_pixel_d_mark
    floor = FLOOR_SIGMA_PX if fit.state.shadow is None else SHADOW_SIGMA_PX
    covariance = A @ in_mark @ A.T + floor**2 * np.eye(2)
    if not np.isfinite(covariance).all():
        return None
    sign = 1.0 if patch.mark.ink == "dark" else -1.0
    contrast = sign * (fit.levels[2] - fit.levels[5]) / np.sqrt(noise2)
    spread = patch.levels - patch.levels.mean()
    explained = 1 - float(fit.residual @ fit.residual) / max(float(spread @ spread), 1e-9)
    return Measured(
        id=patch.mark.id,
        pixel_px=patch.centre_px + A @ np.array([fit.state.s, fit.state.q]),
        covariance_px2=0.5 * (covariance + covariance.T),
        blur_px=fit.state.blur,
        contrast=float(contrast),
        explained=explained,
        noise=float(np.sqrt(noise2)),
        turn_rad=fit.state.turn,
        shadow=fit.state.shadow is not None,
    )


def _alikeness(patch: Patch, fit: _Fit) -> float:
    """By how much correlated residuals widen a variance, 1 or more."""
    low = patch.pixels.min(axis=0)
    size = patch.pixels.max(axis=0) - low + 1
    image, there = np.zeros(size[::-1]), np.zeros(size[::-1])
    u, v = (patch.pixels - low).T
    image[v, u] = fit.residual * np.sqrt(fit.weights)
    there[v, u] = 1.0
    widening = 1.0
    for axis in (0, 1):
        first, second = (slice(None, -1), slice(1, None))
        a = (first, slice(None)) if axis == 0 else (slice(None), first)
        b = (second, slice(None)) if axis == 0 else (slice(None), second)
        both = there[a] * there[b]
        pairs = both.sum()
        if pairs < 20:
            continue
        likeness = (image[a] * image[b] * both).sum() / pairs
        rho = float(np.clip(likeness / max(float((image**2).sum() / there.sum()), 1e-9), 0, 0.8))
        widening *= (1 + rho) / (1 - rho)
    return widening
