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
    """Times the board's median misfit from which a shadow's edge is tried."""
    most_misfit: float = 8.0
    strange_share: float = 0.2
    """A corner is not one where its misfit is so many times the usual, and its root this share of
    the contrast."""
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
    most_grids: int = 2
    """Likeliest grids of a picture that are measured."""
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
    """A corner farther than this from the surface, in spacings, is not where the others put it."""


SETTINGS = BoardCornersSettings()
