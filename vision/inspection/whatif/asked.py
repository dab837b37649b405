"""Which changes to look at: those a person asks for, those a report recommends, and small ones."""

from __future__ import annotations

import math
from collections.abc import Sequence

from vision.camera.geometry import ANGLES
from vision.camera.solver import NoFit
from vision.inspection.inspected import Inspection
from vision.inspection.settings import SETTINGS
from vision.inspection.whatif.change import Change, Forecast, WhatIf
from vision.inspection.whatif.forecast import predict, sensitivities
from vision.inspection.whatif.seam_causes import seam_causes
from vision.job.job import Job
from vision.units.cures import nearest_step
from vision.units.errors import BadInputError, Fault, fault_of
from vision.units.length_words import LengthWords
from vision.units.lengths import LengthError, parse_length

LARGEST_TURN_DEG = 90.0
LARGEST_LEAN_DEG = 10.0
LARGEST_LOWER_M = 1.0

COMMAND = "the command"
"""What is at fault where an option is."""


def asked_change(
    job: Job, turns: Sequence[str], lower: str | None, lean_deg: float, nose_down_deg: float
) -> Change:
    """The change that options ask for; BadInputError with every fault of them.

    Each of `turns` is CAMERA.ANGLE=DEGREES; turns of one camera's angle add up. `lower` is a length
    with its unit.
    """
    faults: list[Fault] = []
    found: dict[str, list[float]] = {}
    for text in turns:
        turn = _turn(job, text, faults)
        if turn is not None:
            name, angle, degrees = turn
            found.setdefault(name, [0.0] * 3)[angle] += math.radians(degrees)
    lower_m = 0.0 if lower is None else _lower(lower, job.lengths, faults)
    for key, value in (("--lean", lean_deg), ("--nose-down", nose_down_deg)):
        if not abs(value) <= LARGEST_LEAN_DEG:
            expected = f"degrees from -{LARGEST_LEAN_DEG:g} to {LARGEST_LEAN_DEG:g}"
            faults.append(
                fault_of(
                    "lean-too-large",
                    COMMAND,
                    f"{value:g}",
                    expected,
                    "write a smaller angle",
                    key=key,
                )
            )
    if faults:
        raise BadInputError(faults)
    return Change(
        turns_rad={name: (t[0], t[1], t[2]) for name, t in found.items()},
        lower_m=lower_m,
        lean_rad=math.radians(lean_deg),
        nose_down_rad=math.radians(nose_down_deg),
    )


def recommended(inspection: Inspection) -> dict[str, tuple[Change, Forecast | NoFit]]:
    """The turns that the inspection recommends for each camera, and what they would do."""
    out = {}
    for each in inspection.cameras:
        turns = [action.turn_rad for action in each.actions if action.turn_rad is not None]
        if turns:
            pan, tilt, roll = (sum(values) for values in zip(*turns, strict=True))
            change = Change(turns_rad={each.camera.name: (pan, tilt, roll)})
            out[each.camera.name] = (change, predict(inspection, change))
    return out


def what_if(inspection: Inspection) -> WhatIf:
    """What an inspection foretells by itself: its recommended turns, and small changes."""
    return WhatIf(
        turns=recommended(inspection),
        causes=seam_causes(inspection),
        moves=sensitivities(inspection, small_changes(inspection.job)),
    )


def small_changes(job: Job) -> tuple[Change, ...]:
    """What loading, suspension, tyres and knocks do."""
    small = SETTINGS.what_if
    lower_m = small.lower_imperial_m if job.lengths.imperial else small.lower_m
    knocks = (Change(turns_rad={c.name: (0.0, small.knock_rad, 0.0)}) for c in job.cameras)
    return (
        Change(lower_m=lower_m),
        Change(lean_rad=small.lean_rad),
        Change(nose_down_rad=small.lean_rad),
        *knocks,
    )


def _turn(job: Job, text: str, faults: list[Fault]) -> tuple[str, int, float] | None:
    expected = "CAMERA.ANGLE=DEGREES, such as front.tilt=-3"
    names = [camera.name for camera in job.cameras]
    before, equals, number = text.rpartition("=")
    name, dot, angle = before.rpartition(".")
    if not equals or not dot:
        faults.append(
            fault_of(
                "not-a-turn", COMMAND, repr(text), expected, "write it like that", key="--turn"
            )
        )
        return None
    fine = True
    for found, allowed, what in ((name, names, "camera"), (angle, list(ANGLES), "angle")):
        if found not in allowed:
            step = nearest_step(found, allowed, "name one of them")
            faults.append(
                fault_of(
                    "unknown-name",
                    COMMAND,
                    f"the {what} {found!r}",
                    f"one of {', '.join(allowed)}",
                    step,
                    key="--turn",
                )
            )
            fine = False
    try:
        degrees = float(number)
    except ValueError:
        degrees = math.nan
    if not abs(degrees) <= LARGEST_TURN_DEG:
        limits = f"degrees from -{LARGEST_TURN_DEG:g} to {LARGEST_TURN_DEG:g}"
        faults.append(
            fault_of(
                "out-of-range",
                COMMAND,
                repr(number),
                limits,
                "write the angle to turn by",
                key="--turn",
            )
        )
        fine = False
    return (name, ANGLES.index(angle), degrees) if fine else None


def _lower(text: str, lengths: LengthWords, faults: list[Fault]) -> float:
    sign = -1.0 if text.strip().startswith("-") else 1.0
    try:
        metres = sign * float(parse_length(text.strip().lstrip("-")))
    except LengthError as error:
        faults.append(
            fault_of(
                "not-a-length", COMMAND, error.found, error.expected, error.next_step, key="--lower"
            )
        )
        return 0.0
    if abs(metres) > LARGEST_LOWER_M:
        expected = f"at most {lengths.m(LARGEST_LOWER_M, spec='g')}"
        faults.append(
            fault_of(
                "out-of-range",
                COMMAND,
                repr(text),
                expected,
                "write how much lower it rides",
                key="--lower",
            )
        )
    return metres
