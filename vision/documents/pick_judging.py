"""Picks judged one by one: how far off, and what was picked in the mark's place.

A pick is judged against the place that was measured, or that the fit expects; where it is off, the
features of the mark (arms' ends, corners, the tape's edge) and the other marks are candidates for
what it is on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.documents.picks import Pick, Picked, Screen, expected_px, places
from vision.inspection.inspected import InspectedCamera, Inspection
from vision.job.kinds.mark_shape import Way
from vision.job.layout import Layout, PlannedMark, planned_layout
from vision.job.mark_id import MarkId
from vision.units.arrays import Array
from vision.units.reason import Reason
from vision.views.ground import ground_map

GOOD_PX = 1.5
"""Of the screen: a steady hand with a cursor of whole pixels; common practice, no source."""
GOOD_M = 0.005
"""On the ground: nobody lays tape better, so a far mark need not be picked better."""
FEATURE_PX = 3.0
FEATURE_SHARE = 0.45
"""A feature is named where the pick is at least this much nearer to it than to the centre."""
MIRRORED_LEAST = 4

ALIKE_PX = 0.5
"""Less is no way off, on a screen of whole pixels."""

PickVerdict = Literal["good", "off", "not-judged"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JudgedPick:
    """A pick with its verdict; `off_px` (2,) on the screen, right and down; `off_m` on the ground.

    Both None where the pick cannot be judged.
    """

    picked: Picked
    mark: str
    verdict: PickVerdict
    reason: Reason
    off_px: Array | None = None
    off_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    """A camera's picture on a person's screen, with the place of each of its marks."""

    found: InspectedCamera
    layout: Layout
    screen: Screen
    picks: Sequence[Pick]


def judge_picks(
    inspection: Inspection, screen: Screen, picked: Sequence[Picked]
) -> tuple[JudgedPick, ...]:
    """Judge each pick against the mark it is for, and say what was picked where it is off."""
    layout = planned_layout(inspection.job)
    every = {
        each.camera.name: _Shown(
            found=each,
            layout=layout,
            screen=screen,
            picks=places(each, layout, screen),
        )
        for each in inspection.cameras
    }
    mirrored = {
        name
        for name, shown in every.items()
        if _look_mirrored(shown, [each for each in picked if each.camera == name])
    }
    over = Reason("picks-mirrored")
    return tuple(
        JudgedPick(picked=each, mark=each.mark, verdict="off", reason=over)
        if each.camera in mirrored
        else _judged(every.get(each.camera), each)
        for each in picked
    )


def _named(picks: Sequence[Pick], mark: str) -> Pick | None:
    """The pick of a mark's id, or of a number in the list."""
    for pick in picks:
        if mark == str(pick.mark) or (pick.number and mark == str(pick.number)):
            return pick
    return None


def _look_mirrored(shown: _Shown, picked: Sequence[Picked]) -> bool:
    """Whether the picks lie far off as they are, and all but on their marks turned over."""
    width = shown.screen.width or shown.found.picture.width
    straight, over = [], []
    for each in picked:
        pick = _named(shown.picks, each.mark)
        if pick is not None:
            straight.append(np.linalg.norm(each.screen_px - pick.screen_px))
            turned = np.array([width - 1 - each.screen_px[0], each.screen_px[1]])
            over.append(np.linalg.norm(turned - pick.screen_px))
    if len(over) < MIRRORED_LEAST:
        return False
    return bool(np.median(over) < 3 * GOOD_PX and np.median(straight) > 10 * GOOD_PX)


def _judged(shown: _Shown | None, each: Picked) -> JudgedPick:
    if shown is None or shown.found.plan_fit is None:
        reason = Reason("no-fit-to-judge-by", camera=each.camera)
        return JudgedPick(picked=each, mark=each.mark, verdict="not-judged", reason=reason)
    pick = _named(shown.picks, each.mark)
    if pick is None:
        reason = Reason("not-to-be-picked")
        return JudgedPick(picked=each, mark=each.mark, verdict="not-judged", reason=reason)
    off_px = each.screen_px - pick.screen_px
    off_m = _on_ground(shown, pick, each)
    far = float(np.linalg.norm(off_px))
    good = far <= GOOD_PX or (off_m is not None and off_m <= GOOD_M)
    right_px, down_px = (float(value) for value in off_px)
    how = {"off_px": (right_px, down_px), "off_m": off_m}
    if good:
        reason = Reason("pick-good", far=far >= ALIKE_PX, **how)
    else:
        reason = Reason("pick-off", instead=_instead(shown, pick, each), **how)
    return JudgedPick(
        picked=each,
        mark=str(pick.mark),
        verdict="good" if good else "off",
        reason=reason,
        off_px=off_px,
        off_m=off_m,
    )


def _on_ground(shown: _Shown, pick: Pick, each: Picked) -> float | None:
    """How far apart the pick and the mark lie on the ground in m; None above the horizon."""
    found = shown.found
    assert found.plan_fit is not None
    view = ground_map(found.plan_fit.pose, found.plan_fit.lens)
    pixels = np.stack([pick.pixel_px, shown.screen.to_picture(found, each.screen_px)])
    places = view.ground_from_pixel(found.picture.as_delivered(pixels))
    apart = float(np.linalg.norm(places[1] - places[0]))
    return apart if np.isfinite(apart) else None


def _instead(shown: _Shown, pick: Pick, each: Picked) -> Reason | None:
    """What lies where the pick is: a feature of the mark, or another mark; None for neither."""
    found, layout = shown.found, shown.layout
    named: list[tuple[Reason, Array]] = []
    measured = pick.pixel_px
    planned = layout.mark(pick.mark)
    centre = expected_px(found, planned.centre_m)
    for feature, place in features(layout, planned):
        seen = expected_px(found, place)
        if seen is not None and centre is not None:
            # The fit's own error at this mark is common to the mark and its features.
            named.append((feature, seen + measured - centre))
    named += [
        (Reason("other-mark", number=other.number, mark=str(other.mark)), other.pixel_px)
        for other in shown.picks
        if other.mark != pick.mark
    ]
    if not named:
        return None
    places = shown.screen.from_picture(found, np.stack([place for _, place in named]))
    apart = np.linalg.norm(places - each.screen_px, axis=1)
    nearest = int(np.argmin(apart))
    off = float(np.linalg.norm(each.screen_px - pick.screen_px))
    near = apart[nearest] <= min(FEATURE_PX, FEATURE_SHARE * off)
    return named[nearest][0] if near else None


def features(layout: Layout, planned: PlannedMark) -> list[tuple[Reason, Array]]:
    """What else of a mark is easily picked, with its ground place (3,)."""
    turn = planned.heading_rad
    axes = np.array([[np.cos(turn), np.sin(turn), 0.0], [-np.sin(turn), np.cos(turn), 0.0]])

    def at(s: float, q: float) -> Array:
        return np.asarray(planned.centre_m + np.array([s, q]) @ axes)

    ends = _ends(layout, planned, axes)
    found = [
        (Reason(each.code, end=ends[each.way] if each.way else None), at(each.s_m, each.q_m))
        for each in planned.shape.features
    ]
    if planned.tape_width_m is not None:
        half = planned.tape_width_m / 2
        found += [
            (Reason("tape-edge", end=ends["left"]), at(0, half)),
            (Reason("tape-edge", end=ends["right"]), at(0, -half)),
        ]
    return found


def _ends(layout: Layout, planned: PlannedMark, axes: Array) -> dict[Way, Reason]:
    """What lies each way of a mark: its neighbours, and the body's side."""
    left = ("away", "towards")[:: 1 if axes[1] @ planned.centre_m > 0 else -1]
    names = {mark.id for mark in layout.marks}
    ends: dict[Way, Reason] = {"left": Reason(left[0]), "right": Reason(left[1])}
    ways: tuple[tuple[Way, int, str], ...] = (("ahead", 1, "far-end"), ("behind", -1, "near-end"))
    for way, step, plain in ways:
        other = MarkId(planned.id.name, planned.index + step)
        beside = planned.strip and other in names
        ends[way] = Reason("towards-mark", mark=str(other)) if beside else Reason(plain)
    return ends
