"""Words for seams: how far apart two views lie, and what of a seam is not covered."""

from __future__ import annotations

from vision.documents.check_words.saying import Arguments, JudgedWords, Say, Words, judged
from vision.inspection.verdict.rule import COVERAGE


def _gap(word: str, a: Arguments, say: Say) -> str:
    """Why the gap at a point or mark is judged so."""
    off, sigma, write = a["off_m"], a["sigma_m"], say.lengths
    place = f"mark {a.get('mark')}"
    if "at_m" in a:
        place = write.roughly.several(a["at_m"], "m", labels="xy")
    return judged(
        word,
        f"the two views lie {write.cm(off, sigma)} apart at {place}",
        limit=write.cm(a["limit_m"]),
        span=write.span(off, COVERAGE * sigma),
        narrow="more marks that both cameras see near the seam would narrow it",
    )


JUDGED: dict[str, JudgedWords] = {"gap": _gap}

SEAMS: dict[str, Words] = {
    "uncovered": lambda a, say: (
        f"{say.lengths.roughly.m(a['uncovered_m'])} of the seam is not covered by both cameras;"
        " where your display has it elsewhere, state it in a table [seam.NAME]"
    ),
    "neighbour-not-identified": lambda a, _: (
        f"{' and '.join(a['cameras']) or 'a camera'} not identified, so there is no gap to measure"
    ),
}
