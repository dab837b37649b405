"""The verdict on the whole job: what must be done first, and all that there is to do, in order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vision.inspection.verdict.cameras import CameraVerdict
from vision.inspection.verdict.layings import MAY_BE_MISSING, LayingVerdict
from vision.inspection.verdict.rule import Action
from vision.inspection.verdict.seams import SeamVerdict
from vision.units.reason import Reason

JobWord = Literal["re-shoot", "re-measure", "re-aim", "not-judged", "keep"]

Part = CameraVerdict | LayingVerdict

WORST_FIRST: tuple[JobWord, ...] = ("re-shoot", "re-measure", "re-aim", "not-judged", "keep")
"""A useless picture hides everything; a crooked strip misleads every aim taken from it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobVerdict:
    """The verdict on the whole job; `actions` in the order in which to do them."""

    verdict: JobWord
    actions: tuple[Action, ...] = ()


def job_verdict(
    cameras: tuple[CameraVerdict, ...],
    strips: tuple[LayingVerdict, ...],
    marks: tuple[LayingVerdict, ...],
    seams: tuple[SeamVerdict, ...],
    entries: tuple[Reason, ...] = (),
) -> JobVerdict:
    """What must be done first, after all verdicts on the parts.

    A seam beyond tolerance is explained by whatever is named as the fault; with nothing named its
    cause is unknown and the job not judged. A seam, camera or strip that is not judged keeps the
    job from keep. `entries` are what is wrong of the job itself: corrected before anything is
    turned or moved, and nothing is judged until then.
    """
    parts: list[Part] = [*cameras, *strips, *(one for one in marks if not _may_be_missing(one))]
    words: set[JobWord] = {one.verdict for one in parts}
    named = bool(words & {"re-shoot", "re-measure", "re-aim"})
    told = {seam.verdict for seam in seams}
    if "not-judged" in told or ("beyond" in told and not named):
        words.add("not-judged")
    verdict: JobWord = next((word for word in WORST_FIRST if word in words), "not-judged")
    # Pictures first, then what was laid, then the cameras.
    actions = dict.fromkeys(
        action
        for word in WORST_FIRST
        for one in parts
        if one.verdict == word
        for action in one.actions
    )
    first = tuple(Action(what=each) for each in entries)
    judged = bool(cameras) and not entries
    return JobVerdict(verdict=verdict if judged else "not-judged", actions=(*first, *actions))


def _may_be_missing(mark: LayingVerdict) -> bool:
    return any(reason.code in MAY_BE_MISSING for reason in mark.reasons)
