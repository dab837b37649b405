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
from vision.units.length_words import LengthWords
from vision.views.ground import ground_map

GOOD_PX = 1.5
"""Of the screen: a steady hand with a cursor of whole pixels; common practice, no source."""
GOOD_M = 0.005
"""On the ground: nobody lays tape better, so a far mark need not be picked better."""
FEATURE_PX = 3.0
FEATURE_SHARE = 0.45
"""A feature is named where the pick is at least this much nearer to it than to the centre."""
MIRRORED_LEAST = 4

WAYS: tuple[Way, ...] = ("ahead", "behind", "left", "right")
FEATURES = {
    "arm-end": "on the end of the arm {}",
    "inner-corner": "on an inner corner of the cross",
    "disc-edge": "on the edge of the disc {}",
}
"""What was picked in place of a mark's centre, by the code of its kind."""

PickVerdict = Literal["good", "off", "not-judged"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JudgedPick:
    """A pick with its verdict; `off_px` (2,) on the screen, right and down; `off_m` on the ground.

    Both None where the pick cannot be judged. `text` is for a person.
    """

    picked: Picked
    mark: str
    verdict: PickVerdict
    text: str
    off_px: Array | None = None
    off_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    """A camera's picture on a person's screen, with the place of each of its marks."""

    found: InspectedCamera
    layout: Layout
    screen: Screen
    picks: Sequence[Pick]
    lengths: LengthWords


def judge_picks(
    inspection: Inspection, screen: Screen, picked: Sequence[Picked]
) -> tuple[JudgedPick, ...]:
    """Judge each pick against the mark it is for, and say what was picked where it is off."""
    layout, lengths = planned_layout(inspection.job), inspection.job.lengths
    every = {
        each.camera.name: _Shown(
            found=each,
            layout=layout,
            screen=screen,
            picks=places(each, layout, screen),
            lengths=lengths,
        )
        for each in inspection.cameras
    }
    mirrored = {
        name
        for name, shown in every.items()
        if _look_mirrored(shown, [each for each in picked if each.camera == name])
    }
    over = (
        "the picks of this camera fit the picture turned over: its screen shows it mirrored, or"
        " the job's `mirrored` is wrong"
    )
    return tuple(
        JudgedPick(picked=each, mark=each.mark, verdict="off", text=over)
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
        text = f"the {each.camera} camera has no fit to judge by"
        return JudgedPick(picked=each, mark=each.mark, verdict="not-judged", text=text)
    pick = _named(shown.picks, each.mark)
    if pick is None:
        text = "this mark is hidden from the camera, or outside its picture: do not pick it here"
        return JudgedPick(picked=each, mark=each.mark, verdict="not-judged", text=text)
    off_px = each.screen_px - pick.screen_px
    off_m = _on_ground(shown, pick, each)
    far = float(np.linalg.norm(off_px))
    good = far <= GOOD_PX or (off_m is not None and off_m <= GOOD_M)
    how = f"{_way(off_px)}" + (
        f" ({shown.lengths.cm(off_m, nested=True)} on the ground)" if off_m else ""
    )
    if good:
        text = f"good: {how}" if far >= 0.5 else "good"
    else:
        instead = _instead(shown, pick, each)
        text = f"is {how}" + (f": {instead}, not the centre" if instead else "")
    return JudgedPick(
        picked=each,
        mark=str(pick.mark),
        verdict="good" if good else "off",
        text=text,
        off_px=off_px,
        off_m=off_m,
    )


def _way(off_px: Array) -> str:
    """Such as '9 px low and 2 px right'."""
    sides = (("left", "right"), ("high", "low"))
    parts = [
        f"{abs(value):.0f} px {words[int(value > 0)]}"
        for value, words in zip(off_px[::-1], sides[::-1], strict=True)
        if abs(value) >= 0.5
    ]
    return " and ".join(parts) or "on it to half a pixel"


def _on_ground(shown: _Shown, pick: Pick, each: Picked) -> float | None:
    """How far apart the pick and the mark lie on the ground in m; None above the horizon."""
    found = shown.found
    assert found.plan_fit is not None
    view = ground_map(found.plan_fit.pose, found.plan_fit.lens)
    pixels = np.stack([pick.pixel_px, shown.screen.to_picture(found, each.screen_px)])
    places = view.ground_from_pixel(found.picture.as_delivered(pixels))
    apart = float(np.linalg.norm(places[1] - places[0]))
    return apart if np.isfinite(apart) else None


def _instead(shown: _Shown, pick: Pick, each: Picked) -> str:
    """What lies where the pick is: a feature of the mark, or another mark; empty for neither."""
    found, layout = shown.found, shown.layout
    named: list[tuple[str, Array]] = []
    measured = pick.pixel_px
    planned = layout.mark(pick.mark)
    centre = expected_px(found, planned.centre_m)
    for words, place in features(layout, planned):
        seen = expected_px(found, place)
        if seen is not None and centre is not None:
            # The fit's own error at this mark is common to the mark and its features.
            named.append((words, seen + measured - centre))
    others = [other for other in shown.picks if other.mark != pick.mark]
    named += [
        (f"on mark {other.number} ({other.mark})" if other.number else f"on {other.mark}",
         other.pixel_px)
        for other in others
    ]  # fmt: skip
    if not named:
        return ""
    places = shown.screen.from_picture(found, np.stack([place for _, place in named]))
    apart = np.linalg.norm(places - each.screen_px, axis=1)
    nearest = int(np.argmin(apart))
    off = float(np.linalg.norm(each.screen_px - pick.screen_px))
    near = apart[nearest] <= min(FEATURE_PX, FEATURE_SHARE * off)
    return named[nearest][0] if near else ""


def features(layout: Layout, planned: PlannedMark) -> list[tuple[str, Array]]:
    """What else of a mark is easily picked, in words, with its ground place (3,)."""
    turn = planned.heading_rad
    axes = np.array([[np.cos(turn), np.sin(turn), 0.0], [-np.sin(turn), np.cos(turn), 0.0]])

    def at(s: float, q: float) -> Array:
        return np.asarray(planned.centre_m + np.array([s, q]) @ axes)

    ends = _ends(layout, planned, axes)
    words = dict(zip(WAYS, ends, strict=True))
    found = [
        (FEATURES[each.code].format(words[each.way] if each.way else ""), at(each.s_m, each.q_m))
        for each in planned.shape.features
    ]
    if planned.tape_width_m is not None:
        half = planned.tape_width_m / 2
        found += [
            (f"on the tape's edge {ends[2]}", at(0, half)),
            (f"on the tape's edge {ends[3]}", at(0, -half)),
        ]
    return found


def _ends(layout: Layout, planned: PlannedMark, axes: Array) -> tuple[str, str, str, str]:
    """Words for ahead, behind, left and right of a mark: its neighbours, and the body's side."""
    out = float(axes[1] @ planned.centre_m)
    aside = ("away from the vehicle", "towards the vehicle")
    left, right = aside if out > 0 else aside[::-1]
    names = {mark.id for mark in layout.marks}
    words = []
    for step, plain in ((1, "at its far end"), (-1, "at its near end")):
        other = MarkId(planned.id.name, planned.index + step)
        words.append(f"towards {other}" if planned.strip and other in names else plain)
    return words[0], words[1], left, right
