"""What `seamtrue measure` prints: the strips, the readings, and what to do."""

from __future__ import annotations

from cli.printing import Lines, say, say_numbered, show_table
from vision.documents.check_words.reliability import open_words
from vision.documents.check_words.words import say_check
from vision.documents.tape_words import doubt_words, what_words
from vision.planning.tape_check import TapeCheck
from vision.units.length_words import LengthWords


def show_tape_check(check: TapeCheck, lengths: LengthWords) -> None:
    """Print the tables, the verdict, what to do in order, and what is not known."""
    show_table(_strips(check, lengths))
    show_table(_readings(check, lengths))
    say(f"verdict: {check.verdict}")
    words = say_check(lengths)
    doubts = [doubt_words(each, lengths) for each in check.readings]
    moves = [words(step.what) for laying in check.layings for step in laying.actions]
    say_numbered([*filter(None, doubts), *moves])
    unsure = [laying for laying in check.layings if laying.verdict == "not-judged"]
    notes = [words(reason) for laying in unsure for reason in laying.reasons]
    say(*open_words(check.stated, words))
    rounding = [lengths.note()] if check.strips else []
    every = [*map(words, check.reasons), *notes, *rounding]
    say(*(f"note: {text}" for text in every if text))


def _strips(check: TapeCheck, write: LengthWords) -> Lines:
    words = {each.name: each.verdict for each in check.layings}
    rows = [
        (
            each.name,
            words[each.name],
            *(write.cell(value, "cm", signed=True) for end in each.ends_m for value in end),
            write.doubt_cell(max(sigma for end in each.sigma_m for sigma in end), "cm"),
            write.cell(each.sure_m, "cm"),
        )
        for each in check.strips
    ]
    figures = ("first ahead", "left", "last ahead", "left", "sigma", "named from")
    heads = ("strip", "verdict", *(write.head(each, "cm") for each in figures))
    return Lines(heads=heads, rows=tuple(rows))


def _readings(check: TapeCheck, write: LengthWords) -> Lines:
    rows = [
        (
            str(each.group),
            what_words(each),
            write.cell(each.read_m, "m", spec=".3f"),
            write.cell(each.fits_m, "m", spec=".3f"),
            write.cell(each.read_m - each.fits_m, "mm", signed=True),
            write.doubt_cell(each.sigma_m, "mm"),
            write.cell(each.sure_m, "mm"),
        )
        for each in check.readings
    ]
    lengths = (write.head("read", "m"), write.head("rest says", "m"))
    small = [write.head(each, "mm") for each in ("off", "sigma", "named from")]
    heads = ("reading", "of", *lengths, *small)
    return Lines(heads=heads, rows=tuple(rows), verdicts=False)
