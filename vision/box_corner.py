"""A carton's top corner: where three of its edges meet, near where the plan fit expects it.

The corner is looked for once the camera is known. Two of its edges are level and at right angles
to each other, the third is plumb, so pose, lens and the carton's turn say how each runs through
the picture. All three have to be seen, steps of grey all along, and have to meet in one point: a
crack, a line of tape or a shadow gives one such edge, or two, hardly ever three. What is not
clearly there is not found.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.edge_fit import Window, fit_edges
from vision.geometry import Array, Pose, frozen_array
from vision.job import BoxCorner
from vision.lens import Lens
from vision.picture import GREY_WEIGHTS

EDGE_M = 0.2
"""How far along its edges a carton is looked at: cartons are rarely smaller, and in a stack the
next one stands a little turned."""
EDGE_SHARE = 0.85
FROM_PX, LEAST_PX, MOST_PX = 5.0, 14.0, 45.0
"""Edges are looked at from this far from the corner, where they stand apart, to this far."""
SIGMAS, REACH_PX = 4.0, (5.0, 16.0)
"""How far round its prediction a corner is looked for, in sigmas, and within which bounds."""
LATTICE_PX = 0.5
PROFILE_BLUR_PX = 1.0
TURN_SIGMA_RAD = float(np.radians(3.0))
"""A carton's stated turn, and how level and plumb its edges are; common practice, no source."""
LEVEL_SIGMA_RAD = float(np.radians(1.0))
TURNS_RAD = np.radians(np.arange(-6.0, 6.1, 3.0))
ALL_TURNS_RAD = np.radians(np.arange(0.0, 90.0, 4.0))
LEAST_STRENGTH = 6.0
"""Mean slope across each edge over its own sigma."""
SECTIONS, LEAST_SECTION = 3, 0.3
"""Each edge is a step all along: each part of it has this share of its mean slope at least."""
RIVAL_SHARE, RIVAL_PX, MOST_STARTS = 0.5, 3.0, 4
"""Other places this far off with so much of the strength are measured too: where two stand the
test it is none."""
SPACING_PX = 2.0
WINDOW = Window(across_px=4, along_px=2, blur_px=0.9)
LEAST_FITS, LEAST_GOOD = 4, 0.6
EXPLAINED = 0.6
LEAST_STEP = 6.0
MOST_BLUR_PX = (2.5, 4.0)
OFF_SIGMA_PX = (0.25, 0.5)
"""By plane, brightness and colour, which JPEG keeps at half the size: the blur of a clear edge, and
sigma of its place beside its noise, cardboard being dented and its edges round."""
UNKNOWN_SIZE_M = (0.3, 0.3)
MOST_MISS_PX = 0.6
"""RMS by which the fitted edges may miss lines through one point."""
DENT_M = 0.002
"""Roundness of a carton's corner; common practice, no source."""
MOST_SIGMA_PX = 1.5
SEEN_SINE = 0.03
TURN_STEP_RAD = 1e-3
"""Turn by which an edge's sideways move is had as a difference: it is as straight as that."""
APART_PX = 4.0
"""A side at least this wide in the picture has two edges that cannot be taken for each other."""


_Stand = tuple[float, tuple[float, float]]
"""How a carton may stand: its turn, and which way it lies from its corner."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundCorner:
    """A corner's pixel (2,) in the picture turned back, with covariance (2, 2)."""

    pixel_px: Array
    covariance_px2: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "pixel_px", frozen_array(self.pixel_px, (2,), "pixel_px"))
        shape = (2, 2)
        covariance = frozen_array(self.covariance_px2, shape, "covariance_px2")
        object.__setattr__(self, "covariance_px2", covariance)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ray:
    """One edge in the picture: places (n, 2) from the corner outward, directions across (n, 2).

    `distance_px` (n,) from the corner along the edge.
    """

    places: Array
    across: Array
    distance_px: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Look:
    """What it takes to look for one corner: the picture, the camera and the carton."""

    planes: tuple[np.ndarray, ...]
    pose: Pose
    lens: Lens
    corner_m: Array
    shape: BoxCorner
    beside_m: Array
    expected_px: Array
    reach_px: float
    noises: tuple[float, ...]

    def rays(self, turn_rad: float, ways: tuple[float, float]) -> list[_Ray] | None:
        """Its three edges with the carton standing so; None where they cannot be looked at."""
        edges = carton_edges(self.corner_m, turn_rad, self.shape, ways)
        rays = [_ray(self.pose, self.lens, self.corner_m, edge) for edge in edges]
        if any(ray is None for ray in rays):
            return None
        return [ray for ray in rays if ray is not None]


def planes_of(bgr: np.ndarray) -> tuple[np.ndarray, ...]:
    """What edges are looked for in: brightness, and colour from blue to red, (height, width) each.

    Cardboard on asphalt may be as bright as the ground and still of another colour.
    """
    parts = bgr.astype(np.float32)
    return parts @ np.array(GREY_WEIGHTS, dtype=np.float32), parts[..., 2] - parts[..., 0]


def find_box_corner(
    planes: tuple[np.ndarray, ...],
    pose: Pose,
    lens: Lens,
    pixel_covariance_px2: Array,
    corner_m: Array,
    shape: BoxCorner,
    beside_m: Array,
) -> FoundCorner | str:
    """The corner at `corner_m` (3,) in a picture turned back, as `planes_of` it; or why it is not.

    `pixel_covariance_px2` (2, 2) of where pose and lens put it, its own place included; `beside_m`
    (2,): the camera it was set up for, which the carton stands away from.
    """
    expected = lens.project(pose.transform(corner_m))
    if not bool(lens.contains(expected)):
        return "outside the picture"
    sigma = float(np.sqrt(np.linalg.eigvalsh(pixel_covariance_px2)[-1]))
    look = _Look(
        planes=planes,
        pose=pose,
        lens=lens,
        corner_m=corner_m,
        shape=shape,
        beside_m=beside_m,
        expected_px=expected,
        reach_px=float(np.clip(SIGMAS * sigma, *REACH_PX)),
        noises=tuple(_noise(plane, expected) for plane in planes),
    )
    starts = _starts(look)
    if isinstance(starts, str):
        return starts
    measured = [_measured(look, *start) for start in starts]
    found = [each for each in measured if isinstance(each, FoundCorner)]
    if not found:
        return next(each for each in measured if isinstance(each, str))
    apart = [np.hypot(*(each.pixel_px - found[0].pixel_px)) for each in found]
    if max(apart) > RIVAL_PX:
        return "edges meet in more than one place near where it should be"
    return found[0]


def ways_to_stand(
    corner_m: Array, turn_rad: float, shape: BoxCorner, beside_m: Array
) -> list[tuple[float, float]]:
    """Which way the carton may lie from its corner, along and to the left: signs of its two sides.

    `beside_m` (2,) is nearest to this corner of the four: mostly that leaves one way, and near the
    middle of a side two.
    """
    away = np.asarray(corner_m)[:2] - beside_m
    allowed = []
    for axis, length in zip(_axes(turn_rad), shape.size_m or UNKNOWN_SIZE_M, strict=True):
        ahead = float(axis[:2] @ away)
        allowed.append([sign for sign in (1.0, -1.0) if sign * ahead > -length / 2])
    return [(along, left) for along in allowed[0] for left in allowed[1]]


def carton_edges(
    corner_m: Array, turn_rad: float, shape: BoxCorner, ways: tuple[float, float]
) -> tuple[Array, Array, Array]:
    """The carton's edges from its corner, (3,) each in metres: long side, short side, down."""
    sides = [way * axis for way, axis in zip(ways, _axes(turn_rad), strict=True)]
    reach = [min(EDGE_SHARE * length, EDGE_M) for length in shape.size_m or UNKNOWN_SIZE_M]
    drop = min(EDGE_M, EDGE_SHARE * float(corner_m[2]))
    return sides[0] * reach[0], sides[1] * reach[1], np.array([0.0, 0.0, -drop])


def _axes(turn_rad: float) -> tuple[Array, Array]:
    cos, sin = float(np.cos(turn_rad)), float(np.sin(turn_rad))
    return np.array([cos, sin, 0.0]), np.array([-sin, cos, 0.0])


def upright_edge_seen(
    corner_m: Array, turn_rad: float, ways: tuple[float, float], camera_m: Array
) -> bool:
    """Whether a camera at `camera_m` (3,) sees the top and a side that ends at the upright edge."""
    sines = _side_sines(corner_m, turn_rad, ways, camera_m)
    above = np.asarray(camera_m)[2] - corner_m[2] > SEEN_SINE * np.linalg.norm(camera_m - corner_m)
    return bool(above and sines.max() > SEEN_SINE)


def _side_sines(
    corner_m: Array, turn_rad: float, ways: tuple[float, float], camera_m: Array
) -> Array:
    """How squarely the sides at the corner's ends face a camera, (2,): sines, below 0 unseen."""
    to_camera = np.asarray(camera_m) - corner_m
    to_camera = to_camera / np.linalg.norm(to_camera)
    return np.array(
        [-way * (axis @ to_camera) for way, axis in zip(ways, _axes(turn_rad), strict=True)]
    )


def _noise(plane: np.ndarray, place_px: Array) -> float:
    """Noise of a plane round a place, from neighbours' differences (their median)."""
    u, v = (int(value) for value in np.rint(place_px))
    box = plane[max(v - 40, 0) : v + 41, max(u - 40, 0) : u + 41]
    return float(1.4826 * np.median(np.abs(np.diff(box, axis=1))) / np.sqrt(2))


def _ray(pose: Pose, lens: Lens, corner_m: Array, edge_m: Array) -> _Ray | None:
    """An edge's run through the picture, every pixel; None where it is too short or leaves it."""
    share = np.linspace(0, 1, 200)
    pixels = lens.project(pose.transform(corner_m + share[:, None] * edge_m))
    if not np.isfinite(pixels).all():
        return None
    steps = np.linalg.norm(np.diff(pixels, axis=0), axis=1)
    length = np.concatenate([[0.0], np.cumsum(steps)])
    if length[-1] < LEAST_PX:
        return None
    distance = np.arange(FROM_PX, min(length[-1], MOST_PX), 1.0)
    places = np.stack([np.interp(distance, length, pixels[:, i]) for i in (0, 1)], axis=1)
    tangent = np.gradient(places, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    across = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    return _Ray(places=places, across=across, distance_px=distance)


def _starts(look: _Look) -> list[tuple[_Stand, Array]] | str:
    """Stands and shifts (2,) in px at which all three edges are seen, or why there are none."""
    stated = look.shape.turn_rad
    turns = ALL_TURNS_RAD if stated is None else stated + TURNS_RAD
    camera = look.pose.camera_in_ground_m
    steps = np.arange(-look.reach_px, look.reach_px + LATTICE_PX / 2, LATTICE_PX)
    shifts = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    shifts = shifts[np.hypot(*shifts.T) <= look.reach_px]
    seen: list[tuple[_Stand, Array]] = []
    for stand in [
        (float(turn), ways)
        for turn in turns
        for ways in ways_to_stand(look.corner_m, turn, look.shape, look.beside_m)
    ]:
        if not upright_edge_seen(look.corner_m, *stand, camera):
            continue
        rays = look.rays(*stand)
        if rays is not None and _within(look, rays):
            strength = np.min([_strength(look, ray, shifts)[0] for ray in rays], axis=0)
            seen.append((stand, strength))
    if not seen:
        return "its edges are hidden from this camera, or too short in the picture"
    every = np.stack([strength for _, strength in seen])
    top = float(every.max())
    if top < LEAST_STRENGTH:
        return "no three edges meet near where it should be"
    starts: list[tuple[_Stand, Array]] = []
    while len(starts) < MOST_STARTS and every.max() >= max(LEAST_STRENGTH, RIVAL_SHARE * top):
        turn_index, shift_index = np.unravel_index(int(np.argmax(every)), every.shape)
        place = shifts[shift_index]
        starts.append((seen[turn_index][0], place))
        # The same place once more only with the carton lying another way.
        alike = [stand[1] == seen[turn_index][0][1] for stand, _ in seen]
        near = np.hypot(*(shifts - place).T) <= RIVAL_PX
        every[np.outer(alike, near)] = 0.0
    return starts


def _within(look: _Look, rays: list[_Ray]) -> bool:
    """Whether everything that is looked at lies in the picture."""
    margin = look.reach_px + WINDOW.across_px + WINDOW.along_px + 4
    every = np.concatenate([ray.places for ray in rays])
    size = np.array(look.planes[0].shape[::-1])
    return bool((every > margin).all() and (every < size - 1 - margin).all())


def _strength(look: _Look, ray: _Ray, shifts: Array) -> tuple[Array, int]:
    """How surely an edge runs along a ray moved by each of `shifts` (m, 2), in sigmas, (m,).

    And the plane in which it is seen best.
    """
    reach = look.reach_px + 1.0
    offsets = np.arange(-reach, reach + LATTICE_PX / 2, LATTICE_PX)
    where = (ray.places[:, None] + offsets[None, :, None] * ray.across[:, None]).astype(np.float32)
    moved = shifts @ ray.across.mean(axis=0)
    best, which = np.zeros(len(shifts)), 0
    for index, plane in enumerate(look.planes):
        levels = cv2.remap(plane, where[..., 0], where[..., 1], cv2.INTER_LINEAR)
        strength = np.interp(moved, offsets, _profile_strength(np.asarray(levels)))
        if strength.max() > best.max():
            which = index
        best = np.maximum(best, strength)
    return best, which


def _profile_strength(levels: np.ndarray) -> Array:
    """Mean slope over its sigma, (t,), of levels (s, t) along and across; 0 where it is broken."""
    smooth = cv2.GaussianBlur(levels, (0, 0), PROFILE_BLUR_PX / LATTICE_PX, sigmaY=0.01)
    slope = np.gradient(np.asarray(smooth, dtype=np.float64), LATTICE_PX, axis=1)
    mean = slope.mean(axis=0)
    # Neighbouring rows share pixels: their count is not that of independent slopes.
    sigma = slope.std(axis=0) * np.sqrt(2) + 0.02 * np.ptp(levels) + LEAST_STEP / 10
    parts = np.stack([part.mean(axis=0) for part in np.array_split(slope, SECTIONS)])
    whole = (parts * np.sign(mean) > LEAST_SECTION * np.abs(mean)).all(axis=0)
    return np.where(whole, np.abs(mean) * np.sqrt(len(slope)) / np.maximum(sigma, 1e-6), 0.0)


def _measured(look: _Look, stand: _Stand, shift_px: Array) -> FoundCorner | str:
    """Fit every edge on the picture's own pixels and let the three lines meet in one point.

    Unknown: the corner's shift, the carton's turn, and how far its upright edge leans.
    """
    rays = look.rays(*stand)
    turned = look.rays(stand[0] + TURN_STEP_RAD, stand[1])
    if rays is None or turned is None:
        return "its edges are too short in the picture"
    rows, offs, sigmas = [], [], []
    for index, (ray, other) in enumerate(zip(rays, turned, strict=True)):
        picked = np.arange(0, len(ray.places), int(SPACING_PX))
        places, across = ray.places[picked] + shift_px, ray.across[picked]
        pixels = np.rint(places).astype(int)
        which = _strength(look, ray, shift_px[None])[1]
        plane, noise = look.planes[which], look.noises[which]
        fit = fit_edges(plane, pixels, np.arctan2(across[:, 1], across[:, 0]), WINDOW, 0.0)
        off = fit.off_px - ((places - pixels) * across).sum(axis=1)
        good = (fit.explained > EXPLAINED) & (np.abs(fit.turn_rad) < 0.25)
        good &= (fit.blur_px < MOST_BLUR_PX[which]) & (np.abs(fit.off_px) < WINDOW.across_px - 1)
        good &= np.abs(fit.step) > max(LEAST_STEP, 2 * noise)
        good &= np.sign(fit.step) == np.sign(np.median(fit.step))
        if good.sum() < LEAST_FITS or good.mean() < LEAST_GOOD:
            return "one of its three edges is no clear step"
        count = min(len(ray.places), len(other.places))
        moved = ((other.places[:count] - ray.places[:count]) * ray.across[:count]).sum(axis=1)
        away = np.pad(moved / TURN_STEP_RAD, (0, len(ray.places) - count), mode="edge")
        lean = ray.distance_px if index == 2 else np.zeros(len(ray.places))
        d_turn = away if index < 2 else np.zeros(len(ray.places))
        rows.append(np.column_stack([across, d_turn[picked], lean[picked]])[good])
        offs.append((off + across @ shift_px)[good])
        # Fits this close share pixels: each counts for half.
        sigmas.append(np.hypot(fit.off_sigma_px, OFF_SIGMA_PX[which])[good] * np.sqrt(2))
    upright = rays[2].across.mean(axis=0)
    stated = stand[0] if look.shape.turn_rad is None else look.shape.turn_rad
    sliver_px = _sliver_px(look, (stated, stand[1]))
    return _met(
        look,
        (np.concatenate(rows), np.concatenate(offs), np.concatenate(sigmas)),
        stated - stand[0],
        sliver_px**2 * np.outer(upright, upright),
    )


def _sliver_px(look: _Look, stand: _Stand) -> float:
    """Sigma for a side seen so nearly edge-on that its far edge may pass for the upright one."""
    sines = _side_sines(look.corner_m, *stand, look.pose.camera_in_ground_m)
    _, d_point, _ = look.lens.project_with_derivatives(look.pose.transform(look.corner_m))
    px_per_m = float(np.linalg.norm(d_point, 2))
    # With size (along, left): the side that ends the length runs along the other one.
    widths = np.array(look.shape.size_m or UNKNOWN_SIZE_M)[::-1] * px_per_m
    narrow, wide = widths * (sines - TURN_SIGMA_RAD), widths * (sines + TURN_SIGMA_RAD)
    mistaken = np.where(narrow > APART_PX, 0.0, np.clip(wide, 0.0, APART_PX))
    return float(mistaken.max() / 2)


def _met(
    look: _Look, lines: tuple[Array, Array, Array], turn_rad: float, doubt_px2: Array
) -> FoundCorner | str:
    """Least squares for the shift (2,), turn and lean, with priors on the latter two.

    `lines`: derivatives (n, 4), distances (n,) in px and their sigmas; `turn_rad` is what the turn
    is stated to be, counted from how it was looked at.
    """
    rows, offs, sigmas = lines
    prior = np.array([0.0, 0.0, TURN_SIGMA_RAD**-2, LEVEL_SIGMA_RAD**-2])
    if look.shape.turn_rad is None:
        prior[2] = 1e-6
    pull = prior * np.array([0.0, 0.0, turn_rad, 0.0])
    robust = np.ones(len(offs))
    for _ in range(5):
        weighted = rows * (robust / sigmas**2)[:, None]
        normal = weighted.T @ rows + np.diag(prior)
        state = np.linalg.solve(normal, weighted.T @ offs + pull)
        miss = offs - rows @ state
        robust = 1 / (1 + (miss / (3 * sigmas)) ** 2)
    rms = float(np.sqrt(np.average(miss**2, weights=robust)))
    if rms > MOST_MISS_PX:
        return "its edges do not meet in one point"
    inside = np.hypot(*state[:2]) <= look.reach_px + 1
    if not inside:
        return "its edges meet too far from where it should be"
    worse = max(1.0, float((robust * (miss / sigmas) ** 2).sum() / max(robust.sum() - 4, 1)))
    _, d_point, _ = look.lens.project_with_derivatives(look.pose.transform(look.corner_m))
    dent = d_point @ look.pose.R * DENT_M
    covariance = np.linalg.inv(normal)[:2, :2] * worse + dent @ dent.T + doubt_px2
    if np.sqrt(np.linalg.eigvalsh(covariance)[-1]) > MOST_SIGMA_PX:
        return "its edges do not fix the point where they meet"
    return FoundCorner(
        pixel_px=look.expected_px + state[:2], covariance_px2=0.5 * (covariance + covariance.T)
    )
