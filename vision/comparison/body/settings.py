"""What tunes the comparison of a body's edges, each number with its origin."""

from __future__ import annotations

from dataclasses import dataclass
from math import radians


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyCompareSettings:
    """Lengths in metres, angles in radians; px of the picture."""

    # ------------------------------------------------------------------ where the body can be seen

    stands_out_m: float = 0.3
    """How far bumpers, trim and mirrors stand out of the body as a box: common practice, no
    source. More lets ground in, whose edges do not last; less loses the bumper."""
    stands_out_rad: float = radians(6)
    """And seen from the camera no farther than this from the box: what stands out near the lens is
    its own bracket."""
    lowest_m: float = 0.2
    """Below it there is ground, not body."""
    near_m: float = 0.05
    far_m: float = 15.0
    depths: int = 40
    """A ray is followed between these, in so many steps of a sixth of the way."""
    lies_in_m: float = 0.15
    """How far the body may lie inside its box."""
    laid_m: float = 0.06
    """Edges so near to tape, marks and cartons that were laid are those, not the body's."""
    beyond_m: float = 1.0
    """Tape goes on so far beyond the first mark and the last."""
    circle_px: float = 14.0
    """Width of the band along the image circle's own edge that shows nothing: twice the reach of a
    profile. Its edge never moves, and so would say of any camera that it did not."""
    dark: float = 0.004
    dark_share: float = 0.3
    """Light outside the image circle, at most: level 13 of 255, and a share of the median."""
    depth_log_sigma: float = 0.2
    """Least sigma of the logarithm of a depth that a box gives."""

    # --------------------------------------------------------------------------------- the search

    coarse_rad: float = radians(1.2)
    wide_steps: int = 6
    """Step of the search over all turns, and how many each way: a camera that was knocked farther
    is not recognised. Then in thirds of it."""
    truncated_px: float = 10.0
    """Distance to the nearest edge of the same direction beyond which it does not matter how far:
    a coarse step at the scale of a wide-angle picture of 1280 px."""
    scan_rad: float = radians(0.12)
    scan_steps: int = 8
    scan_px: float = 12.0
    """Step of the scan about the first turn, a pixel at a picture's edge; how many each way; and
    how far along their normals edges are looked for."""
    starts: int = 6
    """Best turns of the search that are followed to their end."""
    searched_places: int = 160
    """Places of edges that the search looks at, and those of the next step times three."""

    # ------------------------------------------------------------------------------------ the turn

    shift_m: float = 0.005
    """A bracket that was knocked has its lens within this, as one standard deviation: common
    practice, no source."""
    searches_px: tuple[float, ...] = (2.0, 1.5, 1.0, 1.0)
    """How far an edge is looked for along its normal, fit by fit."""
    redescends: float = 4.685
    """Where Tukey's weight ends, in robust sigmas: 95 % efficient where nothing is wrong (Huber and
    Ronchetti, "Robust Statistics", 2009, section 7)."""
    least_spreads: tuple[float, ...] = (2.0, 2.0, 2.0, *(1.0,) * 6)
    """Least robust sigma, in stated ones, weighting by weighting: wide at first."""
    near_px: float = 1.0
    agrees_px: float = 0.25
    """What lies within the first of its place was found again, within the other it agrees: three
    sigmas of an edge's place."""
    give_rad: float = radians(0.01)
    """Of each axis: warmth and load turn a camera that nobody touched; the prototype's floor."""

    # ---------------------------------------------------------------------------------- the answer

    least_share: float = 0.4
    """Of the kept pieces that must be found again, by length."""
    least_pieces: int = 12
    least_strands: int = 6
    """How many must agree, on how many strands: another vehicle gave 6 to 13 pieces."""
    agreeing_share: float = 0.5
    """Of those found again that must agree: of another vehicle's edges, which lie anywhere within
    that pixel, a third does."""
    least_cameras: float = 0.5
    """Of the cameras with kept edges that must recognise the body, for any to be judged: two
    vehicles may look alike from one side."""
    sure_share: float = 0.45
    """From here on nobody looks farther away for a better turn."""
    mirrored_share: float = 0.6
    """From here on a picture that shows the body only when it is turned over came mirrored."""
    other_share: float = 0.35
    """Edges that agree with one another on another turn, against those that agree on this one: from
    here on nobody can say which of the two is the body."""
    apart: float = 4.0
    """Sigmas by which two turns must differ to be two."""
    outlying: float = 0.4
    place_px: float = 0.15
    """Share of strands that do not lie where they should, and how well the others do: what a
    strand says for one turn and against another, two nats at the most, follows from both."""
    rival_from_rad: float = radians(0.3)
    rival_to_rad: float = radians(1.5)
    rival_step_rad: float = radians(0.04)
    """Where other turns are looked for: nearer ones a fit's own sigma covers."""
    same_rad: float = radians(0.2)
    """Fits no farther apart found the same turn."""
    unseen_shift_m: float = 0.02
    """A shift along the body that would not show: no depth is measured, and long edges slide along
    themselves. The prototype's depths, which were exact, left 12 mm of one of 15."""
    lens_share: float = 0.01
    """Of a turn, by which the lens makes it out too large or too small."""
    alarm: float = 0.002
    """Chance that a camera that did not turn is named, all axes together: one in a hundred
    comparisons of four cameras."""
    power: float = 0.95
    """Share of cases in which a turn of the stated size is seen."""


SETTINGS = BodyCompareSettings()
