"""What `seamtrue measure` prints: what is wrong, the strips, and on request every reading."""

from __future__ import annotations

from cli.printing import Lines, say, say_numbered, show_table
from vision.documents.check_words.reliability import open_words
from vision.documents.check_words.words import say_check
from vision.documents.tape_words import doubt_words, what_words
from vision.planning.tape_check import ReadLength, TapeCheck
from vision.units.length_words import LengthWords


def show_tape_check(check: TapeCheck, lengths: LengthWords, *, whole: bool = False) -> None:
    """Print the verdict, what to do in order, the strips, and the readings that do not fit.

    With `whole` every reading, and what is not known.
    """
    words = say_check(lengths)
    say(f"verdict: {check.verdict}")
    doubts = [doubt_words(each, lengths) for each in check.readings]
    moves = [words(step.what) for laying in check.layings for step in laying.actions]
    say_numbered([*filter(None, doubts), *moves])
    unsure = [laying for laying in check.layings if laying.verdict == "not-judged"]
    notes = [words(reason) for laying in unsure for reason in laying.reasons]
    say(*(f"note: {text}" for text in (*map(words, check.reasons), *notes)), "")
    show_table(_ends(check, lengths))
    shown = [each for each in check.readings if whole or each.doubt is not None]
    show_table(_readings(shown, lengths))
    rest = len(check.readings) - len(shown)
    if whole:
        say(*open_words(check.stated, words))
    elif check.readings:
        other, fit = "other " * bool(shown), "readings fit" if rest != 1 else "reading fits"
        say(f"{rest} {other}{fit}; --all shows every reading, and what may still be off unseen")
    note = lengths.note() if check.strips else None
    say(*([f"note: {note}"] if note else []))


def _ends(check: TapeCheck, write: LengthWords) -> Lines:
    """Both ends of every strip, by the mark there."""
    words = {each.name: each.verdict for each in check.layings}
    rows = [
        (
            f"{each.name} {end}",
            words[each.name],
            *(write.cell(value, "cm", signed=True) for value in place),
            write.doubt_cell(max(sigma), "cm"),
            write.cell(each.sure_m, "cm"),
        )
        for each in check.strips
        for end, place, sigma in zip(("first", "last"), each.ends_m, each.sigma_m, strict=True)
    ]
    figures = ("ahead", "left", "sigma", "surely told")
    heads = ("strip, mark", "verdict", *(write.head(each, "cm") for each in figures))
    return Lines(heads=heads, rows=tuple(rows))


def _readings(readings: list[ReadLength], write: LengthWords) -> Lines:
    rows = [
        (
            str(each.group.name),
            what_words(each),
            write.cell(each.read_m, "m", spec=".3f"),
            write.cell(each.read_m - each.fits_m, "mm", signed=True),
            write.doubt_cell(each.sigma_m, "mm"),
            write.cell(each.sure_m, "mm"),
        )
        for each in readings
    ]
    small = [write.head(each, "mm") for each in ("off", "sigma", "surely told")]
    heads = ("no", "reading", write.head("read", "m"), *small)
    return Lines(heads=heads, rows=tuple(rows), verdicts=False)
