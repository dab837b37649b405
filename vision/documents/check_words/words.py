"""The sentence of any reason of a check."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment

from vision.documents.check_words.saying import Say, codes_of, templates_of, words_of
from vision.inspection.inspected import Inspection
from vision.units.length_words import METRIC, LengthWords

FAMILIES = (
    "body",
    "cameras",
    "judged",
    "laid",
    "marks",
    "missing",
    "naming",
    "no_fit",
    "pictures",
    "seams",
    "sources",
    "stated",
)
"""The files of words of a check, `texture` aside: its codes are its own."""
ACTING = ("body", "cameras", "laid", "naming", "no_fit", "pictures", "seams")
"""Those whose sentences end in an act where there is one. Acts about marks are said once, of a
strip or single mark that no camera could tell: a list of marks would grow too long."""


def say_check(lengths: LengthWords = METRIC) -> Say:
    """What makes the sentence of any reason that a check may carry."""
    return Say(lengths=lengths, templates=_check_templates())


def say_texture(lengths: LengthWords = METRIC) -> Say:
    """What makes the sentence of why the ground's texture tells no shift.

    Its codes are its own: 'ambiguous' is another thing of a picture.
    """
    return Say(lengths=lengths, templates=_texture_templates())


@cache
def _check_templates() -> Environment:
    every = {family: words_of(f"check_words/{family}.toml") for family in FAMILIES}
    for code in codes_of(every["naming"]):
        every["naming"][code] += "{% include 'said-besides' %}"
    for family in ACTING:
        for code in every[family]["acts"]:
            every[family][code] += f"; {{% include 'act-{code}' %}}"
    return templates_of(*every.values(), say_texture=say_texture)


@cache
def _texture_templates() -> Environment:
    return templates_of(words_of("check_words/texture.toml"))


def warning_texts(inspection: Inspection) -> tuple[str, ...]:
    """What a person should know beside the verdicts, and what figures in inches may be off by."""
    say, note = say_check(inspection.job.lengths), "overlap, ground seen and places on a seam"
    rounding = inspection.job.lengths.note(note)
    return (*map(say, inspection.warnings), *([rounding] if rounding else []))
