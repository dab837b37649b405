"""Why a mark is missing or refused, as far as the picture says: read at places of tape and ink.

The plan fit says where a mark's paper, its ink and the ground beside its tape would be seen. What
is there, beside what the used marks of the same ink show, tells a covered mark from a torn one, a
shadow or a mark too small. Nothing is claimed that these levels do not show.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.adjustment.plan_fit import PlanFit
from vision.identification.identified import Status
from vision.identification.inputs import IdentificationInput
from vision.identification.refusals import sizes_px
from vision.identification.settings import SETTINGS
from vision.job.body import body_hides
from vision.job.coverage import Blurred
from vision.job.layout import PlannedMark
from vision.job.visibility import d_pixel_d_mark
from vision.marks.measure.matching import MOST_COVERED, covered_share
from vision.units.arrays import Array
from vision.units.reason import Reason

BEHIND_BODY = Reason("behind-body")
HALVES = ("ahead", "behind", "left", "right")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levels:
    """Levels where paper, ink and ground ought to be, NaN where none is seen; and of each half.

    `contrast` is paper minus ink over their sum, signed so that a mark of its own ink is positive.
    """

    paper: float
    ground: float
    contrast: float
    halves: Array


class Evidence:
    """What the picture shows of each mark, beside the used ones."""

    def __init__(self, given: IdentificationInput, fit: PlanFit) -> None:
        self._given, self._fit = given, fit
        self._camera = fit.pose, fit.lens
        used = [
            given.layout.mark(point_id)
            for point_id, flag in zip(fit.points.ids, fit.used, strict=True)
            if flag
        ]
        # A dozen, spread over all, are enough for a median; and only where a mark is missing.
        self._used = used[:: max(1, len(used) // SETTINGS.references)]
        self._reference: tuple[float, float] | None = None

    def _of_used(self) -> tuple[float, float]:
        """Median contrast and paper level of used marks, NaN where none says."""
        if self._reference is None:
            seen = [levels for point in self._used if (levels := self._levels(point)) is not None]
            self._reference = (
                _median(np.array([each.contrast for each in seen])),
                _median(np.array([each.paper for each in seen])),
            )
        return self._reference

    def missing(self, point: PlannedMark) -> tuple[Status, Reason]:
        """Status and reason of a mark that was looked for and not measured."""
        pixel = self._fit.lens.project(self._fit.pose.transform(point.centre_m))
        if not self._fit.lens.contains(pixel):
            return "outside", Reason("outside-picture")
        if self._behind_body(point):
            return "hidden", BEHIND_BODY
        covered = self._given.picture.covered
        if covered is not None and covered_share(covered, *self._camera, [point])[0] > MOST_COVERED:
            return "hidden", Reason("drawn-over")
        size = float(sizes_px(self._camera, [point])[0])
        levels = self._levels(point)
        if levels is None:
            return "not-found", Reason("cut-off")
        if max(levels.paper, levels.ground) < SETTINGS.dark_level:
            return "not-found", Reason("dark-there")
        if size < (SETTINGS.small_square_px if point.is_corner else SETTINGS.small_px):
            return "not-found", Reason("too-small", size_px=size)
        return "not-found", self._seen(point, levels) or Reason("nothing-there")

    def refused(self, point: PlannedMark, refusal: Reason) -> tuple[Status, Reason]:
        """Status and reason of a mark that was measured and refused: what is seen, if anything.

        What is seen where the body hides a mark is part of it at the best, past a rounded edge.
        """
        if self._behind_body(point):
            return "hidden", Reason("partly-behind-body", refusal=refusal)
        return "rejected", self._rejected(point, refusal)

    def _behind_body(self, point: PlannedMark) -> bool:
        """Whether the body hides the mark's centre from the camera, as stated and as found.

        Either place may be some centimetres wrong.
        """
        places_m = self._given.camera.position_m, self._fit.pose.camera_in_ground_m
        vehicle, centre_m = self._given.job.vehicle, point.centre_m[None]
        return all(bool(body_hides(vehicle, place_m, centre_m)[0]) for place_m in places_m)

    def _rejected(self, point: PlannedMark, refusal: Reason) -> Reason:
        size = float(sizes_px(self._camera, [point])[0])
        if size < (SETTINGS.small_square_px if point.is_corner else SETTINGS.small_px):
            return Reason("small-and-refused", size_px=size, refusal=refusal)
        levels = self._levels(point)
        seen = self._seen(point, levels) if levels is not None else None
        return Reason("refused", seen=seen, refusal=refusal) if seen else refusal

    def _seen(self, point: PlannedMark, levels: Levels) -> Reason | None:
        """What the levels say is the matter, or None."""
        paper, ground = levels.paper, levels.ground
        sign = 1 if point.ink == "dark" else -1
        if min(paper, ground) > SETTINGS.burnt_level:
            return Reason("burnt-out")
        if np.isfinite(ground) and sign * (paper - ground) < 0.1 * max(paper, ground):
            return Reason("no-tape")
        contrast, usual_paper = self._of_used()
        if not (contrast > 0 and np.isfinite(levels.contrast)):
            return None
        share = levels.contrast / contrast
        halves = levels.halves / contrast
        if np.isfinite(halves).any():
            worst = int(np.nanargmin(halves))
            if (
                halves[worst] < SETTINGS.faint_contrast
                and halves[worst ^ 1] > SETTINGS.plain_contrast
            ):
                return Reason("half-covered", half=HALVES[worst])
        if share < SETTINGS.faint_contrast:
            return Reason("no-ink")
        if paper < SETTINGS.in_shadow * usual_paper:
            return Reason("in-shadow")
        return None

    def _levels(self, point: PlannedMark) -> Levels | None:
        """What is seen where a mark should be; None where the picture ends."""
        along, across = point.shape.half_extent_m
        steps = np.linspace(-1, 1, SETTINGS.level_steps)
        s, q = (grid.ravel() for grid in np.meshgrid(1.1 * along * steps, 1.1 * across * steps))
        _, jacobian = d_pixel_d_mark(*self._camera, [point])
        if not np.isfinite(jacobian).all():
            return None
        inverse = np.linalg.inv(jacobian[0])
        at = Blurred.under(s, q, inverse @ inverse.T, SETTINGS.focus_blur_px, slopes=False)
        ink = point.shape.ink(at).value
        grey = self._at(point, np.stack([s, q], axis=-1))
        if not np.isfinite(grey).all():
            return None
        parts = [np.ones(len(s), bool), s > 0, s < 0, q > 0, q < 0]
        contrasts = np.array([_contrast(grey[part], ink[part], point.ink) for part in parts])
        return Levels(
            paper=_median(grey[ink < SETTINGS.on_paper]),
            ground=self._ground(point, along),
            contrast=float(contrasts[0]),
            halves=contrasts[1:],
        )

    def _ground(self, point: PlannedMark, along: float) -> float:
        """Level of the ground on both sides of the tape; NaN for a mark on none."""
        half = 0.5 * (point.tape_width_m or 0.0)
        if point.shape.border_m:
            half = max(half, 0.5 * point.shape.extent_m[1])
        if half == 0 or point.is_corner:
            return float("nan")
        steps = along * np.linspace(-1, 1, SETTINGS.level_steps)
        places = np.array(
            [[s, side * SETTINGS.beside_tape * half] for s in steps for side in (-1, 1)]
        )
        return _median(self._at(point, places))

    def _at(self, point: PlannedMark, local: Array) -> Array:
        """Levels (n,) at places (n, 2) along a mark's own axes; NaN outside the picture."""
        c, n = np.cos(point.heading_rad), np.sin(point.heading_rad)
        turned = local @ np.array([[c, n], [-n, c]])
        places = point.centre_m + np.column_stack([turned, np.zeros(len(turned))])
        pixels = self._fit.lens.project(self._fit.pose.transform(places))
        inside = np.asarray(self._fit.lens.contains(pixels))
        u, v = np.where(inside[:, None], pixels, 0).round().astype(int).T
        height, width = self._given.picture.edges.grey.shape
        levels = self._given.picture.edges.grey[np.clip(v, 0, height - 1), np.clip(u, 0, width - 1)]
        return np.where(inside, levels, np.nan)


def _median(levels: Array) -> float:
    seen = levels[np.isfinite(levels)]
    return float(np.median(seen)) if seen.size else float("nan")


def _contrast(grey: Array, ink: Array, kind: str) -> float:
    paper, inked = _median(grey[ink < SETTINGS.on_paper]), _median(grey[ink > SETTINGS.on_ink])
    sign = 1.0 if kind == "dark" else -1.0
    return sign * (paper - inked) / max(paper + inked, 1.0)
