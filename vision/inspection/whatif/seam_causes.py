"""Why the views of a seam lie too far apart: the step that brings them together, by trying it.

A camera that looks elsewhere than intended does not by itself tear a seam: a display set from its
picture takes the aim in. What tears it is what misleads that setting, such as a strip laid out of
place. So every part that is to be seen to is put right in turn, displays are set anew on what the
cameras would then show, and the gap is measured again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from vision.adjustment.adjusted import Adjustment
from vision.inspection.inspected import Inspection
from vision.inspection.whatif.change import Change, Figure, SeamCause
from vision.inspection.whatif.forecast import (
    NONE,
    changed_adjustment,
    displays_anew,
    gap_figure,
    without_marks,
)
from vision.views.seams.gaps import measure_seam
from vision.views.seams.lines import SeamLine, seam_lines

Between = tuple[str, str]


def seam_causes(inspection: Inspection) -> tuple[SeamCause, ...]:
    """The cause of every seam that is beyond; nothing without a joint adjustment."""
    adjustment = inspection.adjustment
    torn = {seam.between for seam in inspection.seams if seam.verdict == "beyond"}
    if adjustment is None or not torn:
        return ()
    lines = [line for line in seam_lines(inspection.job) if line.between in torn]
    changes = _changes(inspection)
    alone = {name: _gaps(inspection, adjustment, each, lines) for name, each in changes.items()}
    every = _gaps(inspection, adjustment, _together(changes), lines) if len(changes) > 1 else {}
    return tuple(_cause(line.between, alone, every) for line in lines)


def _cause(
    between: Between, alone: dict[str, dict[Between, Figure]], every: dict[Between, Figure]
) -> SeamCause:
    """The one part that closes the gap most, all of them where none alone will do, or none."""
    closing = {
        name: gaps[between]
        for name, gaps in alone.items()
        if between in gaps and gaps[between].verdict in ("within", "not-judged")
    }
    if closing:
        name = min(closing, key=lambda each: closing[each].value_m)
        return SeamCause(between=between, parts=(name,), gap_then=closing[name])
    together = every.get(between, NONE)
    if between in every and together.verdict != "beyond":
        return SeamCause(between=between, parts=tuple(alone), gap_then=together)
    return SeamCause(between=between, parts=(), gap_then=NONE)


def _changes(inspection: Inspection) -> dict[str, Change]:
    """What seeing to each part would change: strips and marks laid as planned, cameras turned."""
    laid = (*inspection.strips, *inspection.raised_marks)
    out = [each.name for each in laid if each.verdict == "re-measure"]
    changes = {name: Change(laid=frozenset({name})) for name in out}
    for camera in inspection.cameras:
        turns = [action.turn_rad for action in camera.actions if action.turn_rad is not None]
        if turns:
            pan, tilt, roll = (sum(values) for values in zip(*turns, strict=True))
            changes[camera.name] = Change(turns_rad={camera.name: (pan, tilt, roll)})
    return changes


def _together(changes: dict[str, Change]) -> Change:
    turns = {name: turn for each in changes.values() for name, turn in each.turns_rad.items()}
    laid = frozenset(name for each in changes.values() for name in each.laid)
    return replace(Change(turns_rad=turns), laid=laid)


def _gaps(
    inspection: Inspection, adjustment: Adjustment, change: Change, lines: Sequence[SeamLine]
) -> dict[Between, Figure]:
    """The worst gap of some seams after `change`, displays set anew."""
    after = changed_adjustment(adjustment, change)
    fits, _ = displays_anew(inspection, after, change)
    kept = {name: without_marks(fit) for name, fit in fits.items()}
    job = inspection.job
    return {
        line.between: gap_figure(
            job, measure_seam(line, job.vehicle, kept, after, overlapping=False)
        )
        for line in lines
        if all(name in kept for name in line.between)
    }
