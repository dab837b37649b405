"""Proves that lengths and sums are exact, and that what is none is refused clearly.

Proves: lengths are read in every promised spelling, exactly; shown lengths state their rounding;
sums are exact and the slip that explains a wrong one is named; `seamtrue length` exits as promised.

Does not prove: that a slip which is named is the one that was made.
"""

from __future__ import annotations

import contextlib
from fractions import Fraction

import pytest
import typer
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from cli.length import length
from vision.units.lengths import (
    FRACTIONS,
    UNITS,
    LengthError,
    both_systems,
    decimal_text,
    feet_inches,
    length_from_number,
    metric,
    parse_length,
)
from vision.units.sums import parse_sum, slips

# Inch and foot: NIST SP 811, appendix B.8, exact.
INCH_M = Fraction(254, 10000)
THREE_METRES_TAPED = 118 * INCH_M + Fraction(7, 64) * INCH_M


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("3 m", 3),
        ("3m", 3),
        ("3 metres", 3),
        ("3 Meters", 3),
        ("90 cm", Fraction(9, 10)),
        ("90 centimetres", Fraction(9, 10)),
        (".5 mm", Fraction(1, 2000)),
        ("1 m 20 cm", Fraction(12, 10)),
        ("-4.12 m", Fraction(-412, 100)),
        ("\u22124.12 m", Fraction(-412, 100)),
        ("9 ft 10 7/64 in", THREE_METRES_TAPED),
        ("9'10 7/64\"", THREE_METRES_TAPED),
        ("9'-10 7/64\"", THREE_METRES_TAPED),
        ("9\u203210 7/64\u2033", THREE_METRES_TAPED),
        ("9 ft 10-7/64", THREE_METRES_TAPED),
        ("9 feet, 10 7/64 inches", THREE_METRES_TAPED),
        ("9 foot and 10 7/64 inch", THREE_METRES_TAPED),
        ("9' 10\" 7/64", THREE_METRES_TAPED),
        ("9 feet 10 inches and 7/64", THREE_METRES_TAPED),
        ('118" 7/64', THREE_METRES_TAPED),
        ("9ft10.109375in", THREE_METRES_TAPED),
        ("7/64 in", Fraction(7, 64) * INCH_M),
        ("3\u00bd in", Fraction(7, 2) * INCH_M),
        ("5'", 60 * INCH_M),
        ("5' 3''", 63 * INCH_M),
        # 12 ft 3 5/8 in = 3749.675 mm: NIST SP 811 factors.
        ("12 ft 3 5/8 in", Fraction(3749675, 10**6)),
    ],
)
def test_spellings(text: str, metres: Fraction) -> None:
    assert parse_length(text) == metres


@pytest.mark.parametrize(
    "text",
    ["", " ", "-", "m", "nan", "inf m", "1e3 m", "1 m 20", "1 2 m", "3 m +", "5 parsecs", "1/0 in",
     "10 9/8 in", "9.5 ft 3 in", "3 in 9 ft", "3 m 2 ft", "3 m 2 m", "3 m and", "0x10 m", "3 m\n",
     "10\" 9/8", "10.5\" 1/2", "1/2\" 1/4", "9 ft 10 in 7/64 in", "10\" 1/0", "10 cm 1/2",
     "9" * 500 + " m", "9999999 m", "\u0663 m", "--3 m", "ft 3", "3 m\0"],
)  # fmt: skip
def test_what_is_no_length(text: str) -> None:
    with pytest.raises(LengthError, match=r"found .*; expected .*; "):
        parse_length(text)


@pytest.mark.parametrize(
    ("text", "step"),
    [
        ("3,5 m", "write `3.5 m`: a point, not a comma"),
        ("1,234 m", "write `1.234 m` where the comma stood before decimals, else `1234 m`"),
        ("1,234.5 mm", "write `1234.5 mm`: no commas between thousands"),
        ("1,234,567 mm", "write `1234567 mm`: no commas between thousands"),
    ],
)
def test_a_comma_in_a_number_is_refused_with_what_to_write(text: str, step: str) -> None:
    with pytest.raises(LengthError) as refused:
        parse_length(text)
    assert refused.value.next_step.startswith(step)


def test_bare_numbers_take_the_default_unit_only_where_there_is_one() -> None:
    assert parse_length("250", "cm") == Fraction(5, 2)
    assert parse_length("10 1/2", "in") == Fraction(21, 2) * INCH_M
    assert length_from_number(0.1, "m") == Fraction(1, 10)
    with pytest.raises(LengthError, match="say the unit, as in `3 m`"):
        parse_length("3")


@pytest.mark.parametrize("number", [float("nan"), float("inf"), -float("inf"), 1e300, 10**12])
def test_numbers_that_are_no_length(number: float) -> None:
    with pytest.raises(LengthError):
        length_from_number(number, "m")


def test_three_metres_on_a_tape() -> None:
    # 3 m is taped as 9 ft 10 7/64 in: common practice, no source.
    tape = feet_inches(Fraction(3), 64)
    assert tape.text == "9 ft 10 7/64 in"
    assert tape.error_m == THREE_METRES_TAPED - 3
    assert both_systems(Fraction(3), 64).startswith("3 m = 3000 mm = 9 ft 10 7/64 in (0.022 mm too")


@pytest.mark.parametrize(
    ("metres", "fraction", "text"),
    [
        (Fraction(3), 16, "9 ft 10 1/8 in"),
        (Fraction(3), 1, "9 ft 10 in"),
        (Fraction(0), 16, "0 in"),
        (12 * INCH_M, 16, "1 ft"),
        # Rounding carries from the fraction through the inch to the foot.
        (Fraction(11999, 1000) * INCH_M, 16, "1 ft"),
        (-INCH_M / 2, 16, "-1/2 in"),
        (Fraction(-1, 10**6), 16, "0 in"),
    ],
)
def test_feet_inches(metres: Fraction, fraction: int, text: str) -> None:
    assert feet_inches(metres, fraction).text == text


def test_a_fraction_no_tape_has() -> None:
    with pytest.raises(ValueError, match="fraction: expected one of"):
        feet_inches(1.0, 10)


def test_metric_text() -> None:
    assert metric(8.25) == "8.25 m"
    assert metric(-0.035) == "-3.5 cm"
    assert metric(0.00225) == "2.25 mm"
    assert decimal_text(Fraction(2, 3), 2) == "0.67"


@given(
    steps=st.integers(-(10**7), 10**7),
    fraction=st.sampled_from(FRACTIONS),
)
def test_round_trip_through_feet_and_inches(steps: int, fraction: int) -> None:
    exact = Fraction(steps, fraction) * INCH_M
    tape = feet_inches(exact, fraction)
    assert tape.error_m == 0
    assert parse_length(tape.text) == exact


@given(metres=st.floats(-1e5, 1e5), fraction=st.sampled_from(FRACTIONS))
def test_stated_rounding_error_is_the_error(metres: float, fraction: int) -> None:
    tape = feet_inches(metres, fraction)
    assert parse_length(tape.text) == Fraction(metres) + tape.error_m
    assert abs(tape.error_m) <= INCH_M / fraction / 2


@given(
    micrometres=st.integers(-(10**11), 10**11),
    unit=st.sampled_from(sorted(UNITS)),
    blank=st.sampled_from(["", " ", "  "]),
)
def test_round_trip_through_decimals(micrometres: int, unit: str, blank: str) -> None:
    exact = Fraction(micrometres, 10**6)
    text = decimal_text(exact, 6)
    assert parse_length(f"{text}{blank}{unit}") == exact * UNITS[unit]
    assert parse_length(text, unit) == exact * UNITS[unit]


FEET = st.sampled_from(["'", " ft", "ft", " feet", " foot", " ft.", "\u2032"])
INCHES = st.sampled_from(['"', " in", "in", " inches", "''", "\u2033", " in."])
IMPERIAL_GAPS = st.sampled_from(["", " ", "-", " - ", ", ", " and "])
FRACTION_GAPS = st.sampled_from([" ", "-", "  "])


@st.composite
def typed_in_feet(draw: st.DrawFn) -> tuple[str, Fraction]:
    """Feet, inches and a fraction as people type them, and the metres they mean."""
    feet, inches = draw(st.integers(0, 300)), draw(st.integers(0, 11))
    under = draw(st.sampled_from(FRACTIONS[1:]))
    over = draw(st.integers(0, under - 1))
    meant = (12 * feet + inches + Fraction(over, under)) * INCH_M
    ends = draw(INCHES)
    if not over:
        tail = f"{inches}{ends}"
    elif draw(st.booleans()):
        tail = f"{inches}{draw(FRACTION_GAPS)}{over}/{under}{ends}"
    else:
        tail = f"{inches}{ends} {over}/{under}"
    return f"{feet}{draw(FEET)}{draw(IMPERIAL_GAPS)}{tail}", meant


@st.composite
def typed_in_metric(draw: st.DrawFn) -> tuple[str, Fraction]:
    """A metric length as people type it, decimals or two units, and the metres it means."""
    if draw(st.booleans()):
        metres, centimetres = draw(st.integers(0, 300)), draw(st.integers(0, 99))
        gap = draw(st.sampled_from(["", " ", ", ", " and "]))
        return f"{metres} m{gap}{centimetres} cm", metres + Fraction(centimetres, 100)
    unit, decimals = draw(st.sampled_from([("mm", 2), ("cm", 3), ("m", 5)]))
    hundredths = draw(st.integers(0, 10**8))
    value = Fraction(hundredths, 10**decimals)
    blank = draw(st.sampled_from(["", " ", "\u00a0"]))
    return f"{decimal_text(value, decimals)}{blank}{unit}", value * UNITS[unit]


@given(
    typed=st.one_of(typed_in_feet(), typed_in_metric()),
    fraction=st.sampled_from(FRACTIONS),
)
def test_what_is_typed_survives_reading_printing_and_reading_again(
    typed: tuple[str, Fraction], fraction: int
) -> None:
    text, meant = typed
    exact = parse_length(text)
    assert exact == meant
    shown = both_systems(exact, fraction).removeprefix("about ")
    metres, millimetres, rest = shown.split(" = ")
    tape, _, stated = rest.partition(" (")
    assert abs(parse_length(metres) - exact) <= Fraction(1, 2 * 10**6)
    assert abs(parse_length(millimetres) - exact) <= Fraction(1, 2 * 10**6)
    off = parse_length(tape) - exact
    assert abs(off) <= INCH_M / fraction / 2
    # The error that is printed is the error there is, to the digits it is printed with.
    if off == 0:
        assert stated == "exact)"
    elif "less than" in stated:
        assert abs(off) < Fraction(1, 2 * 10**6)
    else:
        size, direction = stated.removesuffix(")").split(" mm too ")
        assert direction == ("long" if off > 0 else "short")
        assert abs(Fraction(size) - abs(off) * 1000) <= Fraction(1, 2000)
    assert abs(parse_length(metric(exact)) - exact) <= Fraction(1, 2 * 10**6)


@given(text=st.text(max_size=30))
def test_any_text_is_a_length_or_a_clear_refusal(text: str) -> None:
    # Anything but a length or a LengthError would fail the test by itself.
    with contextlib.suppress(LengthError):
        assert isinstance(parse_length(text, "m"), Fraction)


@given(hundredths=st.lists(st.integers(1, 10**6), min_size=1, max_size=8))
def test_sums_are_exact(hundredths: list[int]) -> None:
    text = " + ".join(f"{decimal_text(Fraction(n, 100), 2)} m" for n in hundredths)
    total = decimal_text(Fraction(sum(hundredths), 100), 2)
    assert parse_sum(f"{text} = {total} m").adds_up
    wrong = decimal_text(Fraction(sum(hundredths) + 1, 100), 2)
    assert parse_sum(f"{text} = {wrong} m").off_m == Fraction(1, 100)


def test_binary_floats_play_no_part() -> None:
    assert parse_sum("0.1 m + 0.2 m = 0.3 m").adds_up


def test_a_total_in_the_other_system_is_allowed_its_rounding_and_no_more() -> None:
    assert parse_sum("3 m = 9 ft 10 7/64 in").adds_up
    assert not parse_sum("3 m = 9 ft 10 6/64 in").adds_up
    assert not parse_sum("3 m = 10 ft").adds_up
    assert not parse_sum("3 m = 2.9999 m").adds_up


@pytest.mark.parametrize(
    ("text", "slip"),
    [
        ("2.5 m + 3.25 m + 2.5 m = 5 m", "`3.25 m` is left out"),
        ("2.5 m + 3.25 m + 2.5 m = 11.5 m", "`3.25 m` is counted twice"),
        ("2.5 m + 3.25 m + 2.5 m = 8.5 m", "a digit is left out in the total"),
        ("2.5 m + 3.25 m + 2.5 m = 8.52 m", "two digits are swapped in the total"),
        ("2.5 m + 3.25 m + 2.5 m = 82.5 m", "decimal point"),
        ("9 ft 10 in + 3 ft = 13 ft 10 in", "one foot too many"),
        ("9 ft 10 in + 3 ft = 12 ft 9 in", "one inch too few"),
        ("9.10 ft + 2 ft = 11 ft 10 in", "decimal feet are taken for feet and inches"),
        ("9 ft 10 in + 2 ft = 11.1 ft", "feet and inches are taken for decimal feet"),
        ("5 ft 8 in + 5 ft 8 in = 11 ft 6 in", "carried at ten"),
        ("2 m + 90 in = 2.9 m", "`90 in` was added as if it were in cm"),
    ],
)
def test_slips_are_named(text: str, slip: str) -> None:
    assert any(slip in named for named in slips(parse_sum(text)))


def test_no_slip_is_invented() -> None:
    assert slips(parse_sum("1 m + 1 m = 2.77 m")) == ()
    assert slips(parse_sum("1 m + 1 m = 2 m")) == ()
    assert slips(parse_sum("1 m + 1 m")) == ()


APP = typer.Typer()
APP.command()(length)


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["3 m", "--fraction", "64"], 0, "9 ft 10 7/64 in (0.022 mm too short)"),
        (["2.5 m + 3.25 m + 2.5 m = 8.25 m"], 0, "adds up"),
        (["3 m = 9 ft 10 7/64 in"], 0, "rounded: 0.022 mm too short"),
        (["2.5 m + 3.25 m + 2.5 m = 8.5 m"], 3, "is 25 cm too long"),
        (["2.5 m + 2.5 m = 2.5 m"], 3, "left out"),
        (["1 m + 1 m = 2.77 m"], 3, "no one slip explains it"),
        (["3,5 m"], 5, "write `3.5 m`"),
        (["3 m = 3 m = 3 m"], 5, "one `=`"),
        (["3 m + = 3 m"], 5, "no length"),
        (["+".join(["1 m"] * 2000)], 5, "no length"),
        (["3 m", "--fraction", "10"], 2, "--fraction"),
    ],
)
def test_command(arguments: list[str], code: int, words: str) -> None:
    result = CliRunner().invoke(APP, arguments)
    assert result.exit_code == code
    assert words in result.output
