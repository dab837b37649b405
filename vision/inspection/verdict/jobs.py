"""The verdict on the whole job: what must be done first, and all that there is to do, in order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vision.inspection.verdict.cameras import CameraVerdict
from vision.inspection.verdict.layings import (
    BOX_CORNER_NOT_FOUND,
    BOX_CORNER_NOT_JUDGED,
    LayingVerdict,
)
from vision.inspection.verdict.rule import Action, Reason
from vision.inspection.verdict.seams import SeamVerdict

JobWord = Literal["re-shoot", "re-measure", "re-aim", "not-judged", "keep"]

Part = CameraVerdict | LayingVerdict

WORST_FIRST: tuple[JobWord, ...] = ("re-shoot", "re-measure", "re-aim", "not-judged", "keep")
"""A useless picture hides everything; a crooked strip misleads every aim taken from it."""
EXIT_CODES: dict[JobWord, int] = {
    "keep": 0,
    "re-shoot": 3,
    "re-measure": 3,
    "re-aim": 3,
    "not-judged": 4,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class JobVerdict:
    """The verdict on the whole job; `actions` in the order in which to do them."""

    verdict: JobWord
    reasons: tuple[Reason, ...] = ()
    actions: tuple[Action, ...] = ()


def job_verdict(
    cameras: tuple[CameraVerdict, ...],
    strips: tuple[LayingVerdict, ...],
    marks: tuple[LayingVerdict, ...],
    seams: tuple[SeamVerdict, ...],
) -> JobVerdict:
    """What must be done first, after all verdicts on the parts.

    A seam beyond tolerance is explained by whatever is named as the fault; with nothing named it is
    not judged, 'cause unknown'. A seam, camera or strip that is not judged keeps the job from keep.
    """
    parts: list[tuple[str, Part]] = [(f"camera {one.name}", one) for one in cameras]
    parts += [(f"strip {one.name}", one) for one in strips]
    parts += [(f"mark {one.name}", one) for one in marks if not _may_be_missing(one)]
    words: set[JobWord] = {one.verdict for _, one in parts}
    named = bool(words & {"re-shoot", "re-measure", "re-aim"})
    reasons = [
        Reason(code=one.verdict, text=_told(name, one.verdict, one.reasons))
        for name, one in parts
        if one.verdict != "keep"
    ]
    for seam in seams:
        name = f"seam {seam.between[0]} to {seam.between[1]}"
        if seam.verdict == "not-judged":
            words.add("not-judged")
            told = _told(name, "not-judged", seam.reasons)
            reasons.append(Reason(code="seam-not-judged", text=told))
        elif seam.verdict == "beyond":
            words |= set() if named else {"not-judged"}
            code = "seam-beyond" if named else "cause-unknown"
            told = _told(name, "beyond", seam.reasons)
            text = told if named else f"cause unknown: {told}; nothing found is at fault"
            reasons.append(Reason(code=code, text=text))
    verdict: JobWord = next((word for word in WORST_FIRST if word in words), "not-judged")
    if not cameras:
        verdict = "not-judged"
        reasons.append(Reason(code="nothing-to-judge", text="no camera to judge"))
    every = [one for _, one in parts]
    return JobVerdict(verdict=verdict, reasons=_ordered(reasons), actions=_actions(every))


def exit_code(verdict: JobWord) -> int:
    """Exit code of a job's verdict: 0 keep, 3 something to do, 4 not judged."""
    return EXIT_CODES[verdict]


def _may_be_missing(mark: LayingVerdict) -> bool:
    may_be = {BOX_CORNER_NOT_FOUND, BOX_CORNER_NOT_JUDGED}
    return any(reason.code in may_be for reason in mark.reasons)


def _told(name: str, verdict: str, reasons: tuple[Reason, ...]) -> str:
    why = "; ".join(reason.text for reason in reasons)
    return f"{name}: {verdict}" + (f", {why}" if why else "")


def _ordered(reasons: list[Reason]) -> tuple[Reason, ...]:
    """Reasons in the order of the verdicts that they speak for, seams last."""
    order: dict[str, int] = {word: index for index, word in enumerate(WORST_FIRST)}
    return tuple(sorted(reasons, key=lambda reason: order.get(reason.code, len(order))))


def _actions(every: list[Part]) -> tuple[Action, ...]:
    """Everything to do: pictures first, then what was laid, then the cameras."""
    return tuple(
        action
        for word in WORST_FIRST
        for one in every
        if one.verdict == word
        for action in one.actions
    )
