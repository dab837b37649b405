"""The point where a carton's three edges meet, fitted on the picture's own pixels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.marks.box_corner.carton import Stand, carton_edges, side_sines
from vision.marks.box_corner.edge_search import Look, Ray, strength_along
from vision.marks.edge_fit import fit_edges
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array, freeze
from vision.units.reason import Reason

TUNED = SETTINGS.box_corner


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundCorner:
    """A corner's pixel (2,) in the picture turned back, with covariance (2, 2)."""

    pixel_px: Array
    covariance_px2: Array

    def __post_init__(self) -> None:
        freeze(self, pixel_px=(2,), covariance_px2=(2, 2))


def measure_corner(look: Look, stand: Stand, shift_px: Array) -> FoundCorner | Reason:
    """Fit every edge on the picture's own pixels and let the three lines meet in one point.

    Unknown: the corner's shift, the carton's turn, and how far its upright edge leans.
    """
    rays = look.rays(*stand)
    turned = look.rays(stand[0] + TUNED.turn_step_rad, stand[1])
    if rays is None or turned is None:
        return Reason("edges-short")
    lines = []
    for index, (ray, other) in enumerate(zip(rays, turned, strict=True)):
        line = _line(look, ray, None if index == 2 else other, shift_px)
        if line is None:
            return Reason("edge-unclear")
        lines.append(line)
    rows, offs, sigmas = (np.concatenate(parts) for parts in zip(*lines, strict=True))
    upright = rays[2].across.mean(axis=0)
    stated = stand[0] if look.shape.turn_rad is None else look.shape.turn_rad
    narrow, wide = _widths_px(look, (stated, stand[1]))
    mistaken = np.where(narrow > TUNED.apart_px, 0.0, np.clip(wide, 0.0, TUNED.apart_px))
    doubt = float(mistaken.max() / 2) ** 2 * np.outer(upright, upright)
    found = _met(look, (rows, offs, sigmas), stated - stand[0], doubt)
    if isinstance(found, Reason):
        return found
    if _another_edge_within(look, rays, found, (stated, stand[1])):
        return Reason("side-narrow")
    return found


def _line(
    look: Look, ray: Ray, turned: Ray | None, shift_px: Array
) -> tuple[Array, Array, Array] | None:
    """One edge's derivatives (n, 4) by shift, turn and lean, distances (n,) and sigmas; or None.

    `turned` is a level edge with the carton turned a little; the upright one (None) leans instead.
    """
    picked = np.arange(0, len(ray.places), int(TUNED.spacing_px))
    places, across = ray.places[picked] + shift_px, ray.across[picked]
    pixels = np.rint(places).astype(int)
    which = strength_along(look, ray, shift_px[None])[1]
    plane, noise = look.planes[which], look.noises[which]
    fit = fit_edges(plane, pixels, np.arctan2(across[:, 1], across[:, 0]), TUNED.window, 0.0)
    off = fit.off_px - ((places - pixels) * across).sum(axis=1)
    good = (fit.explained > TUNED.explained) & (np.abs(fit.turn_rad) < 0.25)
    good &= (fit.blur_px < TUNED.most_blur_px[which]) & (
        np.abs(fit.off_px) < TUNED.window.across_px - 1
    )
    good &= np.abs(fit.step) > max(TUNED.least_step, 2 * noise)
    good &= np.sign(fit.step) == np.sign(np.median(fit.step))
    if good.sum() < TUNED.least_fits or good.mean() < TUNED.least_good:
        return None
    moves = np.zeros((len(ray.places), 2))
    if turned is None:
        moves[:, 1] = ray.distance_px
    else:
        count = min(len(ray.places), len(turned.places))
        moved = ((turned.places[:count] - ray.places[:count]) * ray.across[:count]).sum(axis=1)
        moves[:, 0] = np.pad(moved / TUNED.turn_step_rad, (0, len(moves) - count), mode="edge")
    rows = np.column_stack([across, moves[picked]])
    # Fits this close share pixels: each counts for half.
    sigmas = np.hypot(fit.off_sigma_px, TUNED.off_sigma_px[which]) * np.sqrt(2)
    return rows[good], (off + across @ shift_px)[good], sigmas[good]


def _widths_px(look: Look, stand: Stand) -> tuple[Array, Array]:
    """How wide the two sides at the corner are seen, at the least and at the most, (2,) each in px.

    Below 0 where a side is turned away.
    """
    sines = side_sines(look.corner_m, *stand, look.pose.camera_in_ground_m)
    # With size (along, left): the side that ends the length runs along the other one.
    lengths = np.array(look.shape.size_m or TUNED.unknown_size_m)[::-1]
    px = lengths * float(np.linalg.norm(look.d_pixel_d_ground, 2))
    return px * (sines - TUNED.turn_sigma_rad), px * (sines + TUNED.turn_sigma_rad)


def _another_edge_within(look: Look, rays: list[Ray], found: FoundCorner, stand: Stand) -> bool:
    """Whether what was found may be a narrow side's far edge: its near one is seen within it.

    `stand` is as stated. Only where the found corner lies about so far outward.
    """
    shift = found.pixel_px - look.expected_px
    narrow, wide = _widths_px(look, stand)
    outward = _outward_px(look, stand)
    # The upper edge of the side that ends the length is the other level one.
    for ray, out, least, most in zip(rays[1::-1], outward, narrow, wide, strict=True):
        if most < TUNED.apart_px or out @ shift < most / 2:
            continue
        inward = np.arange(max(least, TUNED.apart_px), most + TUNED.lattice_px, TUNED.lattice_px)
        if (
            strength_along(look, ray, shift - inward[:, None] * out)[0].max()
            > TUNED.least_strength / 2
        ):
            return True
    return False


def _outward_px(look: Look, stand: Stand) -> Array:
    """Unit vectors (2, 2) in the picture from the top across each side's upper edge, outward."""
    along, left, _ = carton_edges(look.corner_m, stand[0], look.shape, stand[1])
    edges_px = np.stack([left, along]) @ look.d_pixel_d_ground.T
    inward_px = edges_px[::-1]
    across = np.stack([-edges_px[:, 1], edges_px[:, 0]], axis=1)
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    return np.asarray(-across * np.sign((across * inward_px).sum(axis=1, keepdims=True)))


def _met(
    look: Look, lines: tuple[Array, Array, Array], turn_rad: float, doubt_px2: Array
) -> FoundCorner | Reason:
    """Least squares for the shift (2,), turn and lean, with priors on the latter two.

    `lines`: derivatives (n, 4), distances (n,) in px and their sigmas; `turn_rad` is what the turn
    is stated to be, counted from how it was looked at.
    """
    rows, offs, sigmas = lines
    prior = np.array([0.0, 0.0, TUNED.turn_sigma_rad**-2, TUNED.level_sigma_rad**-2])
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
    if rms > TUNED.most_miss_px:
        return Reason("edges-miss")
    inside = np.hypot(*state[:2]) <= look.reach_px + 1
    if not inside:
        return Reason("edges-far")
    worse = max(1.0, float((robust * (miss / sigmas) ** 2).sum() / max(robust.sum() - 4, 1)))
    dent = look.d_pixel_d_ground * TUNED.dent_m
    covariance = np.linalg.inv(normal)[:2, :2] * worse + dent @ dent.T + doubt_px2
    if np.sqrt(np.linalg.eigvalsh(covariance)[-1]) > TUNED.most_sigma_px:
        return Reason("corner-untold")
    return FoundCorner(
        pixel_px=look.expected_px + state[:2], covariance_px2=0.5 * (covariance + covariance.T)
    )
