"""What the tape says of the layout before any picture: which strip is out, and which reading.

The readings of a job are adjusted alone, with the stated places of what was laid; the verdicts on
strips are those of `vision.inspection.verdict`, on the marks at a strip's ends.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from vision.adjustment.adjusted import AdjustedReading, AdjustedStrip, Adjustment
from vision.adjustment.groups import Group
from vision.adjustment.search import adjust_readings
from vision.camera.solver import NoFit
from vision.inspection.verdict.causes import causes
from vision.inspection.verdict.layings import LayingVerdict, mark_verdict, strip_verdict
from vision.inspection.verdict.reliability import Reliability, reliabilities
from vision.job.job import Job, LengthReading, Strip
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId, PlaceId
from vision.units.arrays import Array
from vision.units.length_words import METRIC, LengthWords
from vision.units.reason import Reason

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
    doubt: Literal["wrong", "perhaps"] | None
    slip: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StripFigures:
    """What the readings say of one strip: its ends against the plan and what would show.

    `ends_m` holds the shift (x, y) of the first and the last mark and `sigma_m` theirs; `sure_m`
    is the least shift of the whole strip that is named in 98 of 100 lots, infinite where no reading
    controls it.
    """

    name: str
    ends_m: tuple[tuple[float, float], tuple[float, float]]
    sigma_m: tuple[tuple[float, float], tuple[float, float]]
    sure_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeCheck:
    """The verdict on a layout by tape alone; `reasons` say what does not fit and why.

    `stated` is how each strip and reading stands: not only whether it fails, but whether a usual
    slip of it is refuted.
    """

    verdict: TapeCheckWord
    reasons: tuple[Reason, ...]
    layings: tuple[LayingVerdict, ...]
    strips: tuple[StripFigures, ...]
    readings: tuple[ReadLength, ...]
    stated: tuple[Reliability, ...] = ()
    lengths: LengthWords = METRIC

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
        return TapeCheck(
            verdict="not-judged",
            reasons=(Reason("nothing-read", why=found.reason),),
            layings=(),
            strips=(),
            readings=(),
            lengths=job.lengths,
        )
    named = {place for each in _lengths(job).values() for place in each.between}
    layings, figures = [], []
    for strip, adjusted in zip(job.strips, found.strips, strict=True):
        layings.append(_strip(job, strip, adjusted, named))
        if _is_named(strip, named):
            figures.append(_figures(strip, adjusted, found))
    for mark, place in zip(job.marks, found.marks, strict=True):
        if MarkId(mark.name) in named:
            here = replace(place, seen=True)
            layings.append(mark_verdict(mark, here, job.tolerances))
    readings = tuple(_readings(job, found))
    return TapeCheck(
        verdict=_verdict(layings, readings, tied=bool(found.freed_alternatives)),
        reasons=causes(job, found),
        layings=tuple(layings),
        strips=tuple(figures),
        readings=readings,
        # A strip's straightness shows in pictures only: what no reading bears on is not listed.
        stated=tuple(
            each
            for each in reliabilities(job, found)
            if found.groups[each.group].degrees_of_freedom or each.word != "cannot-tell"
        ),
        lengths=job.lengths,
    )


def _verdict(
    layings: list[LayingVerdict], readings: tuple[ReadLength, ...], *, tied: bool
) -> TapeCheckWord:
    words = {each.verdict for each in layings}
    if "re-measure" in words or any(each.doubt == "wrong" for each in readings):
        return "re-measure"
    return "not-judged" if tied or "not-judged" in words else "keep"


def _lengths(job: Job) -> dict[Group, LengthReading]:
    """The lengths among the readings, by the names that the adjustment gives them."""
    return {
        Group.of_reading(number): reading
        for number, reading in enumerate(job.readings, 1)
        if isinstance(reading, LengthReading)
    }


def _is_named(strip: Strip, named: set[PlaceId]) -> bool:
    return any(isinstance(place, MarkId) and place.strip == strip.name for place in named)


def _ends(strip: Strip, adjusted: AdjustedStrip) -> tuple[Array, Array]:
    """Shift (2, 2) of both ends against the plan, and covariances (2, 2, 2)."""
    shift = adjusted.ends_m - np.stack([strip.from_m, strip.to_m])
    blocks = [adjusted.covariance_m2[i : i + 2, i : i + 2] for i in (0, 2)]
    return shift, np.stack(blocks)


def _strip(job: Job, strip: Strip, adjusted: AdjustedStrip, named: set[PlaceId]) -> LayingVerdict:
    if not _is_named(strip, named):
        reason = Reason("not-read", strip=strip.name)
        return LayingVerdict(name=strip.name, verdict="not-judged", reasons=(reason,))
    shift, covariance = _ends(strip, adjusted)
    last = len(strip.at_m) - 1
    at_ends = replace(
        adjusted,
        mark_ids=(MarkId(strip.name, 0), MarkId(strip.name, last)),
        mark_shift_m=shift,
        mark_shift_covariance_m2=covariance,
        seen=True,
    )
    return strip_verdict(strip, at_ends, job.tolerances)


def _figures(strip: Strip, adjusted: AdjustedStrip, found: Adjustment) -> StripFigures:
    shift, covariance = _ends(strip, adjusted)
    sigma = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    return StripFigures(
        name=strip.name,
        ends_m=_pairs(shift),
        sigma_m=_pairs(sigma),
        sure_m=found.groups[Group("strip", strip.name)].faults["shift"].named,
    )


def _pairs(values: Array) -> tuple[tuple[float, float], tuple[float, float]]:
    (a, b), (c, d) = values.tolist()
    return (a, b), (c, d)


def _readings(job: Job, found: Adjustment) -> list[ReadLength]:
    tied = {group for tie in found.freed_alternatives for group in tie}
    every = []
    for adjusted in found.readings:
        reading = _lengths(job).get(adjusted.group)
        if reading is None:
            continue
        doubt: Literal["wrong", "perhaps"] | None = None
        if adjusted.group in tied:
            doubt = "perhaps"
        elif adjusted.group in found.freed:
            doubt = "wrong"
        sure_m = found.groups[adjusted.group].faults["shift"].named
        every.append(_read(reading, adjusted, sure_m, doubt))
    return every


def _read(
    reading: LengthReading,
    adjusted: AdjustedReading,
    sure_m: float,
    doubt: Literal["wrong", "perhaps"] | None,
) -> ReadLength:
    return ReadLength(
        group=adjusted.group,
        kind=reading.kind,
        between=reading.between,
        read_m=reading.value_m,
        fits_m=reading.value_m - float(adjusted.residual[0]),
        sigma_m=float(adjusted.sigma[0]),
        sure_m=sure_m,
        doubt=doubt,
        slip=adjusted.slip,
    )
