"""Ids of marks: their text is the result file's, and a written one is read against the strips.

Proves: text and value are one another's inverse whatever a strip is called, and only what is
written as the program writes it is an id. Does not prove that there is such a mark: the layout
says that.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.job.mark_id import MarkId

COUNTS = st.integers(0, 999)
NAMES = st.text(st.characters(exclude_characters="/"), min_size=1, max_size=9)
IDS = st.one_of(
    st.tuples(NAMES),
    st.tuples(NAMES, COUNTS),
    st.tuples(NAMES, COUNTS, COUNTS, COUNTS),
).map(lambda parts: MarkId(*parts))


def test_texts_are_those_of_the_result_file() -> None:
    assert str(MarkId("front_trestle")) == "front_trestle"
    assert f"{MarkId('left', 3)}" == "left/3"
    assert f"{MarkId('left', 3).corner(0, 1):>10}" == "left/3/0/1".rjust(10)


def test_a_corner_belongs_to_its_board_and_a_single_mark_to_no_strip() -> None:
    corner = MarkId("left", 3, 0, 1)
    assert corner.mark == MarkId("left", 3) == MarkId("left", 3).mark
    assert (corner.strip, MarkId("left").strip) == ("left", None)
    assert MarkId("left").mark == MarkId("left")


@given(IDS, st.lists(NAMES, max_size=3))
def test_a_text_reads_back(mark_id: MarkId, others: list[str]) -> None:
    strips = others if mark_id.strip is None else [*others, mark_id.strip]
    assert MarkId.parse(str(mark_id), strips) == mark_id


@pytest.mark.parametrize(
    "text",
    ["left", "left/", "left/3/1", "left/03", "left/-1", "left/\u00b2", "left/3/0/1/2", "rear/3"],
)
def test_what_is_no_mark_of_a_strip_is_a_single_marks_name(text: str) -> None:
    assert MarkId.parse(text, ["left"]) == MarkId(text)


def test_a_strips_name_may_look_like_an_id() -> None:
    """A job file refuses such a name; a record from elsewhere may hold one."""
    assert MarkId.parse("a/3/4", ["a/3"]) == MarkId("a/3", 4)
    assert MarkId.parse("a/b/0/0/1", ["a/b"]) == MarkId("a/b", 0, 0, 1)
