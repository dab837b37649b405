"""What an inspection finds, as values: one for the job and one for each thing that is judged."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vision.adjustment.adjusted import (
    AdjustedCamera,
    AdjustedMark,
    AdjustedStrip,
    Adjustment,
)
from vision.adjustment.plan_fit import PlanFit
from vision.inspection.verdict.pictures import PictureVerdict
from vision.inspection.verdict.reliability import Reliability
from vision.inspection.verdict.rule import Action
from vision.inspection.whatif.change import WhatIf
from vision.job.job import Camera, Job
from vision.job.mark_id import MarkId
from vision.marks.picture import Picture
from vision.units.arrays import Array, frozen_array
from vision.units.reason import Reason
from vision.views.seam_edges import EdgeCrossing
from vision.views.seams.gaps import SeamGap
from vision.views.sharpness.blur import Sharpness
from vision.views.texture.shift import NoTexture, TextureShift

MARK_STATUSES = ("used", "rejected", "not-found", "hidden", "outside")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InspectedMark:
    """One mark (or one corner of a board) as one camera saw it.

    `pixel_px` (2,) and `residual_px` (2,) are in the picture as delivered, also when it is
    mirrored, and `covariance_px2` (2, 2) with them; `planned_m` (3,) in ground coordinates;
    `residual_m` (2,) on the mark's own height plane. Residuals are measured minus predicted by the
    plan fit. None where there is no such figure; `reason` then says why.
    """

    id: MarkId
    status: str
    planned_m: Array
    pixel_px: Array | None = None
    covariance_px2: Array | None = None
    residual_px: Array | None = None
    residual_m: Array | None = None
    reason: Reason | None = None

    def __post_init__(self) -> None:
        if self.status not in MARK_STATUSES:
            raise ValueError(f"status: expected one of {MARK_STATUSES}, found {self.status!r}")
        object.__setattr__(self, "planned_m", frozen_array(self.planned_m, (3,), "planned_m"))
        shapes: dict[str, tuple[int | None, ...]] = {
            "pixel_px": (2,),
            "covariance_px2": (2, 2),
            "residual_px": (2,),
            "residual_m": (2,),
        }
        for name, shape in shapes.items():
            value = getattr(self, name)
            if value is not None:
                # A residual on the ground is NaN where the ray does not reach it: no figure.
                known = bool(np.isfinite(value).all())
                object.__setattr__(self, name, frozen_array(value, shape, name) if known else None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InspectedCamera:
    """One camera: its picture, its marks, both fits (None where there is none) and its verdict.

    `ray_from_ground` (3, 3) is the ground map of the plan fit; `blur_px` is scaled to 1280 px
    width. `sharpness` and `picture_verdict`: figures of the picture itself, and what they mean.
    """

    camera: Camera
    picture: Picture
    verdict: str
    reasons: tuple[Reason, ...] = ()
    actions: tuple[Action, ...] = ()
    blur_px: float | None = None
    marks: tuple[InspectedMark, ...] = ()
    plan_fit: PlanFit | None = None
    ray_from_ground: Array | None = None
    adjusted: AdjustedCamera | None = None
    sharpness: Sharpness | None = None
    picture_verdict: PictureVerdict | None = None

    def __post_init__(self) -> None:
        if self.ray_from_ground is not None:
            rays = frozen_array(self.ray_from_ground, (3, 3), "ray_from_ground")
            object.__setattr__(self, "ray_from_ground", rays)

    @property
    def marks_expected(self) -> int:
        """How many marks the picture should show: all but the hidden and those outside."""
        return sum(mark.status in ("used", "rejected", "not-found") for mark in self.marks)

    @property
    def marks_used(self) -> int:
        """How many marks took part in the joint adjustment, or in the plan fit without one."""
        return sum(mark.status == "used" for mark in self.marks)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InspectedStrip:
    """One strip: where it lies against the plan (None where it could not be had), its verdict."""

    name: str
    verdict: str
    reasons: tuple[Reason, ...] = ()
    actions: tuple[Action, ...] = ()
    adjusted: AdjustedStrip | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InspectedRaisedMark:
    """One raised mark: where it stands against the plan, and its verdict."""

    name: str
    verdict: str
    reasons: tuple[Reason, ...] = ()
    actions: tuple[Action, ...] = ()
    adjusted: AdjustedMark | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InspectedSeam:
    """One seam between two neighbouring cameras, and its verdict."""

    between: tuple[str, str]
    verdict: str
    reasons: tuple[Reason, ...] = ()
    gap: SeamGap | None = None
    edges: tuple[EdgeCrossing, ...] = ()
    texture: TextureShift | NoTexture | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inspection:
    """Everything that was found about a job.

    `variance_factor` is that of the joint adjustment, near 1 when the stated sigmas are right; None
    where there was no adjustment or nothing to spare. `adjustment` is all of it, for predictions.
    `stated` is how each thing that was stated stands, the most suspect first; `what_if` what turns
    and small changes would do.
    """

    job: Job
    verdict: str
    cameras: tuple[InspectedCamera, ...]
    actions: tuple[Action, ...] = ()
    strips: tuple[InspectedStrip, ...] = ()
    raised_marks: tuple[InspectedRaisedMark, ...] = ()
    seams: tuple[InspectedSeam, ...] = ()
    warnings: tuple[Reason, ...] = ()
    stated: tuple[Reliability, ...] = ()
    variance_factor: float | None = None
    adjustment: Adjustment | None = None
    what_if: WhatIf = field(default_factory=WhatIf)
