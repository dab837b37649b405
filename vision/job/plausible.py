"""What a job file states that cannot be, and what is only unusual.

A slip of the pen gives a job that reads well and means another yard: a sign, a side, a unit. Each
statement is therefore held against the others before any picture is looked at. What cannot be is a
fault with its line; what is unusual is a `Reason` for the warnings of an inspection.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from vision.camera.geometry import Aim
from vision.job.body import crossed_m, inside_m
from vision.job.camera_keys import pan_deg_of
from vision.job.job import Camera, Job, SingleMark, Strip, Vehicle
from vision.job.kinds.mark_shape import MarkShape
from vision.job.settings import SETTINGS
from vision.units.arrays import Array
from vision.units.length_words import LengthWords
from vision.units.lengths import IMPERIAL, UNITS, parse_length
from vision.units.reason import Reason
from vision.units.tables import Table, describe

_ONE_NUMBER = re.compile(r"\s*([0-9]*\.?[0-9]+)\s*[a-z\"']*\s*", re.IGNORECASE)


def note_impossible(
    top: Table,
    vehicle: Vehicle | None,
    cameras: Iterable[Camera | None],
    strips: Iterable[Strip | None],
    marks: Iterable[SingleMark | None],
) -> None:
    """Note every statement that cannot be; what had a fault of its own is None, and passed over."""
    laid = [strip for strip in strips if strip is not None]
    for strip in laid:
        _note_strip(_Entry(top, "strip", strip.name), strip)
    for mark in marks:
        if mark is not None:
            _note_size(_Entry(top, "mark", mark.name), mark.shape)
    if vehicle is None:
        return
    mounted = [camera for camera in cameras if camera is not None]
    if _note_body_in_other_unit(_Entry(top, "vehicle"), vehicle, mounted):
        # Places held against a body that is wrong would be faults of the wrong lines.
        return
    for camera in mounted:
        entry = _Entry(top, "camera", camera.name)
        if not _note_place(entry, vehicle, camera):
            _note_view(entry, vehicle, camera, mounted)
    for strip in laid:
        _note_strip_under_body(_Entry(top, "strip", strip.name), vehicle, strip)


def unusual(job: Job) -> tuple[Reason, ...]:
    """What a person should look at again, though it can be."""
    found = [
        Reason("camera-inside-body", camera=camera.name, inside_m=depth)
        for camera in job.cameras
        if (depth := _depth_m(job.vehicle, camera)) > SETTINGS.body_margin_m
    ]
    low, high = SETTINGS.usual_field_deg
    found += [
        Reason("field-unusual", lens=lens.name, field_rad=lens.field_of_view_rad)
        for lens in job.lenses
        if lens.field_of_view_rad is not None
        and not low <= round(math.degrees(lens.field_of_view_rad), 6) <= high
    ]
    sizes = {"length": job.vehicle.length_m, "width": job.vehicle.width_m}
    for name, size_m in sizes.items():
        least, most = SETTINGS.usual_m[name]
        if not least <= size_m <= most:
            found.append(Reason("body-unusual", key=f"vehicle.{name}", size_m=size_m))
    return tuple(found)


class _Entry:
    """One table of the file, by its path, to note faults of its keys as they were typed."""

    def __init__(self, top: Table, section: str, name: str | None = None) -> None:
        values = top.values.get(section)
        if name is not None and isinstance(values, dict):
            values = values.get(name)
        path = section if name is None else f"{section}.{name}"
        own = values if isinstance(values, dict) else {}
        self.table = Table(top.faults, top.file, path, own, top.units)
        self.said = LengthWords(imperial=top.units.name in IMPERIAL)

    def typed(self, key: str, index: int | None = None) -> object:
        """What stands at a key, or in a list there."""
        value = self.table.values.get(key)
        return value[index] if isinstance(value, list) and index is not None else value

    def note(self, code: str, key: str, found: str, expected: str, step: str) -> None:
        self.table.fault(code, key, found, expected, step)

    def too_long(self, key: str, usual: str, most_m: float, index: int | None = None) -> None:
        """Note a length beyond what it can be, and the unit in which it would be usual."""
        value = self.typed(key, index)
        step = unit_step(value, usual)
        said = f"{describe(value)}{self.in_unit(value)}"
        self.note("too-long", key, said, f"at most {self.said.m(most_m, spec='g')}", step)

    def in_unit(self, value: object) -> str:
        """The unit of a bare number, for what was found."""
        return "" if isinstance(value, str) else f" {self.table.units.name or 'm'}"


def unit_step(typed: object, usual: str) -> str:
    """What to do about a length that cannot be: check its unit, and which it may have been."""
    other = in_other_unit(typed, *SETTINGS.usual_m[usual])
    return "check the unit" + (f': did you mean "{other}"?' if other else "")


def in_other_unit(typed: object, least_m: float, most_m: float) -> str | None:
    """The length in the unit that makes it usual: `15 cm`.

    `typed` is a bare number or a text of one number and its unit; None where no unit makes it lie
    from `least_m` to `most_m`. Of several units the one nearest to the middle of these.
    """
    match = _ONE_NUMBER.fullmatch(typed if isinstance(typed, str) else str(typed).lstrip("-"))
    if match is None:
        return None
    number = float(match[1])
    middle = math.log(least_m * most_m) / 2
    fits = {
        unit: abs(math.log(number * float(metres)) - middle)
        for unit, metres in UNITS.items()
        if number > 0 and least_m <= number * float(metres) <= most_m
    }
    return f"{number:g} {min(fits, key=fits.__getitem__)}" if fits else None


# ----------------------------------------------------------------------------------- on the ground


def _note_strip(entry: _Entry, strip: Strip) -> None:
    """Tape that is no tape, and marks that are larger than what they lie on."""
    sized = _note_size(entry, strip.shape)
    if strip.tape_width_m > SETTINGS.widest_tape_m:
        entry.too_long("tape_width", "tape_width", SETTINGS.widest_tape_m)
    elif not sized and not strip.shape.points:
        width_m = 2 * strip.shape.half_extent_m[1]
        if width_m > strip.tape_width_m * (1 + 1e-9):
            key = strip.shape.keys[0]
            value, cm = entry.typed(key), entry.said.cm
            found = f"{describe(value)}{entry.in_unit(value)}, a mark {cm(width_m)} wide"
            expected = f"a mark no wider than its tape of {cm(strip.tape_width_m)}"
            entry.note("mark-wider-than-tape", key, found, expected, "correct it, or `tape_width`")
    for key, sigma_m in (
        ("position_sigma", strip.position_sigma_m),
        ("mark_sigma", strip.mark_sigma_m),
    ):
        if sigma_m > SETTINGS.largest_sigma_m:
            entry.too_long(key, key, SETTINGS.largest_sigma_m)


def _note_size(entry: _Entry, shape: MarkShape) -> bool:
    """Note a mark larger than any; whether there was one."""
    if not shape.drawn or 2 * max(shape.half_extent_m) <= SETTINGS.largest_mark_m:
        return False
    key = shape.keys[0]
    value = entry.typed(key)
    longest = int(np.argmax(shape.half_extent_m)) if isinstance(value, list) else None
    entry.too_long(key, "mark", SETTINGS.largest_mark_m, longest)
    return True


def _note_strip_under_body(entry: _Entry, vehicle: Vehicle, strip: Strip) -> None:
    # Between points on the ground: from a place outside the body to one on its other side.
    start, end = (np.append(each, 0.01) for each in (strip.from_m, strip.to_m))
    inside = max(inside_m(vehicle, each) for each in (start, end)) > SETTINGS.strip_under_m
    crossed = crossed_m(vehicle, start, end[None], margin_m=SETTINGS.strip_under_m)
    if inside or crossed[0] > 0:
        ends_said = f"{describe(entry.typed('from'))} to {describe(entry.typed('to'))}"
        found = f"a strip from {ends_said}, which passes under the body"
        entry.note(
            "strip-under-body",
            "from",
            found,
            "a strip beside the body",
            "check the signs of `from` and `to`",
        )


# ------------------------------------------------------------------------------------ on the body


def _note_body_in_other_unit(entry: _Entry, vehicle: Vehicle, cameras: Sequence[Camera]) -> bool:
    """Note a length or width of the body that no camera's place fits, but would in another unit."""
    if sum(_misplaced(vehicle, camera) for camera in cameras) < 2:
        return False
    noted = False
    for key in ("length", "width"):
        text = in_other_unit(entry.typed(key), *SETTINGS.usual_m[key])
        if text is None:
            continue
        size_m = float(parse_length(text))
        longer, wider = replace(vehicle, length_m=size_m), replace(vehicle, width_m=size_m)
        other = longer if key == "length" else wider
        before = sum(_misplaced(vehicle, camera) for camera in cameras)
        if sum(_misplaced(other, camera) for camera in cameras) <= before - 2:
            value = entry.typed(key)
            found = f"{describe(value)}{entry.in_unit(value)}, far from where the cameras sit"
            expected = f"the body's {key}, with the cameras on its faces"
            entry.note("body-in-other-unit", key, found, expected, unit_step(entry.typed(key), key))
            noted = True
    return noted


def can_be(vehicle: Vehicle, camera: Camera) -> bool:
    """Whether a camera may be mounted there and look that way."""
    looks = _looks_through(vehicle, camera.position_m, camera.aim)
    return not (_misplaced(vehicle, camera) or looks)


def _misplaced(vehicle: Vehicle, camera: Camera) -> bool:
    depth_m = _depth_m(vehicle, camera)
    return depth_m > SETTINGS.deepest_camera_m or depth_m < -SETTINGS.farthest_camera_m


def _depth_m(vehicle: Vehicle, camera: Camera) -> float:
    """How much of the body there is before a camera inside it; outside, minus the way to it."""
    place, pan = camera.position_m, camera.aim.pan_rad
    depth_m = inside_m(vehicle, place)
    if depth_m <= 0:
        return depth_m
    ahead = np.array([math.cos(pan), math.sin(pan)])
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2
    with np.errstate(divide="ignore"):
        return float(((half - np.sign(ahead) * place[:2]) / np.abs(ahead)).min())


def _note_place(entry: _Entry, vehicle: Vehicle, camera: Camera) -> bool:
    """Note a camera that is nowhere on the body; whether it is."""
    sigma_m = camera.position_sigma_m
    if sigma_m > SETTINGS.largest_sigma_m:
        entry.too_long("position_sigma", "position_sigma", SETTINGS.largest_sigma_m)
    if camera.position_m[2] > SETTINGS.highest_camera_m:
        entry.too_long("position", "height", SETTINGS.highest_camera_m, 2)
        return True
    depth_m = _depth_m(vehicle, camera)
    if not _misplaced(vehicle, camera):
        return False
    said = entry.said.m(abs(depth_m))
    how = f"{said} inside the body" if depth_m > 0 else f"{said} from the body"
    step = _other_place(entry, vehicle, camera) or "measure it from the ground under the middle"
    if depth_m > 0 and vehicle.height_m is None:
        step += "; for a camera on the roof add `vehicle.height`"
    expected = (
        f"a place at most {entry.said.m(SETTINGS.deepest_camera_m, spec='g')} inside the body and"
        f" {entry.said.m(SETTINGS.farthest_camera_m, spec='g')} from it"
    )
    entry.note(
        "place-off-body", "position", f"{describe(entry.typed('position'))}, {how}", expected, step
    )
    return True


def _other_place(entry: _Entry, vehicle: Vehicle, camera: Camera) -> str | None:
    """The unit of one coordinate, or of all, that would put a camera onto the body."""
    typed = entry.typed("position")
    least_m, most_m = SETTINGS.usual_m["height"]
    values = typed if isinstance(typed, list) else []
    ways: list[tuple[int, ...]] = [(0, 1, 2), (0,), (1,), (2,)]
    for unit, metres in UNITS.items():
        for axes in ways:
            place = camera.position_m.copy()
            numbers = [values[i] for i in axes]
            if not all(isinstance(each, (int, float)) for each in numbers):
                continue
            place[list(axes)] = np.array(numbers, dtype=np.float64) * float(metres)
            there = replace(camera, position_m=place)
            near = abs(_depth_m(vehicle, there)) < SETTINGS.near_body_m
            if near and least_m / 3 <= place[2] <= most_m:
                said = ", ".join(f'"{each:g} {unit}"' for each in numbers)
                return f"did you mean {said}?"
    return None


def _note_view(entry: _Entry, vehicle: Vehicle, camera: Camera, others: Sequence[Camera]) -> None:
    """Note a camera whose axis, as intended, passes through the body it is mounted on."""
    tilt_deg = math.degrees(camera.aim.tilt_rad)
    if tilt_deg < SETTINGS.highest_tilt_deg:
        said = f"{describe(entry.typed('tilt_deg'))}, a camera that looks up"
        step = f"did you mean `tilt_deg = {-tilt_deg:g}`?"
        entry.note("looks-up", "tilt_deg", said, "degrees below the horizontal", step)
        return
    if not _looks_through(vehicle, camera.position_m, camera.aim):
        return
    x, y, z = camera.position_m
    pan_deg = math.degrees(camera.aim.pan_rad)
    back_deg = -pan_deg if abs(math.sin(camera.aim.pan_rad)) > 0.5 else 180.0 - abs(pan_deg)
    ways = [
        ("position", f"`position` with y = {-y:g} m", np.array([x, -y, z]), camera.aim),
        ("position", f"`position` with x = {-x:g} m", np.array([-x, y, z]), camera.aim),
        (
            "pan_deg",
            f"`pan_deg = {back_deg:g}`",
            camera.position_m,
            replace(camera.aim, pan_rad=math.radians(back_deg)),
        ),
    ]
    fits = [
        (key, said)
        for key, said, place, aim in ways
        if not _looks_through(vehicle, place, aim)
        and not (key == "position" and np.allclose(place, camera.position_m))
        and not any(_like(place, aim, other) for other in others if other is not camera)
    ]
    named_deg = pan_deg_of(camera.name)
    if named_deg is not None:
        # The camera's own name is a witness: whichever of the two it contradicts is wrong.
        turned = abs(math.remainder(pan_deg - named_deg, 360)) > 1
        key = "pan_deg" if turned else "position"
        fits = [each for each in fits if each[0] == key] or fits
    key = fits[0][0] if fits else "pan_deg"
    step = f"did you mean {' or '.join(said for _, said in fits)}?" if fits else "check both"
    found = (
        f"position {describe(entry.typed('position'))} with pan {pan_deg:g}, from where the camera"
        " looks through the body"
    )
    entry.note("looks-through-body", key, found, "a camera that looks away from the body", step)


def _like(place_m: Array, aim: Aim, other: Camera) -> bool:
    """Whether another camera sits near there and looks the same way."""
    near = np.linalg.norm(place_m - other.position_m) < SETTINGS.same_mounting_m
    return bool(near and abs(aim.minus(other.aim)[0]) < math.pi / 4)


def _looks_through(vehicle: Vehicle, place_m: Array, aim: Aim) -> bool:
    """Whether the axis, down to the ground, runs on inside the body for more than an edge of it."""
    forward = aim.rotation()[2]
    down = max(-float(forward[2]), 1e-3)
    on_ground_m = place_m + forward * (place_m[2] / down)
    return bool(crossed_m(vehicle, place_m, on_ground_m[None])[0] > SETTINGS.looks_through_m)
