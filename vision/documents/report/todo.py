"""The list of what is to be done, each step with an arrow on the picture that shows it best."""

from __future__ import annotations

from typing import Any

import numpy as np

from vision.camera.geometry import Aim
from vision.documents.check_words.words import say_check
from vision.documents.report.overlay import arrow
from vision.documents.report.pictures import (
    SMALL_PX,
    SMALL_QUALITY,
    Shown,
    delivered,
    jpeg_uri,
)
from vision.inspection.inspected import (
    InspectedCamera,
    InspectedRaisedMark,
    InspectedStrip,
    Inspection,
)
from vision.inspection.verdict.jobs import WORST_FIRST
from vision.inspection.verdict.rule import Action
from vision.units.arrays import Array

MOVE_FACTOR = 5
"""A strip's move of some centimetres is drawn so many times as long: it is some pixels else."""
HEAD_SHARE = 0.035
ROLL_RADIUS = 0.16
"""Radius of the arc that shows a roll, as a share of the picture's height."""
WORTH_RAD = float(np.radians(0.05))

NOTHING_DRAWN: dict[str, Any] = {"arrows": [], "arc": None, "note": ""}

Part = InspectedCamera | InspectedStrip | InspectedRaisedMark


def todo(inspection: Inspection, shown: Shown) -> list[dict[str, Any]]:
    """What is to be done, in the order in which to do it: the job's own list, or everybody's.

    Each step has a sentence, its figures where it turns a camera, and a picture with arrows where
    one can be shown.
    """
    parts: tuple[Part, ...] = (*inspection.cameras, *inspection.strips, *inspection.raised_marks)
    owners: list[tuple[Part | None, Action]]
    owners = [(part, action) for part in parts for action in part.actions]
    steps = sorted(owners, key=lambda each: WORST_FIRST.index(each[0].verdict) if each[0] else 0)
    if inspection.actions:
        steps = [
            (next((part for part, each in owners if each == action), None), action)
            for action in inspection.actions
        ]
    say = say_check(inspection.job.lengths)
    return [
        {
            "who": part.name if part and not inspection.actions else "",
            "camera": part.name if isinstance(part, InspectedCamera) else "",
            "text": say(action.what),
            "picture": _pictured(inspection, part, action, shown),
        }
        for part, action in steps
    ]


def _pictured(
    inspection: Inspection, part: Part | None, action: Action, shown: Shown
) -> dict[str, Any] | None:
    """A small picture with what to do drawn on it; None where there is none to show."""
    if isinstance(part, InspectedCamera):
        found, drawn = part, _turn(part, action)
    elif isinstance(part, InspectedStrip) and action.move_m is not None:
        seen = _camera_of_strip(inspection, part.name)
        if seen is None:
            return None
        found, middle = seen
        drawn = _move(found, middle, np.array(action.move_m[:2]))
    else:
        return None
    picture = delivered(inspection.job, found, shown)
    width, height = found.picture.width, found.picture.height
    if picture is None and not drawn["arrows"] and drawn["arc"] is None:
        return None
    return {
        "camera": found.camera.name,
        "uri": None if picture is None else jpeg_uri(picture, SMALL_PX, SMALL_QUALITY),
        "width": width,
        "height": height,
        "stroke": width / SMALL_PX,
        **drawn,
    }


def _turn(found: InspectedCamera, action: Action) -> dict[str, Any]:
    """An arrow from the middle of the view to where it has to point, and an arc for a roll."""
    drawn = dict(NOTHING_DRAWN)
    if action.turn_rad is None or found.adjusted is None:
        return drawn
    lens, picture = found.adjusted.lens, found.picture
    pan, tilt, roll = action.turn_rad
    now = found.adjusted.aim_on_body
    wanted = Aim(
        pan_rad=now.pan_rad + pan, tilt_rad=now.tilt_rad + tilt, roll_rad=now.roll_rad + roll
    )
    centre = picture.as_delivered(lens.project(np.array([0.0, 0.0, 1.0])))
    target = picture.as_delivered(
        lens.project(found.adjusted.camera_from_body @ wanted.rotation()[2])
    )
    notes = []
    if max(abs(pan), abs(tilt)) > WORTH_RAD and np.isfinite(target).all():
        drawn["arrows"] = [arrow(centre, target, HEAD_SHARE * picture.width)]
        notes.append(
            "the circle is where the camera looks now, the arrow's tip where it has to look"
        )
    if abs(roll) > WORTH_RAD:
        # A clockwise roll as seen from behind is clockwise on the picture, unless it is mirrored.
        way = float(np.sign(roll)) * (-1.0 if picture.mirrored else 1.0)
        drawn["arc"] = _arc(centre, ROLL_RADIUS * picture.height, way)
        notes.append("the bent arrow is the way to roll the camera, as seen from behind it")
        if picture.mirrored:
            notes[-1] = "the bent arrow is the way to roll, mirrored as the picture is"
    drawn["note"] = "; ".join(notes)
    return drawn


def _arc(centre: Array, radius: float, way: float) -> dict[str, Any]:
    """An arc over the top of a circle, from one side to the other, and its arrow's head."""
    begin = centre + radius * np.array([-way * np.sin(0.9), -np.cos(0.9)])
    end = centre + radius * np.array([way * np.sin(0.9), -np.cos(0.9)])
    along = np.degrees(np.arctan2(np.sin(0.9), way * np.cos(0.9)))
    sweep = 1 if way > 0 else 0
    path = f"M{begin[0]:.1f} {begin[1]:.1f}A{radius:.1f} {radius:.1f} 0 0 {sweep} "
    return {
        "path": f"{path}{end[0]:.1f} {end[1]:.1f}",
        "x": round(float(end[0]), 1),
        "y": round(float(end[1]), 1),
        "angle": round(float(along), 1),
        "head": round(radius / 4, 1),
    }


def _camera_of_strip(inspection: Inspection, name: str) -> tuple[InspectedCamera, Array] | None:
    """The camera that used most marks of a strip, and where their middle lies as planned (3,)."""
    placed = [camera for camera in inspection.cameras if camera.adjusted is not None]
    used = [
        [m.planned_m for m in camera.marks if m.status == "used" and m.id.strip == name]
        for camera in placed
    ]
    most = max(range(len(placed)), key=lambda row: len(used[row]), default=None)
    if most is None or not used[most]:
        return None
    return placed[most], np.asarray(used[most][len(used[most]) // 2])


def _move(found: InspectedCamera, planned_m: Array, move_m: Array) -> dict[str, Any]:
    """An arrow from where a mark of the strip lies to where it goes, `MOVE_FACTOR` times longer."""
    assert found.adjusted is not None
    pose, lens = found.adjusted.pose, found.adjusted.lens
    lies = planned_m - np.array([*move_m, 0.0])
    goes = lies + MOVE_FACTOR * np.array([*move_m, 0.0])
    ends = lens.project(pose.transform(np.stack([lies, goes])))
    if not np.isfinite(ends).all():
        return dict(NOTHING_DRAWN)
    ends = found.picture.as_delivered(ends)
    note = f"the arrow is the way to move the strip, {MOVE_FACTOR} times as long as the move"
    arrows = [arrow(ends[0], ends[1], HEAD_SHARE * found.picture.width)]
    return NOTHING_DRAWN | {"arrows": arrows, "note": note}
