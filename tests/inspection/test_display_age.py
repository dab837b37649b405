"""Proves when a display is said to hold a setting from before, by days noted in pictures.

Does not prove that a camera's clock is right.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from tests.conftest import hand_made_job
from vision.documents.check_words.words import say_check
from vision.inspection.verdict.display_age import display_age
from vision.marks.picture import Picture
from vision.marks.sources.origin import Source

SET_ON = date(2026, 3, 3)


def picture(time: str | None) -> Picture:
    source = Source(file="a.jpg", sha256="0" * 64, format="JPEG", time=time, crop_px=(0, 0, 8, 8))
    black = np.zeros((8, 8, 3), dtype=np.uint8)
    return Picture.from_delivered(
        name="front", file="a.jpg", sha256="0" * 64, mirrored=False, bgr=black, sources=(source,)
    )


@pytest.mark.parametrize(
    ("times", "codes"),
    [
        (["2026-03-03T23:59:00"], []),
        (["2026-03-02T10:00:00", "2026-03-03T10:00:00+01:00"], []),
        (["2026-03-02T10:00:00", "2026-03-04T00:10:00+01:00"], ["display-set-before"]),
        (["2026-03-01T10:00:00", None], []),
        ([None, None], ["display-set-on"]),
    ],
)
def test_what_is_said_of_the_display(times: list[str | None], codes: list[str]) -> None:
    job = replace(hand_made_job(), display_set_on=SET_ON)
    found = display_age(job, map(picture, times))
    assert [each.code for each in found] == codes
    assert all("3 March 2026" in say_check()(each) for each in found)


def test_nothing_is_said_where_the_job_states_no_day() -> None:
    assert display_age(hand_made_job(), [picture("2026-04-01T10:00:00")]) == ()
