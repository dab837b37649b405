"""What is to be done, step by step, and what was found, line by line: for page and terminal alike.

A step names a thing, a direction and an amount; where it turns a camera in several ways each has a
line. What then is said to follow is the step's own, judged where the step was made.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from vision.documents.check_words.saying import Say
from vision.documents.check_words.words import say_check
from vision.documents.forecast_words import WORDS
from vision.inspection.inspected import (
    InspectedCamera,
    InspectedRaisedMark,
    InspectedSeam,
    InspectedStrip,
    Inspection,
)
from vision.inspection.verdict.jobs import WORST_FIRST
from vision.inspection.verdict.layings import MAY_BE_MISSING
from vision.inspection.verdict.rule import Action
from vision.inspection.whatif.change import SeamCause
from vision.units.reason import Reason

Part = InspectedCamera | InspectedStrip | InspectedRaisedMark

GOOD = ("keep", "within")
OUT = ("re-shoot", "re-measure", "re-aim", "beyond")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing to do: `head` says what, `lines` each turn of several, `how` what to go by.

    `then` is what follows. `owner` is the name of whose step it is, where the job has no list of
    its own; `part` what it is done to, None for the job.
    """

    part: Part | None
    action: Action
    owner: str
    head: str
    lines: tuple[str, ...] = ()
    how: tuple[str, ...] = ()
    then: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What was found of one thing: its `kind` and `name`, the verdict, and why in short."""

    kind: str
    name: str
    verdict: str
    why: str = ""


# ---------------------------------------------------------------------------------- what to do


def steps(inspection: Inspection) -> list[Step]:
    """What is to be done, in the order in which to do it: the job's own list, or everybody's."""
    say = say_check(inspection.job.lengths)
    return [_step(inspection, say, part, action) for part, action in _owned(inspection)]


def _owned(inspection: Inspection) -> list[tuple[Part | None, Action]]:
    parts: tuple[Part, ...] = (*inspection.cameras, *inspection.strips, *inspection.raised_marks)
    owners = [(part, action) for part in parts for action in part.actions]
    if inspection.actions:
        return [
            (next((part for part, each in owners if each == action), None), action)
            for action in inspection.actions
        ]
    ordered = sorted(owners, key=lambda each: WORST_FIRST.index(each[0].verdict))
    return [(part, action) for part, action in ordered]


def _step(inspection: Inspection, say: Say, part: Part | None, action: Action) -> Step:
    what = action.what
    owner = part.name if part and not inspection.actions else ""
    head = say.part(what, "head") or say(what)
    then = [say.part(what, "then")]
    if part is not None and what.code == "move-strip":
        then += _closing(inspection, part.name)
    ways = tuple(say.part(what, "ways").split("|"))
    return Step(
        part=part,
        action=action,
        owner=owner,
        head=head,
        lines=ways if len(ways) > 1 else (),
        how=tuple(filter(None, [say.part(what, "how")])),
        then=tuple(filter(None, then)),
    )


def _closing(inspection: Inspection, name: str) -> Iterator[str]:
    """What the seams that a part tears come to once it is seen to."""
    for cause in inspection.what_if.causes:
        if name in cause.parts:
            between = " - ".join(cause.between)
            yield f"then the seam {between} has {_gap_then(inspection, cause)}"


def _gap_then(inspection: Inspection, cause: SeamCause) -> str:
    gap = cause.gap_then
    said = inspection.job.lengths.cm(gap.value_m, gap.sigma_m)
    return f"a gap of {said}, {WORDS[gap.verdict]}"


# ------------------------------------------------------------------------------ what was found


def findings(inspection: Inspection) -> list[Finding]:
    """A line for each camera, and for each strip, mark or seam that is not as it should be.

    A carton's corner that may be missing is none of them.
    """
    say = say_check(inspection.job.lengths)
    found = [
        Finding(kind="camera", name=each.camera.name, verdict=each.verdict, why=_why(each, say))
        for each in inspection.cameras
    ]
    laid = [("strip", s) for s in inspection.strips]
    laid += [("mark", m) for m in inspection.raised_marks]  # type: ignore[misc]
    found += [
        Finding(kind=kind, name=each.name, verdict=each.verdict, why=_why(each, say))
        for kind, each in laid
        if each.verdict not in GOOD and not any(r.code in MAY_BE_MISSING for r in each.reasons)
    ]
    return found + [
        Finding(
            kind="seam",
            name=" - ".join(seam.between),
            verdict=seam.verdict,
            why=seam_words(inspection, seam, short=True),
        )
        for seam in inspection.seams
        if seam.verdict not in GOOD
    ]


def _why(part: Part, say: Say) -> str:
    """In short why a part is not kept: of what is beyond, else of what is open."""
    if part.verdict in GOOD:
        return ""
    wanted = "-beyond" if part.verdict in OUT else "-not-judged"
    own = [reason for reason in part.reasons if reason.code.endswith(wanted)]
    moved = [action.what for action in part.actions if action.what.code == "move-strip"]
    if moved:
        return "; ".join(say.part(each, "short") for each in moved)
    return "; ".join(_short(each, say) for each in own or part.reasons[:1])


def _short(reason: Reason, say: Say) -> str:
    own = say.part(reason, "short")
    if own:
        return own
    of, _, word = reason.code.partition("-")
    if word in ("beyond", "not-judged") and "straight_down" not in reason.arguments:
        short = say.part(Reason(of, **reason.arguments), "short", word=word)
        if short:
            return short
    return say(reason)


def seam_words(inspection: Inspection, seam: InspectedSeam, *, short: bool = False) -> str:
    """Where and how far the views of a seam lie apart, and what tears it, by its step."""
    say = say_check(inspection.job.lengths)
    text = "; ".join(_short(each, say) if short else say(each) for each in seam.reasons[:1])
    cause = next((c for c in inspection.what_if.causes if c.between == seam.between), None)
    if cause is None:
        return text
    if not cause.parts:
        return f"{text}. Nothing that is to be done explains it"
    numbers = [
        str(number)
        for number, (part, _) in enumerate(_owned(inspection), start=1)
        if part is not None and part.name in cause.parts
    ]
    names = " and ".join(f"the {_called(inspection, name)}" for name in cause.parts)
    at = f", step{'s' if len(numbers) > 1 else ''} {' and '.join(numbers)}" if numbers else ""
    return f"{text}. Cause: {names}{at}"


def _called(inspection: Inspection, name: str) -> str:
    kinds = {each.name: "strip" for each in inspection.strips}
    kinds |= {each.camera.name: "camera" for each in inspection.cameras if each.name not in kinds}
    return f"{name} {kinds[name]}" if name in kinds else name
