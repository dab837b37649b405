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
from vision.camera.geometry import Aim
from vision.inspection.verdict.layings import LayingVerdict
from vision.inspection.verdict.pictures import PictureVerdict
from vision.inspection.verdict.reliability import Reliability
from vision.inspection.verdict.rule import Action
from vision.inspection.verdict.seams import SeamVerdict
from vision.inspection.whatif.change import WhatIf
from vision.job.job import Camera, Job, Tolerances, Vehicle, VehicleState
from vision.job.mark_id import MarkId
from vision.marks.picture import Picture
from vision.marks.sources.origin import Source
from vision.units.arrays import Array, frozen_array
from vision.units.plain import also_written, written, written_keys
from vision.units.reason import Reason
from vision.views.seam_edges import EdgeCrossing
from vision.views.seams.gaps import SeamGap
from vision.views.texture.shift import Agreement, NoTexture, TextureShift, texture_agreement

MARK_STATUSES = ("used", "rejected", "not-found", "hidden", "outside")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InspectedMark:
    """One mark (or one corner of a board) as one camera saw it.

    `pixel_px` (2,) and `residual_px` (2,) are in the picture as delivered, also when it is
    mirrored, and `covariance_px2` (2, 2) with them; `origin` says where that picture lies in the
    file it was made of; `planned_m` (3,) in ground coordinates;
    `residual_m` (2,) on the mark's own height plane. Residuals are measured minus predicted by the
    plan fit. None where there is no such figure; `reason` then says why.
    """

    id: MarkId = written()
    status: str = written()
    pixel_px: Array | None = None
    origin: Source | None = None

    @property
    @also_written(3, key="pixel")
    def source_px(self) -> Array | None:
        """Its pixel in the file that the picture was made of."""
        if self.pixel_px is None or self.origin is None:
            return self.pixel_px
        return self.origin.in_file(self.pixel_px)

    covariance_px2: Array | None = written(5, significant=True, default=None)
    planned_m: Array = written(5)
    residual_px: Array | None = written(3, default=None)
    residual_m: Array | None = written(5, default=None)
    reason: Reason | None = written(text=True, optional=True, default=None)

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

    @property
    @also_written(optional=True)
    def reason_code(self) -> str | None:
        """The code of the reason."""
        return None if self.reason is None else self.reason.code

    @property
    def why_missing(self) -> dict[str, Reason]:
        """Why there is no such figure, by its key."""
        if self.pixel_px is None:
            why = self.reason or Reason("mark-unmeasured", status=self.status)
            return dict.fromkeys(("pixel", "covariance_px2", "residual_px", "residual_m"), why)
        unfitted = Reason("no-fit-to-mark") if self.residual_px is None else Reason("ray-misses")
        return dict.fromkeys(("residual_px", "residual_m"), unfitted)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TakenPicture:
    """A picture with the blur of its marks at 1280 px width; None where none was fitted."""

    picture: Picture = written(flat=Picture)
    blur_px: float | None = written(3, missing="no-blur")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MappedFit:
    """A plan fit with its ground map, `ray_from_ground` (3, 3)."""

    fit: PlanFit = written(flat=PlanFit)
    ray_from_ground: Array | None = written(10, significant=True, missing="no-ground-map")


@dataclass(frozen=True, slots=True, kw_only=True)
class Naming:
    """By what odds the marks of a picture are named rightly: 10,000 to 1 at the least."""

    log10_odds: float = written(1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InspectedCamera:
    """One camera: its picture, its marks, both fits (None where there is none) and its verdict.

    `ray_from_ground` (3, 3) is the ground map of the plan fit; `blur_px` is scaled to 1280 px
    width. `picture_verdict`: figures of the picture itself, and what they mean. `naming` is None
    where the marks are not named.
    """

    @property
    @also_written()
    def name(self) -> str:
        """The camera's name."""
        return self.camera.name

    camera: Camera
    picture: Picture
    verdict: str = written()
    reasons: tuple[Reason, ...] = written(default=())
    actions: tuple[Action, ...] = written(default=())
    blur_px: float | None = None
    plan_fit: PlanFit | None = None
    ray_from_ground: Array | None = None

    @property
    @also_written(key="intended_aim_deg")
    def intended_aim(self) -> Aim:
        """How it is meant to look."""
        return self.camera.aim

    @property
    @also_written(key="picture")
    def taken(self) -> TakenPicture:
        """Its picture, as a result says it."""
        return TakenPicture(picture=self.picture, blur_px=self.blur_px)

    naming: Naming | None = written(optional=True, default=None)
    picture_verdict: PictureVerdict | None = written(key="sharpness", optional=True, default=None)

    @property
    @also_written()
    def marks_expected(self) -> int:
        """How many marks the picture should show: all but the hidden and those outside."""
        return sum(mark.status in ("used", "rejected", "not-found") for mark in self.marks)

    @property
    @also_written()
    def marks_used(self) -> int:
        """How many marks took part in the joint adjustment, or in the plan fit without one."""
        return sum(mark.status == "used" for mark in self.marks)

    @property
    @also_written(key="plan_fit", missing="no-plan-fit")
    def mapped_fit(self) -> MappedFit | None:
        """Its plan fit, as a result says it."""
        fit, rays = self.plan_fit, self.ray_from_ground
        return None if fit is None else MappedFit(fit=fit, ray_from_ground=rays)

    adjusted: AdjustedCamera | None = written(key="joint", missing="no-joint", default=None)
    marks: tuple[InspectedMark, ...] = written(default=())

    def __post_init__(self) -> None:
        if self.ray_from_ground is not None:
            rays = frozen_array(self.ray_from_ground, (3, 3), "ray_from_ground")
            object.__setattr__(self, "ray_from_ground", rays)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InspectedStrip(LayingVerdict):
    """One strip: where it lies against the plan (None where it could not be had), its verdict."""

    adjusted: AdjustedStrip | None = None

    @property
    @also_written(flat=AdjustedStrip)
    def placed(self) -> AdjustedStrip | None:
        """Where it lies; None unseen: the adjustment then only hands the plan back."""
        return self.adjusted if self.adjusted and self.adjusted.seen else None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InspectedRaisedMark(LayingVerdict):
    """One raised mark: where it stands against the plan, and its verdict."""

    adjusted: AdjustedMark | None = None

    @property
    @also_written(flat=AdjustedMark)
    def placed(self) -> AdjustedMark | None:
        """Where it stands, likewise."""
        return self.adjusted if self.adjusted and self.adjusted.seen else None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InspectedSeam(SeamVerdict):
    """One seam between two neighbouring cameras, and its verdict."""

    @property
    @also_written()
    def shared_marks(self) -> int:
        """How many marks on the ground near it both cameras show."""
        return self.gap.shared_marks if self.gap else 0

    gap: SeamGap | None = written(flat=SeamGap, default=None)

    @property
    @also_written()
    def texture_verdict(self) -> str:
        """Whether the ground's texture says what the marks say."""
        return self.agreement.verdict if self.agreement else "cannot-tell"

    @property
    @also_written(flat=TextureShift)
    def texture_shift(self) -> TextureShift | None:
        """How far the two drawings of the ground lie apart at the seam's middle."""
        return self.texture if isinstance(self.texture, TextureShift) else None

    @property
    @also_written(flat=Agreement)
    def agreement(self) -> Agreement | None:
        """That shift beside the gap that the marks say there."""
        shift = self.texture_shift
        return texture_agreement(shift, self.gap) if shift and self.gap else None

    edges: tuple[EdgeCrossing, ...] = written(key="tape_edges", default=())
    texture: TextureShift | NoTexture | None = None

    @property
    def why_missing(self) -> dict[str, Reason]:
        """Why there is no such figure, by its key."""
        no_gap = Reason("not-in-both") if self.gap else Reason("no-gap")
        why = dict.fromkeys((*written_keys(SeamGap), "gap_m", "gap_sigma_m", "gap_at_m"), no_gap)
        if self.gap:
            why["overlap_m"] = Reason("seam-too-near")
        no_texture = Reason("no-two-views")
        if isinstance(self.texture, NoTexture):
            no_texture = Reason("no-texture", why=self.texture.reason)
        keys = (*written_keys(TextureShift), *written_keys(Agreement))
        return why | dict.fromkeys(keys, no_texture)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inspection:
    """Everything that was found about a job.

    `variance_factor` is that of the joint adjustment, near 1 when the stated sigmas are right; None
    where there was no adjustment or nothing to spare. `adjustment` is all of it, for predictions.
    `stated` is how each thing that was stated stands, the most suspect first; `what_if` what turns
    and small changes would do.
    """

    @property
    @also_written(key="job")
    def job_name(self) -> str:
        """What the job is called."""
        return self.job.name

    job: Job
    verdict: str = written()
    actions: tuple[Action, ...] = written(default=())

    @property
    @also_written()
    def vehicle(self) -> Vehicle:
        """The job's, as the two below."""
        return self.job.vehicle

    @property
    @also_written()
    def vehicle_state(self) -> VehicleState:
        """How the vehicle stood."""
        return self.job.vehicle.state

    @property
    @also_written(optional=True)
    def recheck_days(self) -> int | None:
        """How long a check is good for."""
        return self.job.recheck_days

    @property
    @also_written()
    def tolerances(self) -> Tolerances:
        """What was accepted."""
        return self.job.tolerances

    variance_factor: float | None = written(4, missing="no-variance-factor", default=None)
    cameras: tuple[InspectedCamera, ...] = written()
    strips: tuple[InspectedStrip, ...] = written(default=())
    raised_marks: tuple[InspectedRaisedMark, ...] = written(default=())
    seams: tuple[InspectedSeam, ...] = written(default=())
    stated: tuple[Reliability, ...] = written(default=())
    warnings: tuple[Reason, ...] = ()
    adjustment: Adjustment | None = None
    what_if: WhatIf = field(default_factory=WhatIf)
