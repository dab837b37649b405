"""What tunes planning: every threshold and usual size, with where it comes from.

The sizes of marks that are tried are in `sizes`, the spacings in `proposal`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from math import radians


@dataclass(frozen=True, slots=True, kw_only=True)
class Minutes:
    """What laying takes two people, roughly; common practice, no source.

    Of a mark, a metre of tape of one roll's width, a raised mark, a strip's ends. Only the order in
    which layouts are tried, and what is said of the one that is proposed, depends on it.
    """

    mark: float = 1.0
    metre: float = 0.7
    raised: float = 6.0
    strip: float = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanningSettings:
    """Lengths in metres, angles in radians, sizes in the picture in pixels."""

    # ------------------------------------------------------------------------ what is predicted

    rough_sigma_px: float = 0.1
    """Of a centre where no mark is drawn: more than any of `sure_px` has on pictures that are fit
    to be judged. More of it asks for denser layouts."""
    seen_px: float = 2.8
    """Shorter extent down to which the check was seen to use a mark: 6 of 8 of those below
    `least_size_px` of the job's on `sample_frames/long_shadow`. No plan counts on them."""
    stand_margin: float = 0.5
    """Share by which the stand under a raised mark is wider than the mark, as scenes draw it."""
    farthest_found_m: float = 1.0
    """A fault that is found only when it is larger is not found at all: nobody lays a strip so."""

    # ----------------------------------------------------------------------------- what is tried

    most_points: int = 400
    """Of a layout for which additions are tried: with more, one more would bring little, and
    trying would take minutes."""
    outer_m: float = 1.5
    """How much farther from the body one more strip, or a strip's outer row, lies; common practice,
    no source. Farther out marks are smaller; nearer they say the same as the strip."""
    raised_out_m: float = 1.6
    """How far from the body one more raised mark is tried; common practice, no source."""
    aim_step_rad: float = radians(5.0)
    """Between tilts that are tried; pans are twice as far apart, since the optimum is flat."""
    usual_tilt_rad: float = radians(45.0)
    """Cameras are preset at 45 degrees with a speed square: common practice, no source."""

    usual_tapes_m: tuple[float, ...] = (0.1, 0.12, 0.15, 0.2, 0.25, 0.3)
    usual_inch_tapes_m: tuple[float, ...] = (0.1016, 0.1524, 0.2032, 0.254, 0.3048)
    """Widths of tape that are sold, or laid as two side by side, 10 cm to 30 cm and 4 in to 12 in;
    common practice, no source."""
    wider_tolerances: tuple[float, ...] = (1.5, 2.0)
    """Times the stated tolerances: beyond, a seam no longer looks right."""

    # -------------------------------------------------------------------- what a layout is made of

    metric_grid_m: float = 0.05
    """What every figure is a multiple of, 5 cm or 2 in: what is read off a tape without a slip."""
    inch_grid_m: float = 0.0508
    walk_m: float = 0.3
    """Between body and tape: room for a foot and for doors' sills; common practice, no source."""
    lopsided_m: float = 0.2
    """How much farther the right and the rear strip lie. Twice the 10 cm that a mounting may be
    wrong, so that a swapped picture cannot be explained by that."""
    aside: float = 1.45
    """How far an end strip reaches beyond the body's sides, in its distance from the body: to where
    the seams end (2.5 m out at 45 degrees), since beyond its marks a fit only extrapolates."""
    tape_beyond_m: float = 0.5
    """Tape before a strip's first mark and after its last, so that tapes do not cross."""
    row_spacings: int = 2
    """Spacing of an outer row, in spacings of its strip: it is for reach, not for number."""
    strip_sigma_m: float = 0.01
    mark_sigma_m: float = 0.003
    """Of strips' ends and of marks on them, the job file's usual ones; common practice, no
    source."""
    tape_margin_m: float = 0.01
    """Tape on either side of a mark: what keeps its ends light all round."""
    shortest_arm_m: float = 0.035
    """Across the tape, of a cross on tape of 9 cm: below, its lines are thinner than a pixel 3 m
    away."""
    roll_m: float = 0.18
    """Of the usual roll of tape; a board's panel may be wider than what it lies on."""
    crowded_spacings: float = 2.4
    """Least spacing in lengths of a mark: the nearest lie half a spacing apart, and what is drawn
    reaches a fifth beyond a cross's ends."""
    raised_clear_m: float = 0.15
    """A raised mark stands at a corner, its stand this far beyond the tapes both ways: two cameras
    see it, which is what lets its own place be tested, and it hides nothing that lies nearer."""
    raised_reach_m: float = 0.2
    raised_line_m: float = 0.04
    """From a raised mark's centre to its end, and the width of its lines; common practice, no
    source."""
    raised_sigma_m: float = 0.005
    """Plumbed over its place and taped up from the ground: common practice, no source. With a
    strip's 1 cm in each of three directions one in thirty would lie beyond the usual 3 cm."""
    raised_height_m: float = 0.75
    raised_share: float = 0.4
    raised_step_m: float = 0.05
    """A raised mark stands at 75 cm, the height of a trestle (common practice, no source), and
    below a low camera at this share of its height, to 5 cm."""

    # ------------------------------------------------------------------ what is asked of a proposal

    sure_px: float = 7.0
    """Shorter extent below which no mark counts: nothing may hang on marks that are sometimes
    missed; see `least_size_px` of the job's."""
    margin: float = 1.5
    """Two sigma times this must stay within each tolerance: what deviates by a third of its
    tolerance is then still surely within."""
    sure_marks: int = 12
    sure_shared: int = 3
    """Marks for each camera and for each seam; common practice, no source."""
    found_strip: float = 2.0
    """A strip laid wrong by this many tolerances must be found in 80 of 100 jobs."""
    lot_room_m: float = 0.6
    """Room to walk between the layout and the lot's edge, each side; common practice, no
    source."""
    minutes: Minutes = field(default_factory=Minutes)

    # -------------------------------------------------------------------------- what is set out

    square_rad: float = radians(2.0)
    """A strip this near to one of the datum lines is laid by its offset from it; others are free.
    Common practice, no source."""
    least_answer: float = 0.5
    """A pair of lengths whose difference answers to less than this share of a fault does not show
    it."""
    least_reach_m: float = 0.3
    """An end strip that reaches less far from the centre line has no arm for a triangle."""
    end_room_m: float = 2.5
    side_room_m: float = 1.5
    door_room_m: float = 2.2
    """Free ground beyond the layout at the ends, where people kneel at the tape and stand clear of
    it; beyond it at the sides, where one kneels; and from the body, for a door of 1.2 m that stands
    open and somebody who passes it. Common practice, no source, as is what they come to: with
    2.5 m, a 40 ft vehicle wants a lot 65 to 70 ft long."""
    overhang_m: Fraction = Fraction(1, 10)
    """Tape beyond the last mark's edge at each end, to hold it down and to trim."""
    stand_m: float = 0.3
    """What a trestle or a carton takes up round its mark; common practice, no source."""


SETTINGS = PlanningSettings()
