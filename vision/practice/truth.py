"""The truth of a scene, as plain values for a JSON file: what a checker ought to find.

Pixels are in the pictures as delivered, also when they are mirrored; poses and lenses describe the
picture turned back, as everywhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import numpy as np

from vision.camera.geometry import ANGLES, wrap_angle
from vision.camera.lens_prior import lens_prior
from vision.job.layout import PlannedMark, points_of
from vision.practice.boxes import box_entry
from vision.practice.deviations import Damage, Deviations, Moved
from vision.practice.placed import axes, within
from vision.practice.settings import SETTINGS
from vision.practice.world import Eye, World, body_before, sheet_half_m
from vision.units.arrays import Array, Flags

SCHEMA = "seamtrue.scene/1"
NOTE = (
    "Drawn through the same lens model that the checker uses: it shows what the checker makes of "
    "marks, light and faults, and proves nothing about the lens."
)


def truth_of(world: World, deviations: Deviations, seed: int) -> dict[str, Any]:
    """Everything that is true of the scene, ready for JSON."""
    light = asdict(deviations.light)
    for name in ("sun_elevation", "sun_azimuth"):
        value = light.pop(f"{name}_rad")
        light[f"{name}_deg"] = None if value is None else _round(np.degrees(value), 6)
    return {
        "schema": SCHEMA,
        "note": NOTE,
        "job": world.job.name,
        "seed": seed,
        "small_errors": deviations.small_errors,
        "light": light,
        "ground": asdict(deviations.ground),
        "people": [
            {"name": each.name, "at_m": list(each.at_m), "height_m": each.height_m}
            for each in deviations.people
        ],
        "covers": [
            {"name": each.name, "at_m": list(each.at_m), "height_m": each.height_m}
            for each in deviations.covers
        ],
        "cameras": [_camera(world, eye) for eye in world.eyes],
        "strips": _strips(world, deviations),
        "marks": [
            {
                "id": str(true.id),
                "planned_m": _round(planned.centre_m, 6),
                "true_m": _round(true.centre_m, 6),
                "heading_deg": _round(np.degrees(true.heading_rad), 6),
            }
            | _done_to(deviations.damages.get(true.id, Damage()))
            for planned, true in zip(world.planned, world.marks, strict=True)
        ],
    }


def _done_to(damage: Damage) -> dict[str, Any]:
    """What was done to a mark: only the keys that say something."""
    return {key: value for key, value in asdict(damage).items() if value}


def _round(values: Any, digits: int) -> Any:
    return np.round(values, digits).tolist()


def _camera(world: World, eye: Eye) -> dict[str, Any]:
    camera, lens, aim = eye.camera, eye.lens, eye.pose.aim
    intended = camera.aim.as_degrees()
    turned = np.degrees(wrap_angle(aim.as_array() - camera.aim.as_array()))
    stated = world.job.lens_of(camera)
    guess = lens_prior(stated, lens.width, lens.height).guess
    return {
        "name": camera.name,
        "width": lens.width,
        "height": lens.height,
        "mirrored": camera.mirrored,
        "aim_deg": dict(zip(ANGLES, _round(aim.as_degrees(), 9), strict=True)),
        "intended_deg": dict(zip(ANGLES, _round(intended, 9), strict=True)),
        "turned_deg": dict(zip(ANGLES, _round(turned, 9), strict=True)),
        "position_m": _round(eye.pose.camera_in_ground_m, 9),
        "camera_from_ground": {"R": eye.pose.R.tolist(), "t_m": eye.pose.t_m.tolist()},
        "lens": {
            "model": "kannala-brandt",
            **{name: float(getattr(lens, name)) for name in ("fx", "fy", "cx", "cy")},
            "k": lens.k.tolist(),
            "focal_over_guess": _round(lens.fx / guess.fx, 6),
            "dark_beyond_deg": _round(np.degrees(eye.dark_beyond_rad), 6),
        },
        "marks": _seen(world, eye),
    }


def _seen(world: World, eye: Eye) -> list[dict[str, Any]]:
    """Every mark's pixel and whether it can be seen; a board's corners each for itself."""
    found = []
    for mark in world.marks:
        for point in points_of(mark):
            ray = eye.pose.transform(point.centre_m)
            pixel = eye.lens.project(ray)
            theta = np.arctan2(np.hypot(ray[0], ray[1]), ray[2])
            inside = bool(eye.lens.contains(pixel)) and theta < eye.dark_beyond_rad
            by, clear = None, 0.0
            if inside:
                by = hidden_by(world, eye, mark, point.centre_m)
                clear = clear_share(world, eye, mark, point)
            entry: dict[str, Any] = {
                "id": str(point.id),
                "status": "outside" if not inside else "hidden" if by else "visible",
                "pixel": _round(_delivered(eye, pixel), 6) if inside else None,
                "clear": _round(clear, 3),
                "extent_px": _round(_extent(eye, point), 2),
            }
            if inside and eye.odd_rows is not None:
                odd = eye.odd_rows.lens.project(eye.odd_rows.pose.transform(point.centre_m))
                entry["pixel_odd_rows"] = _round(_delivered(eye, odd), 6)
            found.append(entry | ({"hidden_by": by} if by else {}))
    return found


def _delivered(eye: Eye, pixel: Array) -> Array:
    """A pixel (2,) in the picture as delivered."""
    return np.array([eye.lens.width - 1 - pixel[0], pixel[1]]) if eye.camera.mirrored else pixel


def _extent(eye: Eye, point: PlannedMark) -> float:
    """Narrowest width of a mark, or of the squares round a board's corner, in px; 0 if cut off."""
    if not point.shape.drawn:
        return 0.0
    across = []
    for s, q in np.diag(point.shape.half_extent_m):
        ends = eye.lens.project(eye.pose.transform(_places(point, np.array([[s, q], [-s, -q]]))))
        across.append(ends[0] - ends[1])
    if not np.isfinite(across).all():
        return 0.0
    # Of the ellipse that the extents along and across the mark span in the picture.
    return float(np.linalg.svd(np.array(across), compute_uv=False)[-1])


def _places(point: PlannedMark, local: Array) -> Array:
    """Ground coordinates (n, 3) of places (n, 2) along a mark's own axes."""
    flat = local @ axes(point.heading_rad)
    return np.asarray(point.centre_m + np.column_stack([flat, np.zeros(len(flat))]))


def clear_share(world: World, eye: Eye, mark: PlannedMark, point: PlannedMark) -> float:
    """Share of a mark's extent, or of one of its points', that this camera sees, 0 to 1.

    A lattice over it: in the picture, before every box and under no spot that hides it.
    """
    along, across = point.shape.half_extent_m if point.shape.drawn else (0.02, 0.02)
    steps = (np.arange(SETTINGS.clear_steps) + 0.5) / SETTINGS.clear_steps * 2 - 1
    lattice = np.stack(np.meshgrid(steps * along, steps * across), axis=-1).reshape(-1, 2)
    places = _places(point, lattice)
    seen = np.asarray(eye.lens.contains(eye.lens.project(eye.pose.transform(places))))
    for _, hidden in _hidden(world, eye, mark, places):
        seen &= ~hidden
    return float(np.mean(seen))


def _hidden(
    world: World, eye: Eye, mark: PlannedMark, places: Array
) -> Iterator[tuple[str, Flags]]:
    """What can hide places (n, 3) of a mark from this camera, and which of them it does.

    Boxes first, then what lies upon the mark: its own on a trestle, else all on the ground.
    """
    origin = eye.pose.camera_in_ground_m
    for box in (body_before(eye, world.body), *world.boxes):
        if box.name != str(mark.id):
            yield box.name, box_entry(box, origin, places - origin)[0] < 1 - SETTINGS.on_a_box
    raised = [other.id for other in world.marks if other.centre_m[2] > 0]
    upon = world.spots.on(mark.id) if mark.id in raised else world.spots.off(raised)
    for spot in reversed(upon.each):
        if spot.cover >= SETTINGS.hides:
            yield spot.what, spot.holds(places[:, :2])


def hidden_by(world: World, eye: Eye, mark: PlannedMark, place_m: Array) -> str | None:
    """What stands or lies upon a place (3,) of a mark, as this camera sees it; None: nothing."""
    for name, hidden in _hidden(world, eye, mark, place_m[None]):
        if hidden.any():
            return name
    return _covered_by(world, mark, place_m) if place_m[2] == 0 else None


def _covered_by(world: World, mark: PlannedMark, place_m: Array) -> str | None:
    """The tape or sheet that lies upon a mark: those that come later in the job."""
    covers = [(tape.name, tape.middle_m, tape.heading_rad, tape.half_m) for tape in world.tapes]
    for other in world.marks:
        half = sheet_half_m(other)
        if other.strip is None and other.centre_m[2] == 0 and half is not None:
            covers.append((str(other.id), other.centre_m[:2], other.heading_rad, half))
    names = [cover[0] for cover in covers]
    own = names.index(mark.strip or str(mark.id))
    for name, middle, heading, half in covers[own + 1 :]:
        if within(place_m[None, :2], middle, heading, half).any():
            return name
    return None


def _strips(world: World, deviations: Deviations) -> list[dict[str, Any]]:
    """How each strip's middle moved and how far it turned."""
    strips = []
    for strip, tape in zip(world.job.strips, world.tapes, strict=True):
        turn = tape.heading_rad - np.arctan2(strip.along[1], strip.along[0])
        strips.append(
            {
                "name": strip.name,
                "shift_m": _round(tape.middle_m - (strip.from_m + strip.to_m) / 2, 9),
                "turn_deg": _round(np.degrees(wrap_angle(turn)), 9),
                "bow_m": tape.bow_m,
                "wrinkles_m": deviations.strips.get(strip.name, Moved()).wrinkles_m,
            }
        )
    return strips
