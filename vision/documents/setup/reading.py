"""One typed answer to its value, or what is wrong with it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction

from vision.documents.setup.answers import camera_words
from vision.documents.setup.question import CAMERAS, Question
from vision.documents.sheets.paper import PAPERS
from vision.job.settings import SETTINGS
from vision.units.cures import nearest_step
from vision.units.errors import BadInputError, bad_input
from vision.units.lengths import SPELLINGS, UNITS, LengthError, decimal_text, parse_length
from vision.units.tables import has_control

MIDDLE = ("middle", "centre", "center", "none")
"""Words for a length of nothing that may lie to either side."""
_SEPARATORS = re.compile(r"[\s,;]+")
_NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")

Value = str | float | tuple[str, ...] | tuple[float, ...] | None


def value_of(
    question: Question, text: str, unit: str, cameras: tuple[str, ...] = (), file: str = ""
) -> Value:
    """The value of what was typed; lengths in metres, None for what stays open.

    A bare number is in `unit`; `cameras` are those that were named before. BadInputError with one
    fault, whose file is `file`, for what is no answer.
    """
    text = text.strip()
    if not text and question.default == "":
        return None
    reader = _Reader(question=question, text=text, unit=unit, file=file)
    match question.kind:
        case "length" | "length either way":
            return reader.length()
        case "unit":
            return reader.unit_name()
        case "cameras":
            return reader.cameras(CAMERAS)
        case "some cameras":
            return () if text.casefold() in ("none", "no") else reader.cameras(cameras)
        case "fields":
            return reader.numbers((1, len(cameras)), *SETTINGS.field_of_view_deg)
        case "degrees":
            return reader.numbers((1,), 0, 90)[0]
        case "paper":
            return reader.choice(tuple(PAPERS))
        case "file":
            return reader.choice(question.choices, fold=False)
        case _:
            return reader.line()


class _Reader:
    """Reads one answer."""

    def __init__(self, *, question: Question, text: str, unit: str, file: str) -> None:
        self.question, self.text, self.unit, self.file = question, text, unit, file

    def wrong(self, expected: str, step: str, found: str = "") -> BadInputError:
        said = found or (repr(self.text) if self.text else "nothing")
        return bad_input("wrong-answer", self.file, said, expected, step, key=self.question.key)

    def line(self) -> str:
        if not self.text or has_control(self.text) or len(self.text) > 200:
            raise self.wrong("a few words in one line", "type them")
        return self.text

    def length(self) -> float:
        """Metres, the second of two words being the negative way."""
        rest, sign, said = self.text, 1, False
        if self.question.words:
            rest, sign, said = self._way()
        try:
            metres = sign * parse_length(rest, self.unit)
        except LengthError as error:
            raise self.wrong(error.expected, error.next_step, error.found) from None
        least, most = parse_length(self.question.least), parse_length(self.question.most)
        if not least <= metres <= most:
            expected = f"a length from {self.question.least} to {self.question.most}"
            raise self.wrong(expected, _other_unit(metres / UNITS[self.unit], least, most))
        if self.question.say_side and metres and not said:
            ways = " or ".join(f"`{rest} {word}`" for word in self.question.words)
            raise self.wrong("a length and which way", f"write {ways}")
        return float(metres)

    def _way(self) -> tuple[str, int, bool]:
        """The length without the word for its way; 1 or -1; whether a way was said."""
        words = self.text.casefold().replace(" of it", "").split()
        if len(words) == 1 and words[0] in MIDDLE:
            return "0 m", 1, True
        for sign, way in zip((1, -1), self.question.words, strict=True):
            if way in words:
                words.remove(way)
                return " ".join(words), sign, True
        return self.text, 1, self.text.startswith("-")

    def unit_name(self) -> str:
        spelled = SPELLINGS.get(self.text.casefold().rstrip("."))
        if spelled is None:
            raise self.wrong("one of " + ", ".join(UNITS), _near(self.text, UNITS))
        return spelled

    def choice(self, choices: tuple[str, ...], *, fold: bool = True) -> str:
        typed = self.text.casefold()
        for each in choices:
            if (each if fold else each.casefold()) == typed:
                return each
        raise self.wrong("one of " + ", ".join(choices), _near(self.text, choices))

    def cameras(self, known: tuple[str, ...]) -> tuple[str, ...]:
        """Names of cameras, each once."""
        found = camera_words(self.text)
        for name in found:
            if name not in known:
                expected = "names among " + ", ".join(known)
                raise self.wrong(expected, _near(name, known), repr(name))
        if not found:
            raise self.wrong("names among " + ", ".join(known), "name at least one")
        if len(set(found)) < len(found):
            raise self.wrong("each camera once", "name each once")
        return found

    def numbers(self, counts: tuple[int, ...], low: float, high: float) -> tuple[float, ...]:
        """Angles in degrees."""
        plain = self.text.casefold().replace("°", " ").replace("degrees", " ").replace("deg", " ")
        words = [each for each in _SEPARATORS.split(plain) if each]
        how_many = " or ".join(str(each) for each in sorted(set(counts) - {0}))
        expected = f"{how_many} numbers of degrees between {low:g} and {high:g}"
        if len(words) not in counts or not all(_NUMBER.fullmatch(each) for each in words):
            raise self.wrong(expected, "write numbers, with blanks between them")
        found = tuple(float(each) for each in words)
        if not all(low < each < high for each in found):
            raise self.wrong(expected, "look at the data sheet again")
        return found


def _near(typed: str, known: Iterable[str]) -> str:
    return nearest_step(typed, list(known), "type one of them")


def _other_unit(number: Fraction, least: Fraction, most: Fraction) -> str:
    """The unit in which a number would be a length that can be."""
    for unit in ("cm", "m", "mm", "in", "ft"):
        if least <= number * UNITS[unit] <= most:
            return f"did you mean {decimal_text(number, 4)} {unit}?"
    return "check the digits and the unit"
