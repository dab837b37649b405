"""Words for cameras: aim, overlap and first ground seen, and which way to turn by how much."""

from __future__ import annotations

import numpy as np

from vision.camera.geometry import ANGLES
from vision.documents.check_words.saying import (
    Arguments,
    JudgedWords,
    Say,
    Words,
    degrees,
    judged,
    plain,
)
from vision.inspection.verdict.rule import COVERAGE

WAYS = {
    "pan": ("to its right", "to its left"),
    "tilt": ("up", "down"),
    "roll": ("anticlockwise as seen from behind it", "clockwise as seen from behind it"),
}
"""Words for a negative and a positive change of each angle."""
NARROW_AIM = (
    "marks farther apart across the picture, or a board shown to this camera to fix its lens,"
    " would narrow it"
)
CHECK_STATED = (
    "where marks can be seen in it, check instead what the job states of this camera: picture,"
    " lens, position and intended aim"
)


def _angle(name: str, figure: str) -> JudgedWords:
    """Why an angle is judged so; `figure` takes its amount and its way."""

    def words(word: str, a: Arguments, _: Say) -> str:
        if a.get("straight_down"):
            return (
                f"{name} cannot be judged: where a camera looks straight down, pan and roll are one"
                " angle"
            )
        off, sigma = a["off_rad"], a["sigma_rad"]
        return judged(
            word,
            figure.format(degrees(abs(off), sigma), WAYS[name][int(off > 0)]),
            limit=degrees(a["limit_rad"]),
            span=f"{np.degrees(abs(off)):.1f} +- {np.degrees(COVERAGE * sigma):.1f}",
            narrow=NARROW_AIM,
        )

    return words


JUDGED: dict[str, JudgedWords] = {
    "pan": _angle("pan", "pan is {} {} of the intended"),
    "tilt": _angle("tilt", "tilt is {} too far {}"),
    "roll": _angle("roll", "rolled {} {}"),
}


def _turn(a: Arguments, _: Say) -> str:
    parts, after = [], []
    rows = zip(ANGLES, a["turn_rad"], a["sigma_rad"], a["sure"], strict=True)
    for name, turn, sigma, within in rows:
        if turn == 0:
            continue
        verb = "roll" if name == "roll" else "turn"
        by = "" if name == "tilt" else "by "
        way = WAYS[name][int(turn > 0)]
        parts.append(f"{verb} the {a['camera']} camera {way} {by}{degrees(abs(turn), sigma)}")
        sure = "within tolerance" if within else "still not certain to be within"
        after.append(f"{name} {sure} (0.0 +- {np.degrees(sigma):.1f} degrees)")
    return (
        f"{', then '.join(parts)}, from what a gauge on its housing reads now;"
        f" then {', '.join(after)}"
    )


def _overlap(a: Arguments, say: Say) -> str:
    first, second = a["between"]
    width = say.lengths.roughly.m(a["width_m"], a["sigma_m"])
    return f"the views of {first} and {second} overlap by {width}"


def _overlap_below(a: Arguments, say: Say) -> str:
    text = f"{_overlap(a, say)}, below the {say.lengths.m(a['least_m'])} wanted"
    return f"{text}; the {a['to_turn']} camera is the one to turn" if "to_turn" in a else text


def _turn_towards(a: Arguments, say: Say) -> str:
    first, second = a["between"]
    return (
        f"turn the {first} and {second} cameras towards each other, or up, until they share"
        f" {say.lengths.roughly.m(a['missing_m'])} more ground; both look as intended, so the"
        " intended aim leaves too little"
    )


def _nearest(a: Arguments, say: Say) -> str:
    if not np.isfinite(a["distance_m"]):
        return "no ground is seen straight out from its side"
    return f"the first ground seen is {say.lengths.roughly.m(a['distance_m'], a['sigma_m'])} out"


def _take_again(a: Arguments, say: Say) -> str:
    why = a["why"]
    stated = f"; {CHECK_STATED}" if why.code == "no-marks" else ""
    return f"take the {a['camera']} camera's picture again: {say(why)}{stated}"


CAMERAS: dict[str, Words] = {
    "no-joint-fit": plain("too few of its marks fit the other cameras' to place it"),
    "overlap-below": _overlap_below,
    "overlap-not-judged": lambda a, say: (
        f"{_overlap(a, say)}, which straddles the {say.lengths.m(a['least_m'])} wanted; marks near"
        " the edges of both views would narrow it"
    ),
    "nearest-ground-beyond": lambda a, say: (
        f"{_nearest(a, say)}; {say.lengths.m(a['limit_m'])} allowed"
    ),
    "nearest-ground-not-judged": lambda a, say: (
        f"{_nearest(a, say)}, which straddles the {say.lengths.m(a['limit_m'])} allowed; a mark"
        " close to the body would narrow it"
    ),
    "not-predicted": lambda a, _: f"{a['camera']}: not predicted, it has no joint fit",
    "not-set-anew": lambda a, say: (
        f"{a['camera']}: a display could not be set anew, {say(a['why'])}"
    ),
    "take-again": _take_again,
    "turn": _turn,
    "turn-towards": _turn_towards,
    "tilt-down": lambda a, say: (
        f"turn the {a['camera']} camera down {degrees(a['down_rad'], a['sigma_rad'])} to see ground"
        f" from {say.lengths.cm(a['limit_m'])} out; it looks as intended, so the intended tilt is"
        " too high for that"
    ),
    "tilt-down-to-ground": lambda a, _: (
        f"turn the {a['camera']} camera down until it sees the ground beside the body"
    ),
}
