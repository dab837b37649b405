"""Lengths as advice says them: in metres as ever, for a tape in inches with inches first.

Proves, by examples of all sizes: what is said and what stands in a table reads back within the
rounding that the note states, a doubt is never said smaller than it is, and each figure comes from
the length itself. Does not prove that every room asks for its lengths here (`test_units.py`).
"""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tape import metric_alone
from vision.units.length_words import METRIC, LengthWords, unbroken
from vision.units.lengths import FRACTIONS, UNITS, read_length

INCH_M = float(UNITS["in"])
FEET = LengthWords(imperial=True)
lengths_m = st.floats(-30, 30)
sigmas_m = st.floats(0, 2)
fractions = st.sampled_from(FRACTIONS)


def stated_m(words: LengthWords) -> float:
    """What the note says that a figure may be off by."""
    note = words.note()
    assert note is not None
    return float(re.findall(r"at most ([0-9.]+) mm off", note)[0]) / 1000


def read_m(text: str, unit: str | None = None) -> float:
    return float(read_length(text, unit).metres)


@given(length_m=lengths_m, fraction=fractions)
def test_what_is_said_reads_back_within_the_rounding(length_m: float, fraction: int) -> None:
    words = LengthWords(imperial=True, fraction=fraction)
    for each in (words, words.roughly):
        for said in (each.cm(length_m), each.m(length_m), each.cm(length_m, 0.01)):
            tape = re.split(r" \+-| \(", said)[0]
            assert read_m(tape) == pytest.approx(length_m, abs=stated_m(each) + 1e-12)
        for place in each.several([length_m], "m").split(" (")[:1]:
            assert read_m(place) == pytest.approx(length_m, abs=stated_m(each) + 1e-12)


@given(length_m=lengths_m, fraction=fractions)
def test_a_cell_reads_back_under_its_head(length_m: float, fraction: int) -> None:
    words = LengthWords(imperial=True, fraction=fraction)
    assert words.head("gap", "cm") == "gap inch"
    assert words.head("overlap", "m") == "overlap"
    for cell, unit in (
        (words.cell(length_m, "cm", signed=True), "in"),
        (words.cell(length_m, "mm"), "in"),
        (words.cell(length_m, "m"), None),
    ):
        assert read_m(cell, unit) == pytest.approx(length_m, abs=stated_m(words) + 1e-12)


@given(sigma_m=sigmas_m, fraction=fractions)
def test_a_doubt_is_rounded_up(sigma_m: float, fraction: int) -> None:
    words = LengthWords(imperial=True, fraction=fraction)
    step = INCH_M / fraction
    span = words.span(0.0, sigma_m)
    for tape in (
        words.doubt(sigma_m).split(" (")[0],
        re.search(r"\+- (.*) \(", span)[1],
        words.cm(0.0, sigma_m).split("+-")[1].split(" (")[0],
        f"{words.doubt_cell(sigma_m, 'cm')} in",
    ):
        assert sigma_m - 1e-6 * step <= read_m(tape) < sigma_m + step


@given(parts=st.lists(st.floats(0.001, 3), min_size=2, max_size=12), fraction=fractions)
def test_a_running_sum_is_rounded_once(parts: list[float], fraction: int) -> None:
    """What is said of a sum does not depend on what is said of its parts."""
    words = LengthWords(imperial=True, fraction=fraction)
    tape = read_length(words.m(sum(parts)).split(" (")[0]).metres
    assert abs(tape - Fraction(sum(parts))) <= UNITS["in"] / (2 * fraction)


@given(length_m=st.floats(-3, 3), sigma_m=sigmas_m)
def test_metric_figures_stand_beside_inches_only(length_m: float, sigma_m: float) -> None:
    for said in (
        FEET.cm(length_m, sigma_m),
        FEET.m(length_m, sigma_m),
        FEET.cm(length_m),
        FEET.doubt(sigma_m),
        FEET.span(length_m, sigma_m),
        f"({FEET.span(length_m, sigma_m, nested=True)})",
        FEET.several([length_m, sigma_m], "m", labels=("x", "y")),
        FEET.area(length_m**2),
    ):
        assert metric_alone(said) == []


def test_in_sentences() -> None:
    assert FEET.cm(0.0538, 0.0062) == "2 1/8 in +-1/4 in (5.4 cm +-0.6)"
    assert FEET.m(2.324, 0.031) == "7 ft 7 1/2 in +-1 1/4 in (2.32 m +-0.03)"
    assert FEET.roughly.m(2.33, 0.031) == "7 ft 7 1/2 in +-1 1/2 in (2.33 m +-0.03)"
    assert FEET.cm(0.05) == "1 15/16 in (5.0 cm)"
    assert FEET.cm(0.05, nested=True) == "1 15/16 in, 5.0 cm"
    assert FEET.cm(-0.0508, spec="g") == "-2 in (-5.08 cm)"
    assert FEET.span(0.0, 0.006, nested=True) == "0 in +- 1/4 in, 0.0 +- 0.6 cm"
    assert FEET.doubt(0.0001) == "1/16 in (0.0 cm)"
    place = FEET.several([1.2, -0.3, 0.75], "m", labels=("x", "y", "z"))
    assert place == "x 3 ft 11 1/4 in, y -11 13/16 in, z 2 ft 5 1/2 in (1.20, -0.30, 0.75 m)"
    assert FEET.area(1.0) == "11 sq ft (1.0 m2)"


def test_metric_is_as_ever() -> None:
    assert METRIC.cm(0.0538, 0.0062) == "5.4 cm (+-0.6)"
    assert METRIC.m(2.324, 0.031) == "2.32 m (+-0.03)"
    assert METRIC.cm(0.05, nested=True) == "5.0 cm"
    assert METRIC.span(0.0, 0.006, nested=True) == "0.0 +- 0.6 cm"
    assert METRIC.doubt(0.0034, spec=".2f") == "0.34 cm"
    assert METRIC.several([1.2, 0.75], "m") == "1.20, 0.75 m"
    assert METRIC.several([0.18, 0.24], "cm", ".0f", between=" and ") == "18 and 24 cm"
    assert METRIC.area(1.04) == "1.0 m2"
    assert METRIC.note("overlap") is None
    assert METRIC.page("one in 2 in all") == "one in 2 in all"


def test_in_tables() -> None:
    assert [METRIC.head("gap", unit) for unit in ("m", "cm", "mm")] == ["gap m", "gap cm", "gap mm"]
    assert METRIC.cell(0.054, "cm", signed=True) == "+5.4"
    assert METRIC.cell(0.054, "cm", 0.006) == "5.4 +-0.6"
    assert METRIC.cell(2.3, "m") == "2.30"
    assert FEET.cell(0.054, "cm", signed=True) == "+2 1/8"
    assert FEET.cell(-0.006, "cm", signed=True) == "-1/4"
    assert FEET.cell(0.0003, "cm", signed=True) == "0"
    assert FEET.cell(0.4, "cm", 0.0062) == "15 3/4 +-1/4"
    assert FEET.cell(2.3, "m") == "7 ft 6 9/16 in"
    for words in (METRIC, FEET):
        assert words.cell(None, "cm") == words.cell(float("nan"), "m") == "-"
        assert words.cell(float("inf"), "m") == words.doubt_cell(float("inf"), "cm") == "none"
        assert words.doubt_cell(None, "cm") == "-"


@pytest.mark.parametrize(
    ("fraction", "said"),
    [
        (64, "to 1/64, at most 0.2 mm off; overlap to 1/2, at most 6.4 mm off"),
        (16, "to 1/16, at most 0.8 mm off; overlap to 1/2, at most 6.4 mm off"),
        (2, "to 1/2, at most 6.4 mm off"),
        (1, "to whole ones, at most 12.7 mm off"),
    ],
)
def test_the_rounding_is_said_once_and_not_too_small(fraction: int, said: str) -> None:
    words = LengthWords(imperial=True, fraction=fraction)
    assert words.note("overlap") == f"inches are rounded {said}; a doubt (+-) is rounded up"
    assert stated_m(words) >= INCH_M / (2 * fraction) - 1e-12


def test_a_page_does_not_end_a_line_within_a_length() -> None:
    text = "move it 4 ft 2 1/8 in (1.27 m) in, in 2 steps"
    shown = unbroken(text)
    assert shown.replace("\N{NO-BREAK SPACE}", " ") == text
    marked = shown.replace("\N{NO-BREAK SPACE}", "~")
    assert marked == "move it 4~ft~2~1/8~in (1.27 m) in, in 2 steps"


def test_a_metric_figure_alone_is_found() -> None:
    assert metric_alone("lies 5.4 cm off; 1 15/16 in (5.0 cm) allowed") == ["lies 5.4 cm"]
    assert metric_alone("to 1/16, at most 0.8 mm off") == []
    assert metric_alone("2 in (5.1 cm) and 2.32 m") == ["2 in (5.1 cm) and 2.32 m"]
