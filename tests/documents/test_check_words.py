"""Every code that a check may carry has its words, and no words lack a code that is made.

Does not prove which reason is given when, nor each sentence: tests of verdicts read those.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import is_dataclass
from pathlib import Path
from typing import get_args, get_type_hints

import numpy as np
import pytest

from tests.paths import ROOT
from vision.camera.geometry import ANGLES
from vision.documents.check_words.saying import codes_of, words_of
from vision.documents.check_words.words import FAMILIES, say_check
from vision.inspection.inspected import Inspection
from vision.inspection.verdict.pictures import FAULTS
from vision.units.plain import how_written
from vision.units.reason import Reason

MADE = re.compile(
    r'(?:Reason|\bno|reasons_for)\(\s*(?:word,\s*|found,\s*|verdict,\s*)?f?"([a-z{}-]+)"'
)
ROOMS = ("adjustment", "calibration", "camera", "comparison", "inspection", "views/ground.py")
ROOMS += ("planning/tape_check.py", "job/plausible.py", "job/entries.py")
WORDS = {family: words_of(f"check_words/{family}.toml") for family in FAMILIES}
CODES = {family: set(codes_of(words)) for family, words in WORDS.items()}
JUDGED = set().union(*(words.get("judged", ()) for words in WORDS.values()))
NOT_LITERAL = {"box-corner-not-found", "box-corner-not-judged", *JUDGED, *FAULTS}
"""Constants, the names of judged figures, and faults of pictures."""
OF_FINDING = CODES["marks"] | CODES["naming"]
"""Whose codes are compared with the rooms that give them in `test_finding_words`."""


def files() -> Iterator[Path]:
    for room in ROOMS:
        at = ROOT / "vision" / room
        yield from at.rglob("*.py") if at.is_dir() else [at]


def why_null(kind: type) -> set[str]:
    """Codes of why a figure is null, of a class and of all that it writes."""
    found, hints = set(), get_type_hints(kind)
    for name, how in how_written(kind).items():
        found |= {how.missing} if how.missing else set()
        hint = hints.get(name) or get_type_hints(getattr(kind, name).fget)["return"]
        for inner in (hint, *get_args(hint), *(a for h in get_args(hint) for a in get_args(h))):
            found |= why_null(inner) if is_dataclass(inner) and isinstance(inner, type) else set()
    return found


def test_every_code_has_words_and_no_words_lack_a_code() -> None:
    made = {code for file in files() for code in MADE.findall(file.read_text(encoding="utf-8"))}
    made = {code for code in made if "{" not in code} | NOT_LITERAL | why_null(Inspection)
    # What is judged has words for either outcome, and none for itself.
    made -= JUDGED | {"nearest-ground"}
    made |= {f"nearest-ground-{word}" for word in ("beyond", "not-judged")}
    assert made - OF_FINDING == set().union(*CODES.values()) - OF_FINDING


def test_no_name_stands_for_two_templates() -> None:
    """Parts and codes share one space of names: a part called as a code would be said for it."""
    names = [
        name for words in WORDS.values() for name in (*codes_of(words), *words.get("parts", ()))
    ]
    assert sorted(names) == sorted(set(names))


@pytest.mark.parametrize("of", sorted(JUDGED))
def test_what_is_judged_has_words_for_every_outcome(of: str) -> None:
    figures = {"off_m": 0.05, "sigma_m": 0.01, "limit_m": 0.03, "mark": "left/3"}
    figures |= {"off_rad": 0.05, "sigma_rad": 0.01, "limit_rad": 0.03}
    say = say_check()
    beyond, open_ = (say(Reason(f"{of}-{w}", **figures)) for w in ("beyond", "not-judged"))
    within = say(Reason("significant-within", of=of, **figures))
    what = beyond.partition(";")[0]
    assert beyond.endswith(" allowed")
    assert within.startswith(f"{what}: a real difference")
    assert open_.startswith(f"{what}: ")
    assert open_.endswith("would narrow it")


def test_a_code_without_words_is_a_mistake() -> None:
    with pytest.raises(KeyError):
        say_check()(Reason("no-such-code"))


@pytest.mark.parametrize(
    ("turn_deg", "said"),
    [
        ((0, -5.2, 0), {"up", "5.2"}),
        ((0, 5.2, 0), {"down", "5.2"}),
        ((4.1, 0, 0), {"left", "4.1"}),
        ((-4.1, 0, 0), {"right", "4.1"}),
        ((0, 0, 3.0), {"clockwise", "3.0"}),
        ((0, 0, -3.0), {"anticlockwise", "3.0"}),
    ],
)
def test_which_way_to_turn_is_said(turn_deg: tuple[float, ...], said: set[str]) -> None:
    reason = Reason(
        "turn",
        camera="front",
        turn_rad=tuple(np.radians(turn_deg)),
        sigma_rad=(0.0035,) * 3,
        then=tuple((name, 0.0, 0.0035, 0.05, "within") for name in ANGLES),
    )
    words = set(re.findall(r"[\w.]+", say_check()(reason)))
    ways = {"up", "down", "left", "right", "clockwise", "anticlockwise"}
    assert words & (ways | said) == said


@pytest.mark.parametrize(
    ("way", "back"),
    [
        ("out", "towards the vehicle"),
        ("in", "away from the vehicle"),
        ("forward", "back"),
        ("to-the-left", "to the vehicle's right"),
    ],
)
def test_what_lies_off_is_moved_the_other_way(way: str, back: str) -> None:
    reason = Reason(
        "move-strip", strip="right", end=None, parts=((way, 0.05, 0.006),), then="within"
    )
    assert f"5.0 cm (+-0.6) {back}" in say_check()(reason)


def test_no_two_families_have_words_for_one_code() -> None:
    assert len(set().union(*CODES.values())) == sum(map(len, CODES.values()))


def test_too_few_marks_are_said_of_a_layout_and_of_a_fit() -> None:
    say = say_check()
    fit = Reason("too-few-marks", usable=2, needed=4)
    assert say(fit) == "2 marks can be used; a fit needs 4"
    assert say(Reason("too-few-marks", why=fit)) == say(fit)
    assert say(Reason("not-set-anew", camera="front", why=fit)).endswith(say(fit))
    assert say(Reason("too-few-marks", marks=2, needed=4)).startswith("the layout has 2 marks")


def test_what_would_narrow_several_angles_is_said_once() -> None:
    say = say_check()
    angles = [
        Reason(f"{of}-not-judged", off_rad=0.02, sigma_rad=0.03, limit_rad=0.05)
        for of in ("pan", "roll")
    ]
    narrow = say.part(Reason("pan"), "narrow")
    assert [say(each).count(narrow) for each in angles] == [1, 1]
    assert say.together(angles).count(narrow) == 1
    down = Reason("pan-not-judged", straight_down=True)
    assert say.together((down,)) == say(down)
