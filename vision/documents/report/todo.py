"""What each step shows: the picture that shows it best, an arrow, and what to aim for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from vision.camera.geometry import Aim
from vision.documents.report.overlay import arrow
from vision.documents.report.pictures import (
    SMALL_PX,
    SMALL_QUALITY,
    Shown,
    delivered,
    jpeg_uri,
)
from vision.documents.report.plan import TIMES
from vision.documents.steps import Step
from vision.documents.target_picture import target
from vision.inspection.inspected import InspectedCamera, InspectedStrip, Inspection
from vision.inspection.verdict.rule import Action
from vision.units.arrays import Array

HEAD_SHARE = 0.035
ROLL_RADIUS = 0.16
"""Radius of the arc that shows a roll, as a share of the picture's height."""
WORTH_RAD = float(np.radians(0.05))

NOTHING_DRAWN: dict[str, Any] = {"arrows": [], "arc": None, "outlines": [], "tapes": [], "note": ""}


def pictured(inspection: Inspection, steps: Sequence[Step], shown: Shown) -> list[dict[str, Any]]:
    """Each step's words as `vision.documents.steps` has them, with its picture or None."""
    return [
        {
            "who": step.owner,
            "camera": step.part.name if isinstance(step.part, InspectedCamera) else "",
            "head": step.head,
            "lines": list(step.lines),
            "how": list(step.how),
            "then": list(step.then),
            "picture": _pictured(inspection, step, shown),
        }
        for step in steps
    ]


def _pictured(inspection: Inspection, step: Step, shown: Shown) -> dict[str, Any] | None:
    """A small picture with what to do drawn on it; None where there is none to show."""
    part, action = step.part, step.action
    if isinstance(part, InspectedCamera) and action.turn_rad is not None:
        found, drawn = part, _turn(inspection, part, action)
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


def _turn(inspection: Inspection, found: InspectedCamera, action: Action) -> dict[str, Any]:
    """An arrow from where it looks to where it has to look, an arc for a roll, and outlines."""
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
    towards = picture.as_delivered(
        lens.project(found.adjusted.camera_from_body @ wanted.rotation()[2])
    )
    notes = []
    if max(abs(pan), abs(tilt)) > WORTH_RAD and np.isfinite(towards).all():
        drawn["arrows"] = [arrow(centre, towards, HEAD_SHARE * picture.width)]
        notes.append("the straight arrow is the way to turn it")
    if abs(roll) > WORTH_RAD:
        # A clockwise roll as seen from behind is clockwise on the picture, unless it is mirrored.
        way = float(np.sign(roll)) * (-1.0 if picture.mirrored else 1.0)
        drawn["arc"] = _arc(centre, ROLL_RADIUS * picture.height, way)
        mirrored = ", mirrored as the picture is" if picture.mirrored else ""
        notes.append(f"the bent arrow is the way to roll it{mirrored}")
    return drawn | _outlined(inspection, found, notes)


def _outlined(inspection: Inspection, found: InspectedCamera, notes: list[str]) -> dict[str, Any]:
    """Where marks and tape are to stand on the screen, and the note on all that is drawn."""
    wanted = target(inspection.job, found)
    outlines = [_points(each) for mark in wanted.marks for each in mark.outlines_px]
    tapes = [_points(each) for each in wanted.tapes_px]
    if outlines or tapes:
        notes = [*notes, "outlines: where marks and tape are to stand"]
    return {"outlines": outlines, "tapes": tapes, "note": "; ".join(notes)}


def _points(line_px: Array) -> str:
    return " ".join(f"{u:.0f},{v:.0f}" for u, v in line_px)


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
    """An arrow from where a mark of the strip lies to where it goes, `TIMES` as long as that is."""
    assert found.adjusted is not None
    pose, lens = found.adjusted.pose, found.adjusted.lens
    lies = planned_m - np.array([*move_m, 0.0])
    goes = lies + TIMES * np.array([*move_m, 0.0])
    ends = lens.project(pose.transform(np.stack([lies, goes])))
    if not np.isfinite(ends).all():
        return dict(NOTHING_DRAWN)
    ends = found.picture.as_delivered(ends)
    note = f"the arrow is the way to move it, {TIMES} times as long"
    arrows = [arrow(ends[0], ends[1], HEAD_SHARE * found.picture.width)]
    return NOTHING_DRAWN | {"arrows": arrows, "note": note}
