"""What tunes the adjustment: every threshold and usual sigma, with where it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from math import log, radians

from vision.camera.statistics import chi_square_limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Freed:
    """Sigmas of what is set free: useless against what is looked for, and they hold the solver."""

    place_m: float = 1.0
    """Of ends, bows, mountings, single marks, and of moves and shifts between two checks."""
    turn_rad: float = 1.0
    lens_share: float = 0.3
    """Of the picture's size: a lens that is set free stays a lens."""
    height_m: float = 0.05
    """Of the ground under a strip: what is higher is a kerb, not a hump."""
    length_m: float = 100.0
    angle_rad: float = 10.0
    """A reading that is set free says nothing any more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AdjustmentSettings:
    """Lengths in metres, angles in radians, distances in sigmas."""

    freed: Freed = Freed()
    slope_sigma: float = 0.0175
    """Slope of a yard against the horizontal, 1 degree each way: common practice, no source."""

    unevenness_m: float = 0.001
    """Of a yard under a strip, against the plane of all. Small: what is uneven is set free. Larger,
    and figures of even yards are less sure than they are."""
    knot_m: float = 2.0
    """From one height of the ground under a strip to the next: shorter, and one mark alone makes a
    hump; longer, and a hump of two metres is none."""
    most_knots: int = 7

    stance_sigma_rad: float = radians(3)
    """Turn of a body against the ground it stands on, each way, where it was read: wide, so that
    readings alone decide."""

    # ----------------------------------------------------------------------- one camera by itself

    fewest_marks: int = 4
    """Fewer leave no mark over that could show another to be wrong."""
    place_sigma_m: float = 0.1
    """Of a camera's stated place, per coordinate, unless the caller knows better."""
    cauchy_width: float = 2.0
    """Distance, in robust standard deviations, at which a mark or corner weighs half."""
    reject_chi2: float = chi_square_limit(0.999, 2)
    """A mark beyond this, of its two coordinates, is left out."""
    rounds: int = 4
    round_tolerance: float = 1e-4
    """Of Cauchy weights; a round need not be solved to the last digit, the next one changes the
    weights."""
    refits: int = 4
    refit_tolerance: float = 1e-9
    """Of plain least squares, until the same marks pass."""
    rough_tolerance: float = 1e-3
    """Of either, where only a better look is wanted of a fit."""

    # ------------------------------------------------------------------- the network's robust start

    cauchy_cut: float = 3.0
    """Distance at which a point, and a group, weighs half; smaller, and sound ones lose weight."""
    robust_rounds: int = 6
    robust_iterations: int = 10
    robust_tolerance: float = 1e-2
    """Only the weights are wanted of a round, not its last digit."""
    farthest: float = 1e5
    """Distances beyond this weigh alike: nothing at all."""
    settled_weights: float = 0.2
    """Rounds end when no distance moves by more than this share of the cut, and no group's sigma by
    more than this share of what was stated."""
    clean: float = 1.4
    """Nothing is suspect where every group and point lies within this many times the cut: a weight
    of one half at the least, and no further round."""

    # ------------------------------------------------------------------------------ single points

    gross_chi2: float = chi_square_limit(1 - 1e-6, 2)
    """A point beyond this (5.3 sigma) is a wrong pick, not bad luck."""
    return_chi2: float = chi_square_limit(1 - 1e-4, 2)
    """A point that was left out comes back below this; lower than the former, so none flickers."""
    points_kept: int = 4
    """A camera keeps so many whatever the tests say: fewer could not show which is wrong."""
    fewest_points: int = 3
    """Fewer points than this do not hold a camera's turn."""
    fewest_views: int = 2
    """Fewer cameras than this cannot tell a wrong pick from a misplaced mark."""
    screen_rounds: int = 20
    solve_tolerance: float = 1e-7
    """Share of chi-square that a step may still promise: 3e-4 sqrt(m) standard errors."""

    # ------------------------------------------------------------------------------ whole groups

    family_alpha: float = 0.0025
    """Chance that any group of a faultless job is set free. A fault too small to be found leaves
    the same chance of naming something else, and a second name beside a right one is as often
    false: a wrong name is worse than several faults that are too small to matter."""
    wild_sigmas: float = 20.0
    """A reading this far from the robust start starts free; it is held again if it then passes."""
    suspect: float = 0.05
    """A thing of which a sound job would show as much in one of twenty is no suspect."""
    rival_log_bayes: float = 8.0
    most_rivals: int = 4
    """Explanations this near to the best one by the first solution are solved themselves."""
    tie_log_bayes: float = log(100)
    """Two explanations whose Bayes factors differ by less, as logarithms, tie: the better one is
    then less than 100 times as likely."""
    mislaid: float = 0.2
    """Share of strips that lie farther off than was stated; common practice, no source."""
    least_inflation: float = 0.05
    """A stated weight that is lowered by less than this share is left as it is."""
    blunder_sigmas: float = 2.5
    """A usual blunder explains a reading that it comes this near to."""

    # -------------------------------------------------------------------------- what is detectable

    power: float = 0.8
    """Share of jobs in which a fault of the minimal detectable size is found, as surveyors have
    it."""
    sure: float = 0.98
    """Share of jobs in which a fault of the size that is surely named is named, and nothing
    else."""
    refuted: float = 0.99
    """Level of the confidence region outside of which a fault is refuted."""
    least_redundancy: float = 1e-3
    """Directions of a group that the rest controls less than this are not judged."""

    # -------------------------------------------------------------------- what to measure to decide

    tape_sigma_m: float = 0.003
    """A tape of class II over some metres and the holding of it; common practice, no source."""
    gauge_sigma_rad: float = radians(0.2)
    """A digital level held to a housing; common practice, no source."""
    decides: float = 6.0
    """Least expected statistic of a reading worth asking for: about 2.4 sigma."""
    most_compared: int = 3
    """So many of the explanations that tie are told apart, the likeliest first."""
    longest_m: float = 30.0
    """Nobody tapes farther than this in a yard."""
    steep_rad: float = radians(80)
    """A camera that looks down more steeply has no roll to speak of."""


SETTINGS = AdjustmentSettings()
