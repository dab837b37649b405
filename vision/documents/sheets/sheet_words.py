"""Words and counts that the sheets are filled with."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from vision.camera.geometry import wrap_degrees
from vision.documents.check_words.saying import several
from vision.job.job import Strip
from vision.job.kinds.mark_shape import MarkShape
from vision.planning.setting_out.running_marks import SettingOut, StripLine
from vision.planning.setting_out.supplies import extent_m

PANEL = Fraction(3, 2)
"""The board under a raised mark against the mark itself, as practice pictures draw it and plans
reckon with what it hides."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Supplies:
    """What to bring: a tape so long, and what carries raised marks.

    A printed mark needs a board of a shade of its own to be seen against.
    """

    longest_m: float
    cartons: int
    trestles: int
    shades: tuple[str, ...]
    board_m: Fraction

    @classmethod
    def of(cls, setting: SettingOut) -> Supplies:
        """For one job."""
        taped = [each.length_m for pair in setting.pairs for each in (pair.first, pair.second)]
        running = (line.marks[-1].running_m for line in setting.strips)
        raised = [(mark.shape, mark.ink) for mark in setting.raised_marks]
        printed = [(shape, ink) for shape, ink in raised if shape.drawn]
        return cls(
            longest_m=float(max([*taped, *running], default=5)),
            cartons=len(raised) - len(printed),
            trestles=len(printed),
            shades=tuple(sorted({"light" if ink == "dark" else "dark" for _, ink in printed})),
            board_m=max((max(extent_m(shape)) * PANEL for shape, _ in printed), default=PANEL),
        )


def lot_is_small(setting: SettingOut) -> bool:
    """Whether the job states a lot that is smaller than what the layout needs."""
    lot, means = setting.lot, setting.job.means
    known = (means.lot_length_m, lot.length_m), (means.lot_width_m, lot.width_m)
    return any(has is not None and has < needs for has, needs in known)


def strip_words(line: StripLine) -> str:
    """What a strip carries, and where its first mark is."""
    strip = line.strip
    count = len(strip.at_m)
    return f"{count} {several(shape_word(strip.shape), count)}, numbered from {first_end(strip)}"


def first_end(strip: Strip) -> str:
    """Where the first mark lies, in words."""
    ahead, left = strip.along
    if abs(ahead) >= abs(left):
        return "the rear end" if ahead > 0 else "the front end"
    return "the right end" if left > 0 else "the left end"


SHAPES = {"box_corner": "carton's corner"}
"""Kinds of mark that are not called by their name in a job file."""


def shape_word(shape: MarkShape) -> str:
    """What a mark is called."""
    return SHAPES.get(shape.kind, shape.kind)


def looks(pan_rad: float) -> str:
    """The way a camera looks, in words."""
    pan = math.degrees(pan_rad)
    for degrees, words in ((0, "ahead"), (90, "left"), (180, "back"), (-90, "right")):
        if abs(wrap_degrees(pan - degrees)) < 0.05:
            return words
    side = "left" if pan > 0 else "right"
    return f"{abs(pan):.1f}\N{DEGREE SIGN} to the {side} of ahead"


def degrees(angle_rad: float) -> str:
    """An angle as a gauge shows it."""
    return f"{math.degrees(angle_rad) + 0.0:.1f}\N{DEGREE SIGN}"


def metric_rounding(line: StripLine) -> str:
    """By how much a strip's running distances in metres are off, in words."""
    worst = max(
        abs(Fraction(round(mark.running_m * 1000), 1000) - mark.running_m) for mark in line.marks
    )
    return (
        f"by at most {float(worst) * 1000:.1f} mm" if worst > Fraction(1, 10**6) else "not at all"
    )
