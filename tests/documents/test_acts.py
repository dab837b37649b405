"""Whatever is not judged for says what to do about it, by the code of its reason.

Every code that is made where verdicts are is either one for which something may be not judged, and
has an act, or is listed as none. Does not prove that an act helps.
"""

from __future__ import annotations

import re

import pytest

from tests.documents.test_check_words import CODES, JUDGED, MADE, WORDS
from tests.paths import ROOT
from vision.documents.check_words.saying import words_of
from vision.documents.check_words.words import ACTING, say_check
from vision.inspection.verdict.cameras import USELESS_PICTURE
from vision.units.reason import Reason

VISION = ROOT / "vision"
ACTS = set().union(*(words.get("acts", ()) for words in WORDS.values()))
NO_REASON_OF_ITS_OWN = {
    # What to do, and what is wrong with what was found out.
    "turn", "turn-towards", "tilt-down", "tilt-down-to-ground", "take-again", "mend-picture",
    "take-levels", "take-clear-again",
    "lay-again", "lay-displaced-again", "measure-again", "move-strip", "further-reading",
    "overlap-below", "soft-patch", "low-light",
    "significant-within",
    # Notes on the files of pictures, and on what moved between them.
    "picture-turned", "pictures-drawn-over", "taken-apart", "camera-moved", "vehicle-moved",
    "shot-unlike",
    # Warnings about what was stated.
    "cannot-tell", "does-not-fit", "one-of-several", "unobserved", "stated", "stated-angle",
    "stated-length", "stated-level", "poor-fit", "uneven-ground", "common-turn", "stands-turned",
    "display-set-on", "display-set-before",
}  # fmt: skip
OUTSIDE = {"outside-picture", "behind-body", "partly-behind-body", "drawn-over"}
"""Of marks that are not looked for, or count as hidden: no camera has them in view."""
UNKNOWN = {"not-looked-for", "camera-not-identified"}
"""Of marks of a camera that is not identified: it has a reason of its own."""
FIGURES = {
    "between": ("front", "left"), "width_m": 0.5, "distance_m": 0.5, "least_m": 0.5,
    "uncovered_m": 0.5, "limit_m": 0.5, "sigma_m": 0.1, "cameras": ("front",), "camera": "front",
    "other": "rear", "others": ("rear",), "file": "f.jpg", "other_file": "r.jpg", "place_m": 0.6,
    "turn_rad": 0.3, "roll_rad": 3.0, "stated_mirrored": True, "blur_px": 2.0, "sigma_px": 0.2,
    "limit_px": 2.0, "mark": "carton", "parts": (("ahead", 0.05),), "needed": 3,
    "why": Reason("no-reading"), "strip": "left",
    "lenses": ("wide",), "width": 720, "height": 576, "name": "square", "aspect": 1.0,
 "intended_rad": (0.8, 0.0),
    "part": "mirror arm", "pieces": 40, "agreeing": 9, "apart_rad": 0.02,
}  # fmt: skip


def made_in(*rooms: str) -> set[str]:
    files = [file for room in rooms for file in sorted((VISION / room).rglob("*.py"))]
    return {code for file in files for code in MADE.findall(file.read_text(encoding="utf-8"))}


def test_what_makes_a_picture_not_judged_has_an_act() -> None:
    assert CODES["naming"] - USELESS_PICTURE <= ACTS


def test_what_straddles_has_what_would_narrow_it() -> None:
    open_ = {code for codes in CODES.values() for code in codes if code.endswith("-not-judged")}
    assert open_ - {"box-corner-not-judged"} <= ACTS
    narrowed = {of for words in WORDS.values() for of, p in words.get("judged", {}).items()
                if p["narrow"]}  # fmt: skip
    assert narrowed == JUDGED


def test_what_verdicts_give_has_an_act_or_is_none_that_leaves_something_open() -> None:
    made = {code for code in made_in("inspection/verdict") if "{" not in code}
    made -= JUDGED | {"nearest-ground"}
    made = {code for code in made if not code.endswith("-not-judged")}
    assert made - NO_REASON_OF_ITS_OWN <= ACTS
    assert {"not-read", "nothing-read", "box-corner-not-found", "no-joint-fit"} <= ACTS


def test_what_keeps_cameras_from_an_adjustment_has_an_act() -> None:
    made: set[str] = set()
    for file in ("adjustment/search.py", "adjustment/as_planned.py", "adjustment/solving.py",
                 "camera/solver.py"):  # fmt: skip
        made |= set(re.findall(r'NoFit\(reason=Reason\("([a-z-]+)"', (VISION / file).read_text()))
    # Without pictures it is within 'nothing-read'.
    assert made - {"no-reading"} <= ACTS


def test_whatever_may_be_the_matter_with_a_mark_in_view_has_an_act() -> None:
    assert CODES["marks"] - OUTSIDE - UNKNOWN == set(words_of("check_words/marks.toml")["acts"])


@pytest.mark.parametrize("code", sorted(set().union(*(WORDS[f]["acts"] for f in ACTING))))
def test_a_sentence_ends_in_its_act(code: str) -> None:
    reason = Reason(code, **FIGURES)
    say = say_check()
    assert len(say.act(reason)) > 10
    assert say(reason).endswith(f"; {say.act(reason)}")


def test_a_camera_that_may_look_elsewhere_is_turned_by_gauge() -> None:
    for code in ("ambiguous", "implausible"):
        said = say_check()(Reason(code, **FIGURES))
        assert "to a tilt of 46 and a roll of 0 degrees" in said
        figures = {name: figure for name, figure in FIGURES.items() if name != "intended_rad"}
        assert "roughly as the job intends" in say_check()(Reason(code, **figures))


def test_what_is_in_view_is_not_said_to_be_unseen() -> None:
    looks = (
        ("front", Reason("edge-unclear")),
        ("left", Reason("edges-short")),
        ("right", Reason("corner-untold")),
    )
    say = say_check()
    for code, what in (("box-corner-not-found", "carton"), ("not-seen", "carton")):
        said = say(Reason(code, mark=what, looks=looks))
        assert "no camera saw" not in said
        for camera, why in looks:
            assert f"to the {camera} camera, {say(why)}" in said
        # Two cameras that want the same of it say so once.
        assert said.count(say.act(looks[1][1])) == 1
        assert say.act(looks[0][1]) in said
    assert say(Reason("not-seen", strip="left", looks=looks[:1])).startswith(
        "no camera could tell the left strip: to the front camera, "
    )
    assert say(Reason("not-seen", strip="left", looks=())).startswith("no camera saw the left")
