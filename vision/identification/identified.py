"""What identifying a picture gives: every mark's fate, or why there is no identity."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from vision.adjustment.plan_fit import PlanFit
from vision.camera.lens_prior import LensPrior
from vision.job.mark_id import MarkId
from vision.marks.measure.mark_fit import Measured
from vision.units.reason import Reason

Status = Literal["used", "rejected", "not-found", "hidden", "outside"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sighting:
    """What became of one mark of the layout in one picture.

    `measured` is in the picture turned back, None where nothing was measured; `reason` says why a
    mark is not used, None for one that is.
    """

    id: MarkId
    status: Status
    measured: Measured | None
    reason: Reason | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Identified:
    """One camera whose marks are known.

    `fit` is the plan fit to the measured marks, `sightings` one per mark of the layout in order;
    `nats` is what its marks add up to, `log10_odds` by what odds this naming is right against every
    other and against none; `contradicted` the share of what its marks say that speaks against it.
    """

    camera: str
    fit: PlanFit
    prior: LensPrior
    sightings: tuple[Sighting, ...]
    blur_px: float
    expected: int
    nats: float
    log10_odds: float
    contradicted: float

    @property
    def misfit(self) -> float:
        """Sum of squares of the plan fit per mark and found mark: less is better."""
        return self.fit.chi2 / max(int(self.fit.used.sum()), 1) ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class NotIdentified:
    """No pose can be named, and why; `nats` is what the marks of the best one add up to.

    `held` is what was found that would do, were it sure that the picture shows this layout.
    """

    camera: str
    reason: Reason
    nats: float = 0.0
    held: Identified | None = None

    @property
    def code(self) -> str:
        """The reason's code."""
        return self.reason.code


def with_lot(
    outcomes: Mapping[str, Identified | NotIdentified],
) -> dict[str, Identified | NotIdentified]:
    """The outcomes of a lot's cameras by name, where one is identified with what the others held.

    One picture that shows the layout says of the others, too, that they do.
    """
    known = any(isinstance(outcome, Identified) for outcome in outcomes.values())
    return {
        name: outcome.held
        if known and isinstance(outcome, NotIdentified) and outcome.held is not None
        else outcome
        for name, outcome in outcomes.items()
    }
