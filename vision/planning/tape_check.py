"""What the tape says of the layout before any picture: which strip is out, and which reading.

The readings of a job are adjusted alone, with the stated places of what was laid; the verdicts on
strips are those of `vision.inspection.verdict`, on the marks at a strip's ends.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from vision.adjustment.adjusted import AdjustedStrip, Adjustment
from vision.adjustment.groups import Group
from vision.adjustment.search import adjust_readings
from vision.camera.solver import NoFit
from vision.inspection.verdict.causes import causes
from vision.inspection.verdict.layings import LayingVerdict, mark_verdict, strip_verdict
from vision.inspection.verdict.reliability import Reliability, reliabilities
from vision.job.job import Job, LengthReading, Strip
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId, PlaceId
from vision.units.arrays import Array, freeze
from vision.units.reason import Reason

Doubt = Literal["wrong", "perhaps"]
TapeCheckWord = Literal["re-measure", "not-judged", "keep"]
EXIT_CODES: dict[TapeCheckWord, int] = {"keep": 0, "re-measure": 3, "not-judged": 4}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadLength:
    """One length as read and as the rest says: metres, with the sigma of what the rest says.

    `sure_m` is the least error of it that is named in 98 of 100 lots, infinite where none is;
    `doubt` is 'wrong' where the data say that it is this reading, 'perhaps' where it ties with
    something else, else None.
    """

    group: Group
    kind: str
    between: tuple[PlaceId, ...]
    read_m: float
    fits_m: float
    sigma_m: float
    sure_m: float
    doubt: Doubt | None
    blunder_m: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripFigures:
    """What the readings say of one strip: its ends against the plan and what would show.

    `ends_m` (2, 2) holds the shift (x, y) of the first and the last mark and `sigma_m` theirs;
    `sure_m` is the least shift of the whole strip that is named in 98 of 100 lots, infinite where
    no reading controls it.
    """

    name: str
    ends_m: Array
    sigma_m: Array
    sure_m: float

    def __post_init__(self) -> None:
        freeze(self, ends_m=(2, 2), sigma_m=(2, 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeCheck:
    """The verdict on a layout by tape alone; `reasons` say what does not fit and why.

    `stated` is how each strip and reading stands: not only whether it fails, but whether a usual
    slip of it is refuted.
    """

    verdict: TapeCheckWord
    reasons: tuple[Reason, ...]
    layings: tuple[LayingVerdict, ...] = ()
    strips: tuple[StripFigures, ...] = ()
    readings: tuple[ReadLength, ...] = ()
    stated: tuple[Reliability, ...] = ()

    @property
    def exit_code(self) -> int:
        """0 keep, 3 something to re-measure, 4 not judged."""
        return EXIT_CODES[self.verdict]


def check_tape(job: Job) -> TapeCheck:
    """Adjust the readings of a job alone and judge every strip and mark that they name.

    What no reading names is not judged. Angles need pictures and take no part.
    """
    found = adjust_readings(job, planned_layout(job))
    if isinstance(found, NoFit):
        reason = Reason("nothing-read", why=found.reason)
        return TapeCheck(verdict="not-judged", reasons=(reason,))
    taped = [each for each in job.readings if isinstance(each, LengthReading)]
    ids = [place for each in taped for place in each.between if isinstance(place, MarkId)]
    named = {each.name for each in ids}
    strips = list(zip(job.strips, found.strips, strict=True))
    layings = [_strip(job, *pair, read=pair[0].name in named) for pair in strips]
    for mark, place in zip(job.marks, found.marks, strict=True):
        if mark.name in named:
            layings.append(mark_verdict(mark, replace(place, seen=True), job.tolerances))
    readings = tuple(_readings(job, found))
    return TapeCheck(
        verdict=_verdict(layings, readings, tied=bool(found.freed_alternatives)),
        reasons=causes(job, found),
        layings=tuple(layings),
        strips=tuple(_figures(*pair, found) for pair in strips if pair[0].name in named),
        readings=readings,
        # A strip's straightness shows in pictures only: what no reading bears on is not listed.
        stated=tuple(
            each
            for each in reliabilities(job, found)
            if found.groups[each.group].degrees_of_freedom or each.word != "cannot-tell"
        ),
    )


def _verdict(
    layings: list[LayingVerdict], readings: tuple[ReadLength, ...], *, tied: bool
) -> TapeCheckWord:
    words = {each.verdict for each in layings}
    if "re-measure" in words or any(each.doubt == "wrong" for each in readings):
        return "re-measure"
    return "not-judged" if tied or "not-judged" in words else "keep"


def _ends(strip: Strip, adjusted: AdjustedStrip) -> tuple[Array, Array]:
    """Shift (2, 2) of both ends against the plan, and covariances (2, 2, 2)."""
    shift = adjusted.ends_m - np.stack([strip.from_m, strip.to_m])
    return shift, np.stack([adjusted.covariance_m2[i : i + 2, i : i + 2] for i in (0, 2)])


def _strip(job: Job, strip: Strip, adjusted: AdjustedStrip, *, read: bool) -> LayingVerdict:
    if not read:
        reason = Reason("not-read", strip=strip.name)
        return LayingVerdict(name=strip.name, verdict="not-judged", reasons=(reason,))
    shift, covariance = _ends(strip, adjusted)
    at_ends = replace(
        adjusted,
        mark_ids=(MarkId(strip.name, 0), MarkId(strip.name, len(strip.at_m) - 1)),
        mark_shift_m=shift,
        mark_shift_covariance_m2=covariance,
        seen=True,
    )
    return strip_verdict(strip, at_ends, job.tolerances)


def _figures(strip: Strip, adjusted: AdjustedStrip, found: Adjustment) -> StripFigures:
    shift, covariance = _ends(strip, adjusted)
    return StripFigures(
        name=strip.name,
        ends_m=shift,
        sigma_m=np.sqrt(np.diagonal(covariance, axis1=1, axis2=2)),
        sure_m=found.groups[Group("strip", strip.name)].faults["shift"].named,
    )


def _readings(job: Job, found: Adjustment) -> Iterator[ReadLength]:
    tied = {group for tie in found.freed_alternatives for group in tie}
    for adjusted in found.readings:
        reading = job.readings[adjusted.group.reading]
        if not isinstance(reading, LengthReading):
            continue
        doubt: Doubt | None = "wrong" if adjusted.group in found.freed else None
        yield ReadLength(
            group=adjusted.group,
            kind=reading.kind,
            between=reading.between,
            read_m=reading.value_m,
            fits_m=reading.value_m - float(adjusted.residual[0]),
            sigma_m=float(adjusted.sigma[0]),
            sure_m=found.groups[adjusted.group].faults["shift"].named,
            doubt="perhaps" if adjusted.group in tied else doubt,
            blunder_m=adjusted.blunder_m,
        )
