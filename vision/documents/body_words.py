"""What the body's own edges say, in sentences that promise no more than was seen."""

from __future__ import annotations

import numpy as np

from vision.camera.geometry import ANGLES
from vision.comparison.body.settings import SETTINGS
from vision.comparison.body.values import BodyComparison, BodyTurn
from vision.documents.check_words.saying import way
from vision.documents.check_words.words import say_check
from vision.documents.comparison_words import BACK, TURNED, degrees
from vision.documents.templates import written_text
from vision.units.length_words import LengthWords

IN_ORDER = (1, 0, 2)
"""Tilt first: it is known best, and it is what a branch or a brush changes."""


def body_sentences(result: BodyComparison, since: str) -> list[str]:
    """What to know, the turns first; `since` says since when."""
    return written_text(
        "body.txt.j2",
        result=result,
        when=since,
        turns=_turns,
        effects=lambda camera: _effects(camera, result.lengths),
        seen=_seen,
        shift=result.lengths.cm(SETTINGS.unseen_shift_m, spec=".0f"),
        say=say_check(result.lengths),
        write=result.lengths,
    ).splitlines()


def body_steps(result: BodyComparison) -> list[str]:
    """What to do about each camera that turned; nothing for nothing."""
    return written_text("body_steps.txt.j2", result=result, back=_back).splitlines()


def _turns(camera: BodyTurn) -> list[str]:
    return [
        f"{TURNED[i]} {way(ANGLES[i], camera.aim_rad[i])} by "
        f"{degrees(abs(camera.aim_rad[i]), camera.aim_sigma_rad[i])}"
        for i in IN_ORDER
        if camera.significant[i]
    ]


def _back(camera: BodyTurn) -> list[str]:
    return [
        f"{BACK[i]}{way(ANGLES[i], -camera.aim_rad[i])} by "
        f"{degrees(abs(camera.aim_rad[i]), camera.aim_sigma_rad[i])}"
        for i in IN_ORDER
        if camera.significant[i]
    ]


def _effects(camera: BodyTurn, lengths: LengthWords) -> list[str]:
    """What the turn does to each seam of the camera."""
    return [
        f"its view moved by {lengths.cm(each.moved_m, each.sigma_m)} along the seam "
        f"{' - '.join(each.between)}"
        for each in camera.seams
    ]


def _seen(camera: BodyTurn) -> str:
    """The least turns that would have been seen, in degrees, rounded up: never too good."""
    figures = np.ceil(10 * np.degrees(camera.detectable_rad) - 1e-9) / 10
    first, *others = (f"{figures[i]:.1f}" for i in IN_ORDER)
    names = [ANGLES[i] for i in IN_ORDER]
    return f"{first} degrees of {names[0]}, {others[0]} of {names[1]} and {others[1]} of {names[2]}"
