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
from vision.inspection.inspected import InspectedCamera, Inspection
from vision.inspection.verdict.jobs import WORST_FIRST
from vision.inspection.verdict.rule import Action
from vision.units.arrays import Array

MOVE_FACTOR = 5
"""A strip's move of some centimetres is drawn so many times as long: it is some pixels else."""
HEAD_SHARE = 0.035
ROLL_RADIUS = 0.16
"""Radius of the arc that shows a roll, as a share of the picture's height."""
WORTH_RAD = float(np.radians(0.05))


def todo(inspection: Inspection, shown: Shown) -> list[dict[str, Any]]:
    """What is to be done, in the order in which to do it: the job's own list, or everybody's.

    Each step has a sentence, its figures where it turns a camera, and a picture with arrows where
    one can be shown.
    """
    owners: list[tuple[str, str, str, Action]] = []
    for camera in inspection.cameras:
        owners += [("camera", camera.camera.name, camera.verdict, each) for each in camera.actions]
    for strip in inspection.strips:
        owners += [("strip", strip.name, strip.verdict, each) for each in strip.actions]
    for mark in inspection.raised_marks:
        owners += [("mark", mark.name, mark.verdict, each) for each in mark.actions]
    if inspection.actions:
        steps = [
            next(
                (owner for owner in owners if owner[3] is action or owner[3] == action),
                ("", "", "", action),
            )
            for action in inspection.actions
        ]
    else:
        steps = sorted(owners, key=lambda owner: WORST_FIRST.index(owner[2]))
    named = not inspection.actions
    say = say_check(inspection.job.lengths)
    return [
        {
            "who": name if named else "",
            "camera": name if kind == "camera" else "",
            "text": say(action.what),
            "picture": _pictured(inspection, kind, name, action, shown),
        }
        for kind, name, _, action in steps
    ]


def _pictured(
    inspection: Inspection, kind: str, name: str, action: Action, shown: Shown
) -> dict[str, Any] | None:
    """A small picture with what to do drawn on it; None where there is none to show."""
    if kind == "camera":
        found = next(each for each in inspection.cameras if each.camera.name == name)
        drawn = _turn(found, action)
    elif kind == "strip":
        seen = _camera_of_strip(inspection, name)
        if seen is None or action.move_m is None:
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
    drawn: dict[str, Any] = {"arrows": [], "arc": None, "note": ""}
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
    best = None
    for camera in inspection.cameras:
        used = [
            mark.planned_m
            for mark in camera.marks
            if mark.status == "used" and mark.id.strip == name
        ]
        if camera.adjusted is not None and used and (best is None or len(used) > best[0]):
            best = len(used), camera, np.asarray(used[len(used) // 2])
    return None if best is None else (best[1], best[2])


def _move(found: InspectedCamera, planned_m: Array, move_m: Array) -> dict[str, Any]:
    """An arrow from where a mark of the strip lies to where it goes, `MOVE_FACTOR` times longer."""
    assert found.adjusted is not None
    pose, lens = found.adjusted.pose, found.adjusted.lens
    lies = planned_m - np.array([*move_m, 0.0])
    goes = lies + MOVE_FACTOR * np.array([*move_m, 0.0])
    ends = lens.project(pose.transform(np.stack([lies, goes])))
    if not np.isfinite(ends).all():
        return {"arrows": [], "arc": None, "note": ""}
    ends = found.picture.as_delivered(ends)
    note = f"the arrow is the way to move the strip, {MOVE_FACTOR} times as long as the move"
    return {
        "arrows": [arrow(ends[0], ends[1], HEAD_SHARE * found.picture.width)],
        "arc": None,
        "note": note,
    }
