"""The sections [lens.NAME] and [camera.NAME] of a job file: what is mounted, and how it looks.

What follows from a camera's name may be left out: its pan, its picture, the lens of the same name.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from vision.camera.geometry import Aim
from vision.camera.lens_formats import read_lens
from vision.camera.pixel_shape import NAMED, SQUARE, PixelShape, shape_named
from vision.camera.stated_lens import StatedLens
from vision.job.body_keys import mounted_on, moving_parts
from vision.job.job import Camera
from vision.job.means_keys import bracket_of
from vision.job.settings import SETTINGS
from vision.units.cures import nearest_step
from vision.units.tables import Table, describe, has_control, is_number

PANS_DEG = {"front": 0.0, "left": 90.0, "rear": 180.0, "back": 180.0, "right": -90.0}
"""Where a camera looks by its name; one named after an end and a side looks between the two."""
_WORDS = re.compile(r"[a-z]+")


def pan_deg_of(name: str) -> float | None:
    """The pan that a camera's name says: `front`, `Left 2`, `rear_right`; None where it does not.

    A name says it where each of its words is a direction: of a `left_mirror` nobody can know.
    """
    words = _WORDS.findall(name.casefold())
    if not words or len(words) > 2 or any(word not in PANS_DEG for word in words):
        return None
    pans = [math.radians(PANS_DEG[word]) for word in words]
    x, y = sum(map(math.cos, pans)), sum(map(math.sin, pans))
    # Front and rear together are no direction.
    return None if math.hypot(x, y) < 0.5 else round(math.degrees(math.atan2(y, x)), 6)


def file_name_fault(name: str) -> str | None:
    """Say what a file named in a job ought to be, or None when `name` will do."""
    if not name.strip() or len(name) > 255 or has_control(name):
        return "a file name beside the job file"
    if (
        name.startswith(("/", "\\"))
        or name[1:2] == ":"
        or ".." in name.replace("\\", "/").split("/")
    ):
        return "a file name beside the job file, without a folder above it"
    return None


def lens_of(name: str, table: Table, lens_texts: Mapping[str, bytes | None]) -> StatedLens | None:
    """One lens from its table, or from the file that it names; None after noting a fault."""
    before = len(table.faults)
    stated, from_file = table.has("field_of_view_deg"), table.has("file")
    pixels = _pixels(table) if table.has("pixel_aspect") else None
    expected = "either field_of_view_deg or file"
    if stated and from_file:
        found = "both field_of_view_deg and file"
        table.fault("one-of-two", "", found, expected, "remove one of them")
    elif not stated and not from_file:
        step = "add `field_of_view_deg`"
        table.lacking("one-of-two", "field_of_view_deg", "neither", expected, step)
    table.close()
    degrees = math.nan
    if stated:
        degrees = table.number("field_of_view_deg", *SETTINGS.field_of_view_deg, exclusive=True)
    fitted = _lens_in_file(name, table, lens_texts) if from_file else None
    if from_file and pixels is not None:
        step = "remove `pixel_aspect`"
        table.wrong(
            "one-of-two", "pixel_aspect", "nothing beside a file, whose fx and fy say it", step
        )
    if len(table.faults) > before:
        return None
    return fitted or StatedLens(name=name, field_of_view_rad=math.radians(degrees), pixels=pixels)


def _pixels(table: Table) -> PixelShape | None:
    """The shape of a lens's pixels, a number or a standard's name; None after noting a fault."""
    value = table.values["pixel_aspect"]
    low, high = SETTINGS.pixel_aspect
    if is_number(value) and low <= float(value) <= high:
        return SQUARE if value == 1 else PixelShape(aspect=float(value))
    if isinstance(value, str) and (named := shape_named(value)) is not None:
        return named
    expected = (
        f"width over height of a pixel, from {low:g} to {high:g}, or one of "
        + "; ".join(name for name in NAMED if "samples" not in name)
        + "; with `, 720 samples` or `, 704 samples` behind it where that is known"
    )
    step = nearest_step(str(value), NAMED, "correct the value")
    table.wrong("wrong-aspect", "pixel_aspect", expected, step)
    return None


def _lens_in_file(
    name: str, table: Table, lens_texts: Mapping[str, bytes | None]
) -> StatedLens | None:
    file = file_name(table, "file")
    if not file:
        return None
    text = lens_texts.get(file)
    if text is None:
        step = "put it beside the job file, or write it with `seamtrue lens`"
        table.fault(
            "no-such-file", "file", f"no readable file {describe(file)}", "a lens file", step
        )
        return None
    return read_lens(text, file, name, table.faults)


def file_name(table: Table, key: str) -> str:
    """The name of a file beside the job; empty after noting a fault."""
    name = table.text(key, "a file name beside the job file")
    expected = file_name_fault(name) if name else None
    if expected:
        table.wrong("not-a-file-name", key, expected, "move the file there and name it")
    return "" if expected else name


def camera_of(name: str, table: Table, lenses: tuple[str, ...]) -> Camera | None:
    """One camera from its table, `lenses` naming those of the job; None after noting a fault."""
    before = len(table.faults)
    shots = _shots(table)
    picture = shots[0] if shots else f"{name}.jpg"
    if table.has("picture"):
        picture = file_name(table, "picture")
    lens = _lens_name(name, table, lenses)
    position = table.point("position", 3)
    if position is not None and position[2] <= 0:
        table.wrong(
            "below-ground",
            "position",
            "a height above the ground, z > 0",
            "measure the camera's height",
        )
    sigma = table.length("position_sigma", SETTINGS.camera_sigma_m)
    pan = _pan_deg(name, table)
    tilt = table.number("tilt_deg", -90, 90, SETTINGS.usual_tilt_deg)
    roll = table.number("roll_deg", -360, 360, 0.0)
    mirrored = table.flag("mirrored")
    bracket = bracket_of(table, pan)
    carrier, moving = mounted_on(table), moving_parts(table)
    table.close()
    if len(table.faults) > before or position is None:
        return None
    return Camera(
        name=name,
        picture=picture,
        lens=lens,
        position_m=position,
        position_sigma_m=sigma,
        aim=Aim.from_degrees(pan, tilt, roll),
        mirrored=mirrored,
        bracket=bracket,
        shots=shots,
        mounted_on=carrier,
        moving_px=moving,
    )


def _shots(table: Table) -> tuple[str, ...]:
    """Names or patterns of several pictures of one camera; empty where there are none."""
    if not table.has("pictures"):
        return ()
    value = table.values["pictures"]
    expected = "a list of file names or patterns beside the job file"
    if not isinstance(value, list) or not value:
        table.wrong("not-a-list", "pictures", expected, 'write it as `pictures = ["front_*.jpg"]`')
        return ()
    if table.has("picture"):
        found = "both picture and pictures"
        table.fault("one-of-two", "pictures", found, "either of them", "remove one of them")
    for index, each in enumerate(value):
        why = file_name_fault(each) if isinstance(each, str) else expected
        if why is not None:
            key = f"pictures[{index}]"
            table.fault(
                "not-a-file-name", key, describe(each), why, "move the file there and name it"
            )
            return ()
    return tuple(value)


def _pan_deg(name: str, table: Table) -> float:
    """The intended pan, stated or from the name; NaN after noting a fault."""
    pan = pan_deg_of(name)
    if pan is None and not table.has("pan_deg"):
        expected = "a number from -360 to 360: 0 ahead, 90 left, 180 back, -90 right"
        step = "add `pan_deg`, or name the camera front, left, rear, right or as front_left"
        table.lacking("missing", "pan_deg", "nothing", expected, step)
        return math.nan
    return table.number("pan_deg", -360, 360, pan)


def _lens_name(camera: str, table: Table, lenses: tuple[str, ...]) -> str:
    """The lens that is named, else that of the camera's own name, else the only one."""
    if not table.has("lens"):
        if camera in lenses:
            return camera
        if len(lenses) == 1:
            return lenses[0]
    lens = table.text("lens", "the name of a lens")
    if lens and lens not in lenses:
        step = nearest_step(lens, lenses, f"add [lens.{lens}]")
        known = ", ".join(lenses) if lenses else "a lens, of which there is none"
        table.wrong("unknown-name", "lens", f"the name of a lens: {known}", step)
    return lens
