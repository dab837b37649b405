"""The sentence of any reason of a check."""

from __future__ import annotations

from vision.documents.check_words import (
    cameras,
    finding,
    laid,
    missing,
    no_fit,
    pictures,
    seams,
    stated,
)
from vision.documents.check_words.saying import Say, Words, judgements
from vision.inspection.inspected import Inspection
from vision.units.length_words import METRIC, LengthWords

JUDGED = cameras.JUDGED | laid.JUDGED | seams.JUDGED
WORDS: dict[str, Words] = {
    **no_fit.NO_FIT,
    **finding.MARKS,
    **finding.NAMING,
    **pictures.PICTURES,
    **cameras.CAMERAS,
    **laid.LAID,
    **seams.SEAMS,
    **stated.STATED,
    **missing.MISSING,
    "significant-within": lambda a, say: JUDGED[a["of"]]("within", a, say),
}
for _of, _words in JUDGED.items():
    WORDS |= judgements(_of, _words)


def say_check(lengths: LengthWords = METRIC) -> Say:
    """What makes the sentence of any reason that a check may carry."""
    return Say(lengths=lengths, table=WORDS)


def say_texture(lengths: LengthWords = METRIC) -> Say:
    """What makes the sentence of why the ground's texture tells no shift.

    Its codes are its own: 'ambiguous' is another thing of a picture.
    """
    return Say(lengths=lengths, table=finding.TEXTURES)


def warning_texts(inspection: Inspection) -> tuple[str, ...]:
    """What a person should know beside the verdicts, and what figures in inches may be off by."""
    say, note = say_check(inspection.job.lengths), "overlap, ground seen and places on a seam"
    rounding = inspection.job.lengths.note(note)
    return (*map(say, inspection.warnings), *([rounding] if rounding else []))
