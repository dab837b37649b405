"""The questions of `seamtrue init` in a terminal: a thin loop over pure values."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from cli.printing import say

if TYPE_CHECKING:
    from vision.documents.setup.answers import Answers
    from vision.documents.setup.question import Question
    from vision.marks.sources.found import FoundPicture

BACK, HELP = "back", "?"


def asked(
    answers: Answers,
    found: Sequence[FoundPicture],
    names: Sequence[str],
    keep: Callable[[Answers], None],
) -> Answers:
    """Ask until every question is answered; `keep` is told of every answer.

    `found` are the pictures in the folder, `names` those of them that can be used. Raises EOFError
    or KeyboardInterrupt where somebody stops.
    """
    from vision.documents.setup.question import next_question, previous_question, questions_for
    from vision.documents.setup.words import greeting, pictures_text, question_text

    say(greeting())
    drawn: set[str] = set()
    offered: dict[str, str] = {}
    while question := next_question(answers, names):
        every = questions_for(answers, names)
        if question.drawing and question.drawing not in drawn:
            _draw(question)
            drawn.add(question.drawing)
        before = offered.get(question.key)
        say(question_text(question, every.index(question) + 1, len(every), before))
        typed = input("> ").strip()
        if typed.casefold() == BACK:
            previous = previous_question(answers, names)
            if previous is None:
                say("this is the first question")
                continue
            offered[previous.key] = answers.get(previous.key) or ""
            answers = answers.without(previous.key)
            keep(answers)
        elif typed == HELP:
            _draw(question)
        elif (text := _taken(question, typed or before, answers)) is not None:
            answers = answers.with_answer(question.key, text)
            keep(answers)
            if question.key == "cameras" and found:
                say("", pictures_text(found, answers.cameras))
    return answers


def _draw(question: Question) -> None:
    from vision.documents.setup.words import drawing_text

    say(drawing_text(question))


def _taken(question: Question, typed: str | None, answers: Answers) -> str | None:
    """What is taken for an answer; None after saying what is wrong with it."""
    from vision.documents.setup.reading import value_of
    from vision.documents.setup.words import trouble_text
    from vision.units.errors import BadInputError

    text = typed or question.default
    if text is None:
        say("this one has to be answered; `?` shows what is meant")
        return None
    try:
        value_of(question, text, answers.unit, answers.cameras)
    except BadInputError as error:
        say(*map(trouble_text, error.faults))
        return None
    return text
