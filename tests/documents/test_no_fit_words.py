"""Every reason for no fit has its words. What raises which reason is tested where it is raised."""

from __future__ import annotations

import re

from tests.paths import ROOT
from vision.documents.check_words.saying import codes_of, words_of
from vision.documents.check_words.words import say_check
from vision.units.reason import Reason

VISION = ROOT / "vision"


def test_every_code_has_words_and_no_words_lack_a_code() -> None:
    made: set[str] = set()
    for file in VISION.rglob("*.py"):
        made |= set(re.findall(r'NoFit\(\s*reason=Reason\(\s*"([a-z-]+)"', file.read_text()))
    made.add("no-baseline")  # which is made in two steps
    made |= {"took-no-part", "sizes-differ"}  # within 'nothing-shared'
    made |= {"turn-or-lens"}  # of one camera of a comparison
    assert made == set(codes_of(words_of("check_words/no_fit.toml"))) | {
        "too-few-marks"
    }  # whose words are those of a picture, too


def test_reasons_within_reasons_are_said() -> None:
    why = Reason("no-camera", needed=3)
    assert say_check()(Reason("no-baseline", check=2, why=why)) == (
        "check 2 cannot be a baseline: no camera shows 3 identified marks, so nothing can be"
        " adjusted; do first what is said of each camera"
    )
    act = "something stated is far off: read it again, its unit first"
    moved = say_check()(Reason("not-converged", steps=50))
    assert moved == f"the fit still moved after 50 steps; {act}"
    assert say_check()(Reason("not-converged")) == f"no start led to a fit; {act}"
