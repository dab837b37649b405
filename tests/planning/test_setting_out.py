"""Proves that what is set out on the ground is where the job says, and what each check allows.

Proves: offsets, inside edges and running distances are the job's; diagonals and triangles answer to
a moved strip as stated, by moving it; published and customary figures come out; distances under the
body are told; the lot holds everything.

Does not prove: that the room for people is enough for them (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.lots import lot, lot_text
from vision.documents.sheets.figures import Figures
from vision.job.job_file import job_from_text
from vision.planning.setting_out.running_marks import FINEST_M, exact
from vision.planning.setting_out.set_out import set_out
from vision.planning.setting_out.supplies import tape_length_m
from vision.units.lengths import UNITS, feet_inches, parse_length

FOOT = float(UNITS["ft"])


def changed(job, name, **changes):
    """The job with one strip changed."""
    strips = tuple(
        replace(strip, **changes) if strip.name == name else strip for strip in job.strips
    )
    return replace(job, strips=strips)


def between(job, pair):
    """The two distances of a pair, taken in another job by the marks' names."""
    found = []
    for diagonal in (pair.first, pair.second):
        ends = []
        for mark in diagonal.between:
            strip = job.strip(mark.name)
            ends.append(strip.from_m + strip.at_m[mark.index] * strip.along)
        found.append(float(np.hypot(*(ends[1] - ends[0]))))
    return found


def test_offsets_are_from_the_body_and_from_the_datum_lines():
    left, _, front, rear = set_out(lot(8.4, width=2.3)).strips
    assert [line.side for line in (left, front, rear)] == ["left", "front", "rear"]
    assert left.body_m == (Fraction(4, 10), Fraction(4, 10))
    # Half of a tape of 18 cm nearer.
    assert left.inside_m == (Fraction(31, 100), Fraction(31, 100))
    assert left.first.left_m == Fraction(155, 100)
    assert left.crossing_m == Fraction(48, 10)
    assert front.body_m == (Fraction(13, 10),) * 2
    assert rear.first.ahead_m == Fraction(-55, 10)


def test_every_running_distance_is_rounded_once_from_the_first_mark():
    line = set_out(lot(18)).strips[0]
    job_strip = lot(18).strip("left")
    for mark, at in zip(line.marks, job_strip.at_m, strict=True):
        assert mark.running_m == exact(at)
        tape = feet_inches(mark.running_m)
        assert abs(tape.error_m) <= UNITS["in"] / 32
        assert Figures().feet(mark.running_m) == tape.text
    # Steps of 0.6 m, each rounded to 1/16 in and then added up, would end this far out.
    step = feet_inches(line.marks[1].running_m)
    assert abs(step.error_m) * (len(line.marks) - 1) > Fraction(2, 1000)


@settings(max_examples=40, deadline=None)
@given(
    steps=st.lists(st.integers(1, 50_000), min_size=1, max_size=40),
    unit=st.sampled_from([Fraction(1, 10**4), UNITS["in"] / 64]),
    fraction=st.sampled_from([16, 64]),
)
def test_no_running_distance_is_off_by_more_than_one_rounding(steps, unit, fraction):
    meant = [unit * sum(steps[:i]) for i in range(len(steps) + 1)]
    at = np.array([float(each) for each in meant])
    job = changed(
        lot(8.4), "left", at_m=at, from_m=np.zeros(2) + 2.0, to_m=np.array([2.0 + at[-1], 2.0])
    )
    line = set_out(job).strips[0]
    figures = Figures(fraction=fraction)
    for mark, exactly in zip(line.marks, meant, strict=True):
        assert abs(parse_length(figures.feet(mark.running_m)) - exactly) <= (
            UNITS["in"] / fraction / 2 + FINEST_M
        )
        metres = parse_length(figures.metres(mark.running_m))
        assert abs(metres - exactly) <= Fraction(1, 2000) + FINEST_M


def test_a_strip_at_an_angle_is_laid_by_its_ends():
    text = lot_text(8.4).replace(
        "[strip.front]\nfrom = [5.5, -2.4]", "[strip.front]\nfrom = [6.5, -2.4]"
    )
    line = set_out(job_from_text(text, "job.toml")).strips[2]
    assert line.side == "free"
    assert line.body_m is line.inside_m is line.crossing_m is None
    assert not line.crosses


def test_diagonals_of_a_sheared_rectangle():
    # A rectangle 12 by 2.5 m sheared by 10 mm: diagonals differ by 19.58 mm (2 L s / D, the
    # cosine law to first order).
    job = changed(lot(10.8, width=1.7), "left", mark_sigma_m=0.003)
    job = replace(job, tolerances=replace(job.tolerances, strip_m=0.010))
    pair = set_out(job).pairs[0]
    assert pair.fault == "slide"
    assert float(job.strip("left").length_m) == pytest.approx(12)
    assert pair.allowed_m == pytest.approx(0.01958, abs=5e-6)
    assert pair.first.under_body
    assert pair.second.under_body


@pytest.mark.parametrize("length", [4, 8.4, 18])
def test_a_pair_answers_to_its_fault_as_stated(length):
    job = lot(length)
    pairs = set_out(job).pairs
    assert {pair.strip for pair in pairs} == {"left", "front", "rear"}
    for pair in pairs:
        strip = job.strip(pair.strip)
        moved = 0.001
        end = pair.first.between[1] if pair.first.between[1].strip == pair.strip else None
        assert end is not None
        at_from = end.index == 0
        if pair.fault == "slide":
            shift = strip.along * moved * (-1 if at_from else 1)
            shifts = shift, shift
        else:
            left = np.array([-strip.along[1], strip.along[0]])
            middle = (strip.from_m + strip.to_m) / 2
            out = left * np.sign(left @ middle) * moved
            shifts = (out, -out) if at_from else (-out, out)
        faulty = changed(
            job, pair.strip, from_m=strip.from_m + shifts[0], to_m=strip.to_m + shifts[1]
        )
        first, second = between(faulty, pair)
        answer = (first - second - float(pair.difference_m)) / moved
        # The first is the longer, as the sheet says, and by as much.
        assert answer == pytest.approx(pair.answer, rel=2e-3)
        assert pair.allowed_m == pytest.approx(pair.answer * job.tolerances.strip_m)


def test_only_distances_under_the_body_are_called_so():
    for pair in set_out(lot(8.4)).pairs:
        across = pair.fault == "slide"
        assert (pair.first.under_body, pair.second.under_body) == (across, across)


def test_triangle_tolerance():
    # 3-4-5 with 0.01 in 5: 0.239 degrees (the cosine law).
    job = lot(8.4)
    turn = math.radians(0.239)
    reach = 2.4
    job = replace(job, tolerances=replace(job.tolerances, strip_m=reach * turn))
    front, rear = set_out(job).triangles
    legs = front.metric
    assert (legs.along_strip_m, legs.along_line_m, legs.across_m) == (
        Fraction(24, 10), Fraction(18, 10), Fraction(3)
    )  # fmt: skip
    assert legs.allowed_m / float(legs.across_m) == pytest.approx(0.01 / 5, rel=2e-3)
    # Round in feet: 6, 4 1/2 and 7 1/2 ft.
    feet = [side / UNITS["ft"] for side in (front.imperial.along_strip_m,
            front.imperial.along_line_m, front.imperial.across_m)]  # fmt: skip
    assert feet == [6, Fraction(9, 2), Fraction(15, 2)]
    assert (front.away, rear.away) == (1, -1)
    np.testing.assert_allclose(front.corner_m, [5.5, 0], atol=1e-9)
    # And by turning the leg: the long side changes by as much, to first order.
    a, b = float(legs.along_strip_m), float(legs.along_line_m)
    turned = math.sqrt(a * a + b * b + 2 * a * b * math.sin(turn))
    assert turned - float(legs.across_m) == pytest.approx(legs.allowed_m, rel=5e-3)


def test_a_vehicle_of_40_ft_wants_65_to_70_ft():
    # Common practice, no source.
    size = set_out(lot(40 * FOOT)).lot
    assert 65 * FOOT <= size.length_m <= 70 * FOOT


@pytest.mark.parametrize("length", [4, 8.4, 18])
def test_the_lot_holds_body_tapes_and_marks(length):
    setting = set_out(lot(length))
    size = setting.lot
    assert min(size.ahead_m, size.behind_m, size.left_m, size.right_m) > 2
    reach = max(float(mark.at_m[0]) for mark in setting.job.marks) - length / 2
    assert size.ahead_m == pytest.approx(reach + 0.3 + 2.5)
    assert size.length_m == pytest.approx(length + size.ahead_m + size.behind_m)


def test_cut_list():
    setting = set_out(lot(8.4))
    strip = setting.job.strip("left")
    # From first to last mark, half a cross at each end, 10 cm over at each end.
    assert tape_length_m(strip) == exact(strip.length_m) + Fraction(16, 100) + Fraction(20, 100)
    pieces = [(piece.of, piece.what, piece.count) for piece in setting.cut.marks]
    assert ("left", "dark line along", len(strip.at_m)) in pieces
    assert ("front_trestle", "printed quadrant", 1) in pieces
    # Rounded up, never down: 5.56 m is 18 ft 2.9 in.
    assert Figures().to_cut(Fraction(556, 100)) == "5.56 m (18 ft 3 in)"


@pytest.mark.parametrize(
    ("text", "sides"),
    [
        ("[strip.left]", ["right", "front", "rear"]),
        ("[strip.front]", ["left", "right", "rear"]),
    ],
)
def test_a_layout_without_one_strip_is_set_out_all_the_same(text, sides):
    whole = lot_text(8.4)
    start = whole.index(text)
    rest = whole[whole.index("\n[", start + 1) :]
    setting = set_out(job_from_text(whole[:start] + rest, "job.toml"))
    assert [line.side for line in setting.strips] == sides


def test_printed_tolerances_are_never_more_than_allowed():
    assert Figures().allowed(0.0304) == "30 mm (1 3/16 in)"
    assert Figures().allowed(0.0009) == "0 mm (0 in)"
    assert Figures(fraction=64).allowed(0.0005) == "0 mm (1/64 in)"
