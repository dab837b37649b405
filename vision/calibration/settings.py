"""What tunes how boards are found: one value, each number with its origin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardCornersSettings:
    """Saddles, grids grown over them, and each corner's fit."""

    first_share: float = 0.42
    """Of the way to the neighbouring corners, before the blur is known."""
    widest_share: float = 0.85
    outer_share: float = 0.4
    """Of the way to the next corners, the most a window takes in, and less outwards from an outer
    corner, since boards are framed there. More tells a corner better and takes in what is not its
    own."""
    clear_of_blur: float = 2.2
    """Sigmas of the blur that a window keeps off the next corner's edges, and half a pixel."""
    widest_px: int = 13
    """Half a window at the most, in px: large squares need no more."""
    fewest_pixels: int = 14
    """Seven unknowns per corner, each with two pixels."""
    furthest_share: float = 0.3
    """A corner that moves further than this share of the spacing has slid to something else."""
    least_sigma_px: float = 0.02
    """What a drawn saddle cannot know: curved edges, print, compression blocks."""
    blurs_px: tuple[float, float] = (0.3, 6.0)
    """Blurs (sigma) between which a corner's is fitted."""
    steps: int = 14
    """Most steps of a plain corner; one in a shadow takes twice as many."""
    most_damping: float = 1e3
    """Of the normal matrix scaled to ones: past it steps are too short to matter."""
    done_px: float = 1e-3
    """Steps end when no corner moves further."""
    suspect: float = 2.0
    suspect_share: float = 0.05
    """Times the board's median misfit, and of the contrast its root, from which a shadow's edge is
    tried: edges more bent than drawn leave some hundredths, a shadow a tenth and more."""
    most_misfit: float = 8.0
    strange_share: float = 0.2
    """A corner is not one where its misfit is so many times the usual, and its root this share of
    the contrast."""
    most_contrast: float = 1.25
    """Times half the range of levels round all corners: a blurred corner's plateaus may lie beyond
    its window, but not beyond what there is."""
    astray_share: float = 0.1
    astray_px: float = 1.0
    """A measured corner farther than this share of the spacing, and so many px, from every place
    that lines through its neighbours give it is something else. Squares of a close board shrink
    by half from one to the next at most; the best of the lines misses by some hundredths."""
    faint_share: float = 0.1
    """Of the board's usual contrast: a deep shadow leaves more."""
    most_suspect: float = 0.6
    """Share of a board that a shadow's edge may cross; more is no board."""
    shadow_gain: float = 0.7
    """A shadow is believed where it leaves less than this share of the misfit."""
    least_contrast: float = 4.0
    """Grey levels between a corner's dark and light squares, halved, below which it is not
    there."""
    least_agreeing: float = 0.8
    """Share of corners whose colours must alternate as a checkerboard's do."""
    least_at_first: float = 0.5
    """Likewise before shadows are looked for, which costs the most; less is no board."""
    most_board_misfit: float = 0.35
    """Median misfit of the corners over their contrast: a board in heavy noise comes to 0.15, one
    in a deep shadow in that noise to 0.4 and is lost; keys and windows come to more."""
    first_side_px: int = 1600
    """Longest side at which a picture is searched first: larger ones only hold finer noise."""
    most_side_px: int = 2600
    """Longest side at which a picture is searched at all: memory and time end there."""
    least_share: float = 0.4
    fewest: int = 8
    """Of a board's corners that must hang together before the rest are looked for. Fewer than eight
    hang together by chance: every photograph has some."""
    most_ties: int = 24
    """Ways of laying the board over a component that are worth filling up."""
    snap_share: float = 0.3
    """A saddle within this share of the spacing of where a corner is expected is that corner."""
    least_signed: float = 0.8
    """Share of a grid's corners whose light and dark must alternate."""
    most_beside: float = 0.6
    """Share of a line beside the grid that chance saddles fill; more is a board of another size."""
    most_filled: int = 32
    """Grids that are filled up at one size of the picture, those with the most saddles first."""
    most_grids: int = 2
    """Likeliest grids at one size of the picture that are measured, and as many more as there are
    boards."""
    most_in_vain: int = 4
    """Grids of one picture, at all sizes together, that may turn out to be no board: with the two
    above all that bounds the work where there is no board."""
    most_tried: int = 16
    most_boards: int = 8
    """Grids looked at and boards measured in one picture at the most."""
    least_over: float = 0.2
    """Share of a board's corners that another grid takes as well, to be the same board."""
    rim_px: float = 3.0
    """A corner nearer to the picture's rim is not seen: its squares are cut off."""
    least_line: float = 0.4
    """Of the fullest line of a lattice, that another must have to be counted as one."""
    fill_rounds: int = 3
    """Rounds of guessing what is missing and dropping what is wrong: the second sees the first's
    guesses."""
    shadow_angles: int = 16
    shadow_offsets: int = 9
    shadow_seeds: int = 3
    """Directions and places at which a shadow's edge is tried, and how many of them are
    followed."""
    scales_px: tuple[float, ...] = (1.3, 2.2, 3.7, 6.2)
    """Gaussian scales: the finest sees squares of 5 px, the coarsest sees through heavy noise."""
    log_offset: float = 30.0
    """Added to grey levels before the logarithm, so that the noise of deep shadow is not
    magnified."""
    least_strength: float = 0.015
    """Curvature of log grey of a saddle: less is noise and grain."""
    most_saddles: int = 900
    """Strongest saddles kept: a board has some hundred, its surroundings as many."""
    saddles_apart_px: float = 2.5
    """Saddles closer than this are one."""
    neighbours: int = 24
    """Looked at round each saddle: rows may lie three times as close as columns."""
    aslant: float = float(np.cos(np.radians(18)))
    """An edge leaves a saddle and meets the next within this angle of the saddles' own
    directions."""
    alike: float = float(np.cos(np.radians(32)))
    """The other edges of two neighbours differ in direction by no more."""
    unlike: float = 8.0
    """Two neighbours' strengths differ by no more than this factor."""
    ring_px: float = 3.0
    """How far from a saddle its four quadrants are looked at: outside its blur."""
    most_one_sided: float = 1.2
    """Opposite quadrants differ by less than this share of what neighbouring quadrants differ by: a
    square's outer corner has one quadrant of its own and comes to 2."""
    edge_shares: tuple[float, ...] = (0.3, 0.5, 0.7)
    """Of the way between two saddles, where the edge between them is looked for; one of the three
    may fail."""
    least_edge: float = 0.06
    """Difference of log grey across an edge between neighbours."""
    cubic_from: int = 24
    quadratic_from: int = 12
    """Corners that a surface of ten or of six coefficients is put through."""
    wrong_share: float = 0.08
    """A corner farther than this from the surface, in spacings, is sought where the others put
    it."""


SETTINGS = BoardCornersSettings()


@dataclass(frozen=True, slots=True, kw_only=True)
class LensSettings:
    """What is believed of lenses and boards beforehand, and how pictures are judged."""

    # ------------------------------------------------------------------------------- the curve

    term_sigma: tuple[float, float, float, float] = (0.30, 0.16, 0.06, 0.03)
    """Of each polynomial term's share at the picture's edge: twice what `vision.camera.lens_prior`
    allows, since here no field of view was stated; a pinhole's curve at 40 degrees is well
    inside."""
    slope_sigma: float = 0.35
    slope_shares: tuple[float, float] = (0.75, 1.0)
    """The curve's rise against an equidistant one, at these shares of the edge: at three sigma it
    still rises, so the lens does not turn over in the picture."""
    aspect_sigma: float = 0.01
    """Of a pixel's shape, at the least: a board tells it better than any data sheet."""
    centre_share: float = 0.04
    """Of the picture's width: modules with a centre 3 % off are on sale."""
    focal_log_sigma: float = 0.7
    """Of the focal length's logarithm about the start: a factor of two, only so that boards which
    leave it open lead to a wide answer and not to none."""

    # ------------------------------------------------------------------------------ the boards

    bend: float = 0.0061
    """Sigma of each of three bends a board has for good, of its half length. This and the next four
    are learned from drawn boards (`python -m tests.accuracy.board_priors`): board material on a
    clamp or a print on card sags by 0 to 2 mm over 20 cm; that is common practice, no source."""
    own_bend: float = 0.0006
    """Likewise of what it bends anew in each picture, held or leant otherwise."""
    stretch: float = 0.001
    """Of a print, more along than across, or askew."""
    bend_say: float = 5.0
    own_bend_say: float = 3.0
    """How many measured bends the sigmas above are worth against what the pictures show."""

    # ---------------------------------------------------------------- pictures that do not belong

    floor_px: float = 0.15
    """Beside the corners' own sigmas what pictures of one lens may leave: prints, and lenses of
    slightly another kind, leave 0.05 to 0.2; other lenses pixels. Less would call sound pictures of
    a poor print foreign, more would let lenses pass that differ by a hundredth."""
    least_share_agreeing: float = 0.8
    """Of a picture's corners: one with fewer shows another lens, or is no measurement."""
    better: float = 0.5
    """Pictures are left out where the rest then leaves less than this share of what all leave."""
    fewest_of_second: int = 2
    second_share: float = 0.25
    """Of the pictures, that must agree with a second lens before there is said to be one."""
    fewest_samples: int = 4
    """Sets that are tried where one of them already has half of the pictures agree."""
    most_samples: int = 16
    pairs_up_to: int = 6
    """Sets of views that are tried: of two each where there are no more views than this, else of
    three. Of ten, five by either lens and taken in turn, half of the neighbours are of one."""
    fewest_to_disagree: int = 3
    """Pictures, of which no lens comes: fewer may just tell too little."""
    most_extra_px: float = 1.5
    """Beside the corners' own sigmas; where pictures leave more there is no lens to speak of."""

    # ---------------------------------------------------------------------- pictures that fit ill

    family_level: float = 0.02
    """Chance that any picture at all is named when none is at fault."""
    fewest_views_to_test: int = 4
    least_log_spread: float = 0.25
    """Of chi-square between sound pictures: few of them may happen to agree perfectly."""
    least_named_px: float = 0.1
    """RMS held out below which a picture does no harm, whatever its fellows leave."""
    largest_share_left_out: float = 1 / 3
    fewest_views_to_spread: int = 5
    spread_score: float = 3.5
    """Standard deviations by which the lens's spread between pictures must exceed its stated
    one."""

    # ------------------------------------------------------------------------------ what is known

    largest_focal_sigma: float = 0.10
    """Of the focal length; a lens known less well is no better than a stated field of view."""
    good_enough_px: float = 0.2
    """Sigma of the projection below which no more pictures are asked for."""
    beyond_reach: float = 1.05
    """Times the largest angle at which a corner was seen: beyond, nothing is known."""
    upright_rad: float = float(np.radians(15))
    """Boards that lean less than this all of them leave the focal length to their distance."""
    fewest_rows_for_terms: int = 200
    """Coordinates of corners below which a lens of another kind is not asked for."""
    model_error_chance: float = 1e-4
    least_model_error_px: float = 0.05
    """A model error is said where it is as unlikely to be none, and moves corners by as much."""
    term_prior: float = 0.02
    """Sigma of each further term, of the focal length at the edge: assembled lenses have up to
    some thousandths; it only keeps what the corners cannot tell from growing."""


LENS = LensSettings()
