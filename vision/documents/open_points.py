"""What a check leaves open and why, a line for each cause: terminal and page say it at the head."""

from __future__ import annotations

from collections.abc import Iterator

from vision.adjustment.groups import Group
from vision.documents.check_words.words import say_check, warning_texts
from vision.inspection.inspected import InspectedMark, Inspection
from vision.inspection.verdict.layings import MAY_BE_MISSING
from vision.job.mark_id import MarkId
from vision.units.reason import Reason

FOLLOWS = {"significant-within", "neighbour-not-identified"}
"""Reasons that are none of their own: a difference that is allowed, and a seam whose camera has no
fit, of which that camera's own line says why."""
NEVER_SEEN = {"too-small", "small-and-refused", "dark-there"}
"""Reasons of marks that are the picture's and not the mark's: nobody need go and look."""
MOST_NAMES = 6
IN_THE_MARGIN = {"cannot-tell", "unobserved"}
"""Warnings that ask for nothing today: on the page they stand with how sure everything is."""
OF_WHAT_WAS_LAID = {"strip", "bow", "mark"}
"""Whose own verdict says what to do: that what was typed of them was not used stands there too."""


def warnings_apart(inspection: Inspection) -> tuple[list[str], list[str]]:
    """The warnings that ask somebody to act, and those that only say how sure it all is."""
    texts = warning_texts(inspection)
    told: list[str] = []
    noted = list(texts[len(inspection.warnings) :])
    for reason, text in zip(inspection.warnings, texts, strict=False):
        (noted if _in_the_margin(reason) else told).append(text)
    return told, noted


def _in_the_margin(reason: Reason) -> bool:
    if reason.code != "does-not-fit":
        return reason.code in IN_THE_MARGIN
    what = reason.arguments["what"]
    group = what.arguments.get("group") if isinstance(what, Reason) else None
    return isinstance(group, Group) and group.kind in OF_WHAT_WAS_LAID


def open_points(inspection: Inspection) -> list[str]:
    """What is not judged and why, then what no picture shows where it should be."""
    say = say_check(inspection.job.lengths)
    by_cause: dict[str, list[str]] = {}
    for who, why, unexplained in _causes(inspection):
        cause = say.together(why)
        cause += "; nothing that was found explains it" if unexplained else ""
        by_cause.setdefault(cause, []).append(who)
    lines = [f"{', '.join(who)}: {cause}" for cause, who in by_cause.items()]
    names = _unplaced(inspection)
    if names:
        lines.append(
            f"no picture shows {_listed(names)} where planned, so nothing is said of"
            f" {'its place' if len(names) == 1 else 'their places'}: go and look, and tape it from"
            " its neighbours"
        )
    return lines


def _causes(inspection: Inspection) -> Iterator[tuple[str, list[Reason], bool]]:
    """Who is not judged, why, and whether it is beyond what is allowed for no known cause."""
    for who, verdict, reasons in _judged(inspection):
        why = [each for each in reasons if each.code not in FOLLOWS]
        if any(each.code in MAY_BE_MISSING for each in why):
            continue
        if verdict == "not-judged" and why:
            yield who, why, False
        elif verdict == "beyond" and inspection.verdict == "not-judged":
            yield who, why, True


def _judged(inspection: Inspection) -> Iterator[tuple[str, str, tuple[Reason, ...]]]:
    for camera in inspection.cameras:
        yield f"{camera.camera.name} camera", camera.verdict, camera.reasons
    for strip in inspection.strips:
        yield f"{strip.name} strip", strip.verdict, strip.reasons
    for mark in inspection.raised_marks:
        yield mark.name, mark.verdict, mark.reasons
    for seam in inspection.seams:
        yield f"seam {' - '.join(seam.between)}", seam.verdict, seam.reasons


def _unplaced(inspection: Inspection) -> list[MarkId]:
    """Marks of strips that some picture ought to show and none could use; a board is one mark."""
    strips = {strip.name for strip in inspection.strips}
    used: set[object] = set()
    missed: dict[MarkId, None] = {}
    # A picture of which no mark is known says nothing of any: that is told of its camera.
    known = [camera for camera in inspection.cameras if camera.plan_fit is not None]
    for mark in (mark for camera in known for mark in camera.marks):
        if mark.id.strip not in strips:
            continue
        if mark.status == "used":
            used.add(mark.id.mark)
        elif mark.status in ("rejected", "not-found") and _due(mark):
            missed[mark.id.mark] = None
    said = [*inspection.warnings, *(each for s in inspection.strips for each in s.reasons)]
    used |= {each.arguments["mark"] for each in said if each.code == "stray-mark"}
    return [mark for mark in missed if mark not in used]


def _due(mark: InspectedMark) -> bool:
    """Whether the picture was good enough there to show the mark."""
    return mark.reason is None or mark.reason.code not in NEVER_SEEN


def _listed(names: list[MarkId]) -> str:
    shown = [str(name) for name in names[:MOST_NAMES]]
    if len(names) > MOST_NAMES:
        shown.append(f"{len(names) - MOST_NAMES} more")
    *first, last = shown
    return f"{', '.join(first)} and {last}" if first else last
