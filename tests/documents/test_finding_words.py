"""Every reason of finding, measuring and texture has its words.

Does not prove which reason is given when: that is tested where it is given.
"""

from __future__ import annotations

import re

from tests.paths import ROOT
from tests.tape import metric_alone
from vision.documents.check_words.saying import codes_of, words_of
from vision.documents.check_words.words import say_check, say_texture
from vision.units.length_words import LengthWords
from vision.units.reason import Reason

VISION = ROOT / "vision"
FAMILIES = ("marks", "naming", "no_fit", "texture")
MARKS, NAMING, NO_FIT, TEXTURES = (
    set(codes_of(words_of(f"check_words/{family}.toml"))) for family in FAMILIES
)


def made_in(*rooms: str) -> set[str]:
    """Codes that are written down in rooms."""
    text = "".join(f.read_text() for room in rooms for f in sorted((VISION / room).rglob("*.py")))
    return set(re.findall(r'(?:Reason|\bno)\(\s*"([a-z-]+)"', text))


def test_every_code_has_words_and_no_words_lack_a_code() -> None:
    found = made_in("identification", "marks")
    # Which the whole inspection adds.
    later = {"misfit-all", "camera-not-identified", "no-picture", "straightened"}
    assert found | later == MARKS | NAMING
    assert not MARKS & NAMING
    assert made_in("views") - NO_FIT == TEXTURES


def test_figures_are_said() -> None:
    ran_away = Reason("ran-away")
    small = Reason("small-and-refused", size_px=2.94, refusal=ran_away)
    assert say_check()(small) == f"only 2.9 px across; {say_check()(ran_away)}"
    both = Reason("refused", seen=Reason("half-covered", half="left"), refusal=ran_away)
    assert say_check()(both).startswith("its half left, looking along the strip, is covered")
    assert say_check()(both).endswith(say_check()(ran_away))
    astray = Reason("astray", off_m=0.234, body_may_hide=True)
    assert "lies 23.4 cm from where" in say_check()(astray)
    assert "mirror image" in say_check()(astray)
    assert not metric_alone(say_check(LengthWords(imperial=True))(astray))
    assert "4 cm" in say_texture()(Reason("poor-texture", sigma_m=0.041))
    assert "0.12" in say_texture()(Reason("poor-texture", correlation=0.12))


def test_what_to_write_into_the_job_is_said() -> None:
    swapped = Reason("swapped", camera="front", other="rear", file="f.jpg", other_file="r.jpg")
    assert 'picture = "r.jpg" under [camera.front]' in say_check()(swapped)
    assert 'picture = "f.jpg" under [camera.rear]' in say_check()(swapped)
    upside_down = Reason("upside-down", camera="left", roll_rad=3.141592653589793)
    assert say_check()(upside_down).endswith("roll_deg = 180 under [camera.left]")
    upright = Reason("no-marks", places=3, upright_px=(720, 1280))
    assert "stands on its side, 720 x 1280 px" in say_check()(upright)
