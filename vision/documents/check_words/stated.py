"""Words for what was stated: what of it does not fit, and what cannot be told of it."""

from __future__ import annotations

import numpy as np

from vision.documents.check_words.saying import Arguments, Say, Words
from vision.units.length_words import LengthWords
from vision.units.lengths import UNITS

BEYOND_DOUBT = 1000.0
"""Odds above this are said no more exactly: the sigmas they rest on are not that well known."""
THINGS = {
    "strip": "the stated place of the {} strip's ends",
    "bow": "the straightness of the {} strip",
    "mounting": "the stated place of the {} camera's mounting",
    "mark": "the stated place of {}",
    "lens": "the stated lens of the {} camera",
    "lens-type": "the lens {} as stated for several cameras",
}
KINDS = {"distance": "distance", "diagonal": "diagonal", "offset": "offset from the centre line"}
SITS = {"ahead": "farther ahead", "back": "farther back", "left": "farther left"}
SITS |= {"right": "farther right", "higher": "higher", "lower": "lower"}


def misread(blunder_m: float, lengths: LengthWords) -> str:
    """`an inch too long`, `10 cm too short`: of a length read wrong by a usual blunder."""
    size_m = abs(blunder_m)
    words = {float(UNITS["in"]): "an inch", float(UNITS["ft"]): "a foot"}
    plain = lengths.m(size_m, spec=".0f") if size_m >= 1 else lengths.cm(size_m, spec=".0f")
    return f"{words.get(size_m, plain)} too {'long' if blunder_m > 0 else 'short'}"


def _does_not_fit(a: Arguments, say: Say) -> str:
    known = "blunder_m" in a
    wrong = f"is {misread(a['blunder_m'], say.lengths)}" if known else "does not fit the rest"
    text = f"{say(a['what'])} {wrong}; it was set free, and the figures are those without it"
    if "sits" in a:
        told = " and ".join(
            f"{say.lengths.cm(off, sigma)} {SITS[way]}" for way, off, sigma in a["sits"]
        )
        where = f"the lens sits {told} than stated; " if told else ""
        text += f" ({where}measure it again)"
    if "one_view" in a:
        text += " (only one picture shows it, and a wrong pick there would look the same)"
    if "rival" not in a:
        return text
    odds = "over 1000" if a["odds"] > BEYOND_DOUBT else f"{a['odds']:.0f}"
    return f"{text}. That is {odds} times as likely as the next cause, {say(a['rival'])}"


def _one_of_several(a: Arguments, say: Say) -> str:
    first, *others = map(say, a["things"])
    text = f"cannot tell whether {first} is wrong, or {', or '.join(others)}; all were set free"
    if a["decided_by"] is None:
        return f"{text}. No single further reading would decide: measure each of them again"
    return f"{text}. {say(a['decided_by'])} to decide"


def _further_reading(a: Arguments, _: Say) -> str:
    """`Measure the distance from left/0 to front/0`; `again` where the job has that reading."""
    again = " again" if a["again"] else ""
    places = [f"the {n} camera" if n in a["cameras"] else str(n) for n in a["between"]]
    match a["kind"]:
        case "tilt" | "roll":
            return f"Read the {a['kind']} of {places[0]} with a gauge{again}"
        case "offset":
            return f"Measure the offset of {places[0]} from the centre line{again}"
    return f"Measure the distance from {places[0]} to {places[1]}{again}"


def _cannot_tell(a: Arguments, say: Say) -> str:
    text = (
        f"cannot tell of {a['things']} of {a['of']} stated things whether a usual slip hides in"
        " them: no test failed, and nothing here refutes it; the report says how far off each may"
        " be, and [[reading]] tables narrow it"
    )
    return f"{text}. Look first at {'; '.join(map(say, a['first']))}" if a["first"] else text


def _unobserved(a: Arguments, say: Say) -> str:
    x, y = (say.lengths.doubt(sigma) for sigma in a["shift_sigma_m"])
    turn = float(np.degrees(a["turn_sigma_rad"]))
    return (
        "no picture shows how the layout as a whole lies against the body: what the job states of"
        f" places holds it to {x} lengthways, {y} across and {turn:.2f} degrees (one sigma)"
    )


STATED: dict[str, Words] = {
    "stated": lambda a, _: THINGS[a["group"].kind].format(a["group"].name),
    "stated-angle": lambda a, _: f"{a['group']} (angle of the {a['camera']} camera)",
    "stated-length": lambda a, _: (
        f"{a['group']} ({KINDS[a['kind']]}, {' to '.join(map(str, a['between']))})"
    ),
    "does-not-fit": _does_not_fit,
    "one-of-several": _one_of_several,
    "further-reading": _further_reading,
    "poor-fit": lambda a, say: (
        f"{say(a['what'])} fits the rest poorly, though not so poorly that it can be called"
        f" wrong: it was taken to {say.lengths.doubt(a['taken_sigma_m'])} instead of"
        f" {say.lengths.doubt(a['stated_sigma_m'])} (one sigma); tape its ends again to be sure"
    ),
    "cannot-tell": _cannot_tell,
    "camera-inside-body": lambda a, say: (
        f"the {a['camera']} camera stands {say.lengths.cm(a['inside_m'])} inside the body as"
        " stated; it is taken to sit on the nearest face: check its position and the body's size"
    ),
    "field-unusual": lambda a, _: (
        f"lens {a['lens']} is stated to see {np.degrees(a['field_rad']):.0f} degrees, which is"
        " unusual: check field_of_view_deg"
    ),
    "body-unusual": lambda a, say: (
        f"{a['key']} is {say.lengths.m(a['size_m'])}, which is unusual: check it and its unit"
    ),
    "unobserved": _unobserved,
    "no-joint-adjustment": lambda a, say: f"no joint adjustment: {say(a['why'])}",
    "reading-not-used": lambda a, _: (
        f"{a['group']} is not used: its camera takes no part in the adjustment"
    ),
}
