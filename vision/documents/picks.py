"""The pick list: where a person has to pick each mark on a screen.

A display asks for marks one after the other. The list follows the strips in the order of the job
file, each from left to right as the picture shows it, then the single marks; of a board, its four
outer inner corners (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.inspection.inspected import InspectedCamera, Inspection
from vision.job.layout import Layout, PlannedMark, planned_layout
from vision.job.mark_id import MarkId
from vision.units.arrays import Array, freeze
from vision.units.reason import Reason


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pick:
    """One mark to pick: `number` counts from 1 in the order of picking, per camera.

    A board's corner that is not to be picked has the number 0.
    `pixel_px` (2,) in the picture as delivered; `screen_px` (2,) on the person's screen; `expected`
    where the mark was not measured and the place is the fit's; `reason` then says why.
    """

    camera: str
    number: int
    mark: MarkId
    pixel_px: Array
    screen_px: Array
    expected: bool
    reason: Reason | None = None

    def __post_init__(self) -> None:
        freeze(self, pixel_px=(2,), screen_px=(2,))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picked:
    """What a person picked: `mark` an id or a number of the list, `screen_px` (2,)."""

    camera: str
    mark: str
    screen_px: Array

    def __post_init__(self) -> None:
        freeze(self, screen_px=(2,))


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """Size in pixels at which a display shows the whole picture; None: the picture's own size."""

    width: int | None = None
    height: int | None = None

    def scale(self, found: InspectedCamera) -> Array:
        """Screen pixels for each picture pixel, (2,)."""
        own = np.array([found.picture.width, found.picture.height])
        return np.asarray(np.array([self.width or own[0], self.height or own[1]]) / own)

    def from_picture(self, found: InspectedCamera, pixels_px: Array) -> Array:
        """Screen pixels (..., 2) of pixels as delivered; whole numbers are centres in both."""
        return (np.asarray(pixels_px) + 0.5) * self.scale(found) - 0.5

    def to_picture(self, found: InspectedCamera, screen_px: Array) -> Array:
        """The inverse of `from_picture`."""
        return (np.asarray(screen_px) + 0.5) / self.scale(found) - 0.5


def pick_lists(inspection: Inspection, screen: Screen) -> dict[str, tuple[Pick, ...]]:
    """The marks to pick on each camera's picture, in order; none for a camera without a fit."""
    layout = planned_layout(inspection.job)
    return {
        camera.camera.name: tuple(pick for pick in places(camera, layout, screen) if pick.number)
        for camera in inspection.cameras
    }


def places(found: InspectedCamera, layout: Layout, screen: Screen) -> tuple[Pick, ...]:
    """Every point that the camera should show, in order of picking; none without a fit."""
    if found.plan_fit is None:
        return ()
    strips = list(dict.fromkeys(mark.strip for mark in layout.points))
    seen: list[tuple[PlannedMark, Array, bool, Reason | None]] = []
    across: dict[tuple[str | None, int], list[float]] = {}
    for mark in found.marks:
        if mark.status in ("hidden", "outside"):
            continue
        planned = layout.mark(mark.id)
        measured = mark.status == "used" and mark.pixel_px is not None
        pixel = mark.pixel_px if measured else expected_px(found, planned.centre_m)
        if pixel is not None:
            seen.append((planned, pixel, not measured, None if measured else mark.reason))
            across.setdefault((planned.strip, planned.index), []).append(float(pixel[0]))

    def order(each: tuple[PlannedMark, Array, bool, Reason | None]) -> tuple[int, float, float]:
        """Strip by strip, single marks last; panel by panel, and from left to right."""
        planned, pixel = each[:2]
        group = len(strips) if planned.strip is None else strips.index(planned.strip)
        panel = float(np.mean(across[planned.strip, planned.index]))
        return group, panel if planned.strip else 0.0, float(pixel[0])

    picks: list[Pick] = []
    number = 0
    for planned, pixel, expected, reason in sorted(seen, key=order):
        listed = _is_picked(layout, planned)
        number += listed
        picks.append(
            Pick(
                camera=found.camera.name,
                number=number if listed else 0,
                mark=planned.id,
                pixel_px=pixel,
                screen_px=screen.from_picture(found, pixel),
                expected=expected,
                reason=reason,
            )
        )
    return tuple(picks)


def _is_picked(layout: Layout, planned: PlannedMark) -> bool:
    """Whether a display would ask for this point: of a board, its four outer inner corners."""
    points = layout.mark_of(planned.id).shape.points
    if not points:
        return True
    last = points[-1]
    return planned.id.row in (0, last.row) and planned.id.column in (0, last.column)


def expected_px(found: InspectedCamera, place_m: Array) -> Array | None:
    """Where the plan fit puts a place (3,), in the picture as delivered; None outside of it."""
    fit = found.plan_fit
    if fit is None:
        return None
    pixel = fit.lens.project(fit.pose.transform(place_m))
    return found.picture.as_delivered(pixel) if fit.lens.contains(pixel) else None
