"""Every reason of finding, measuring and texture has its words.

Does not prove which reason is given when: that is tested where it is given.
"""

from __future__ import annotations

import re
from pathlib import Path

from tests.tape import metric_alone
from vision.camera.no_fit_words import NO_FIT_WORDS
from vision.inspection.finding_words import (
    MARKS,
    PICTURES,
    TEXTURES,
    mark_text,
    picture_text,
    texture_text,
)
from vision.units.length_words import LengthWords
from vision.units.reason import Reason

VISION = Path(__file__).parent.parent / "vision"


def made_in(*rooms: str) -> set[str]:
    """Codes that are written down in rooms."""
    text = "".join(f.read_text() for room in rooms for f in sorted((VISION / room).rglob("*.py")))
    return set(re.findall(r'(?:Reason|\bno)\(\s*"([a-z-]+)"', text))


def test_every_code_has_words_and_no_words_lack_a_code() -> None:
    found = made_in("identification", "marks")
    later = {"misfit-all", "camera-not-identified"}  # which the whole inspection adds
    assert found | later == set(MARKS) | set(PICTURES)
    assert not set(MARKS) & set(PICTURES)
    assert made_in("views") - set(NO_FIT_WORDS) == set(TEXTURES)


def test_figures_are_said() -> None:
    ran_away = Reason("ran-away")
    small = Reason("small-and-refused", size_px=2.94, refusal=ran_away)
    assert mark_text(small) == f"only 2.9 px across; {mark_text(ran_away)}"
    both = Reason("refused", seen=Reason("half-covered", half="left"), refusal=ran_away)
    assert mark_text(both).startswith("its half left, looking along the strip, is covered")
    assert mark_text(both).endswith(mark_text(ran_away))
    astray = Reason("astray", off_m=0.234, body_may_hide=True)
    assert "lies 23.4 cm from where" in mark_text(astray)
    assert "mirror image" in mark_text(astray)
    assert not metric_alone(mark_text(astray, LengthWords(imperial=True)))
    assert "4 cm" in texture_text(Reason("poor-texture", sigma_m=0.041))
    assert "0.12" in texture_text(Reason("poor-texture", correlation=0.12))


def test_what_to_write_into_the_job_is_said() -> None:
    swapped = Reason("swapped", camera="front", other="rear", file="f.jpg", other_file="r.jpg")
    assert 'picture = "r.jpg" under [camera.front]' in picture_text(swapped)
    assert 'picture = "f.jpg" under [camera.rear]' in picture_text(swapped)
    upside_down = Reason("upside-down", camera="left", roll_rad=3.141592653589793)
    assert picture_text(upside_down).endswith("roll_deg = 180 under [camera.left]")
    upright = Reason("no-marks", places=3, upright_px=(720, 1280))
    assert "stands on its side, 720 x 1280 px" in picture_text(upright)
