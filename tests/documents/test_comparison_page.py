"""Proves that the page and the sentences of a comparison say what there is, and no name is markup.

Does not prove that what is said is right: `tests/comparison`.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from html.parser import HTMLParser

from tests.comparing import STILL, clear_day, compared, two_checks
from vision.comparison.record import KeptCheck
from vision.documents.cautions import CAUTION
from vision.documents.comparison_page import comparison_page
from vision.documents.comparison_words import (
    since_words,
    state_sentences,
)

DAY = "since 3 March 2026"


def test_days_that_are_the_same_are_told_apart_by_the_hour():
    then = datetime(2026, 3, 3, 9, 5)
    assert since_words(then, datetime(2026, 3, 4)) == DAY
    assert since_words(then, datetime(2026, 3, 3, 17)) == f"{DAY}, 09:05"


class _Texts(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.text = ""

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)

    def handle_data(self, data):
        self.text += data


def test_the_page_shows_hostile_names_as_text():
    result = compared(two_checks(clear_day(), STILL))
    hostile = '<script>alert("x")</script>'
    cameras = (replace(result.cameras[0], name=hostile), *result.cameras[1:])
    base = KeptCheck(
        number=1,
        taken="2026-03-03T10:00:00+01:00",
        job_file="job.toml",
        job_text="",
        lens_files={},
        pictures=(),
        result={"job": hostile},
    )
    later = replace(base, number=2, taken="2026-04-03T10:00:00+02:00")
    page = comparison_page(base, [(later, replace(result, cameras=cameras))], [hostile], [hostile])
    parsed = _Texts()
    parsed.feed(page)
    assert "script" not in parsed.tags
    assert parsed.text.count(hostile) >= 4
    assert parsed.tags.count("svg") == 3 * len(cameras)
    assert CAUTION in page
    assert "http" not in page.replace("http-equiv", "")


def test_how_the_vehicle_stood_otherwise_is_said() -> None:
    then = {"vehicle_state": {"load": "empty", "doors": "shut", "mirrors": None}}
    now = {"vehicle_state": {"load": "two thousand books", "doors": "shut", "mirrors": "out"}}
    (line,) = state_sentences(then, now)
    assert "'empty'" in line
    assert "'two thousand books'" in line
    # A check kept before the state was recorded has nothing to say.
    assert state_sentences({}, now) == []
