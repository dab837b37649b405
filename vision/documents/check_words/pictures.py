"""Words for what is wrong with a picture itself, and what to do about it."""

from __future__ import annotations

import numpy as np

from vision.documents.check_words.saying import Arguments, Say, Words, blur
from vision.inspection.verdict.rule import COVERAGE

ADVICE = {
    "soft": "clean and focus the {} camera",
    "soft-side": "clean the {} camera's lens and see that it sits straight",
    "motion": "hold the vehicle and the {} camera still",
    "low-light": "give the {} camera's view more light",
    "drops": "wipe the {} camera's lens and cover glass clean",
}


def _soft_side(a: Arguments, _: Say) -> str:
    there = f"{a['other_blur_px']:.1f} px (+-{a['other_sigma_px']:.1f})"
    return (
        f"the {a['side']} side of the picture is soft: blur {blur(a)} there, {there} on the"
        f" {a['other']} side, {_allowed(a)}"
    )


def _motion(a: Arguments, _: Say) -> str:
    down = np.degrees(a["direction_rad"])
    lean = f"{abs(down):.0f} degrees {'down' if down >= 0 else 'up'} to the right"
    return (
        f"the camera moved during the exposure: everything is drawn out over {a['length_px']:.1f}"
        f" px (+-{a['sigma_px']:.1f}), {lean}; {_allowed(a)} as blur"
    )


def _soft_patch(a: Arguments, _: Say) -> str:
    x, y = a["pixel_px"]
    marks = ", ".join(map(str, a["marks"]))
    return f"{blur(a)} within {a['radius_px']:.0f} px of ({x:.0f}, {y:.0f}), at {marks}"


def _allowed(a: Arguments) -> str:
    return f"{a['limit_px']:.1f} px allowed"


PICTURES: dict[str, Words] = {
    "soft": lambda a, _: (
        f"the picture is soft: blur {blur(a)} {'at the marks' if a['at_marks'] else 'everywhere'},"
        f" {_allowed(a)}"
    ),
    "soft-side": _soft_side,
    "soft-not-judged": lambda a, _: (
        f"the blur at the marks, {a['blur_px']:.2f} +- {COVERAGE * a['sigma_px']:.2f} px,"
        f" straddles the {_allowed(a)}; a sharper picture would settle it"
    ),
    "motion": _motion,
    "low-light": lambda a, _: (
        f"too little light: the levels span {a['signal_to_noise']:.0f} times the noise"
        f" (+-{a['sigma']:.0f}), {a['least']:.0f} wanted"
    ),
    "drops": lambda a, say: (
        "drops or dirt before the lens: clear in general, but blur"
        f" {'; '.join(map(say, a['patches']))}; {_allowed(a)}"
    ),
    "soft-patch": _soft_patch,
    "mend-picture": lambda a, say: (
        f"{ADVICE[a['why'].code].format(a['camera'])}, then take its picture again: {say(a['why'])}"
    ),
}
