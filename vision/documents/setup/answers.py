"""What was answered, as it was typed: a value that is saved, resumed and gone back in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from vision.units.errors import bad_input
from vision.units.lengths import SPELLINGS
from vision.units.tables import describe, has_control, is_number
from vision.units.toml_text import toml_values

HEAD = """\
# What `seamtrue init` was answered, word for word. It goes on from here when started again in this
# folder; `seamtrue init FOLDER --answers THIS_FILE` takes it without asking.
"""
_SEPARATORS = re.compile(r"[\s,;]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """Answers by the key of their question, in the order in which they were given.

    What is typed is kept as it is: what it means depends on other answers, such as the unit.
    """

    typed: tuple[tuple[str, str], ...] = ()

    def __contains__(self, key: object) -> bool:
        return any(key == each for each, _ in self.typed)

    def __iter__(self) -> Iterator[str]:
        return (key for key, _ in self.typed)

    def __len__(self) -> int:
        return len(self.typed)

    def get(self, key: str) -> str | None:
        """What was typed; None where the question is not answered."""
        return dict(self.typed).get(key)

    @property
    def cameras(self) -> tuple[str, ...]:
        """The cameras as they were named, whether or not there are such."""
        return camera_words(self.get("cameras") or "")

    @property
    def unit(self) -> str:
        """The unit of bare numbers, m as long as none is known."""
        return SPELLINGS.get((self.get("units") or "m").strip().casefold(), "m")

    def with_answer(self, key: str, text: str) -> Answers:
        """The same with one answer more, or another one at its place."""
        return Answers(typed=tuple((dict(self.typed) | {key: text}).items()))

    def without(self, key: str) -> Answers:
        """The same without one answer."""
        return Answers(typed=tuple(each for each in self.typed if each[0] != key))


def camera_words(text: str) -> tuple[str, ...]:
    """Names of cameras in a list that was typed: `Front, rear-left`."""
    plain = text.casefold().replace("-", "_").replace("back", "rear")
    return tuple(each for each in _SEPARATORS.split(plain) if each)


def answers_text(answers: Answers) -> str:
    """The text of a file that holds the answers, in TOML."""
    import tomlkit  # nothing but writing TOML needs it

    lines = (f"{key} = {tomlkit.item(text).as_string()}" for key, text in answers.typed)
    return HEAD + "".join(f"{line}\n" for line in lines)


def answers_from_text(text: str | bytes, file: str) -> Answers:
    """The answers in the text of a file; BadInputError where it cannot be read.

    A length may be a bare number there, and a list of cameras or angles a list.
    """
    return Answers(typed=tuple(_flat(toml_values(text, file, "file of answers"), file, "")))


def _flat(values: dict[str, object], file: str, path: str) -> Iterator[tuple[str, str]]:
    for name, value in values.items():
        key = f"{path}{name}"
        if isinstance(value, dict):
            yield from _flat(value, file, f"{key}.")
            continue
        each = value if isinstance(value, list) else [value]
        plain = all(is_number(one) or isinstance(one, str) for one in each)
        text = " ".join(str(one) for one in each) if plain else ""
        if not plain or has_control(text) or len(text) > 1000:
            step = 'write it as it would be typed: "2.7 m"'
            raise bad_input(
                "wrong-answer", file, describe(value), "an answer in one line", step, key=key
            )
        yield key, text
