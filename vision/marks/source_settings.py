"""What tunes how sources are treated before anything is measured; part of the room's settings."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class PanesSettings:
    """Panes of a screen that shows several cameras."""

    least_side_px: int = 80
    """A smaller pane shows no marks; also how near an edge no cut is looked for."""
    least_share: float = 0.17
    faintest_share: float = 0.25
    """Share of the places along a line that step there and not beside it, of a single cut and of an
    even grid in the mean; and of that mean the least for each of its seams. Seams between the views
    of practice sets give 0.07 to 0.9, lines within a view up to 0.06, and once 0.22."""
    times: float = 1.5
    least_step: float = 4.0
    """A step is larger than its neighbours so many times, and by so many levels of noise."""
    bar_px: int = 16
    """Half the width of the widest bar between panes of an even grid."""
    bar_spread: float = 20.0
    """Levels within which a row or column is one even bar; compression makes it so uneven."""
    irregular: float = 0.01
    """Panes of one row are alike in length to this share."""
    row_px: int = 40
    """Panes whose tops differ by less stand in one row, when they are read in order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BarsSettings:
    """Black bars on two sides of a picture."""

    black: float = 24.0
    """Levels of a bar: video's black is 16, and compression adds some."""
    least_px: int = 4
    unlike_px: int = 2
    """The narrowest bar, and by how much two of a picture differ."""
    least_step: float = 6.0
    least_share: float = 0.5
    """Levels of the step from a bar to the picture, and along how much of it there is one. A round
    rim steps along a few px of any row; at dusk half of a picture's edge is as dark as a bar."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OverlaysSettings:
    """What a screen draws over its pictures. Chosen on practice sets with and without."""

    fewest_cameras: int = 3
    """Front and rear views of a lot are much alike; no third one is."""
    least_gradient: float = 10.0
    """Levels per px, in every picture: letters have 20 and more, ground up to 8."""
    least_resultant: float = 0.97
    """Length of the mean of the gradients' unit vectors: within 14 degrees of each other."""
    most_apart: float = 40.0
    """Levels between the darkest and the lightest picture: compression leaves that much of thin
    letters over scenes that differ."""
    black: int = 40
    rim_px: int = 6
    """Levels of what lies beyond a lens, and how far its edge goes on, at half the size."""
    round_px: int = 11
    least_step: float = 15.0
    """What is drawn stands out this much from the median of three times so many px round it."""
    least_edge_px: int = 60
    least_px: int = 8
    least_edged_share: float = 0.35
    """Pixels with alike edges in all at half the size, pixels of one letter, and the share of them
    that lie at such an edge: strokes are thin."""
    most_stroke_px: float = 8.0
    most_drawn_share: float = 0.1
    """Half the width of the widest stroke, and the share of a picture that may be drawn over: a
    body that stands in all pictures alike is wider, and more."""
    most_growth: int = 40
    """Steps of 2 px by which a line is followed along edges that are alike."""
    tallest_text_share: float = 0.12
    widest_share: float = 0.12
    fewest_letters: int = 3
    widest_gap_px: int = 41
    """Letters of one line, as shares of the picture, in number, and how far apart."""
    text_apart: float = 30.0
    """Levels within which a changing digit is as bright as the letters beside it."""
    margin_px: int = 3
    """What blur and compression carry beyond an edge."""
    most_share: float = 0.25
    """Share of a mark's window that may be covered and what is left be looked at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenSettings:
    """A display that was photographed. Chosen on photographs made of practice sets."""

    levels: tuple[int, int, int] = (20, 140, 6)
    straight_rough_px: float = 1.5
    rough_starts: int = 4
    """Levels (first, end, step) from which on something is taken for lit; how near four lines an
    outline is straight, and how many of the straightest are tried."""
    rough_width_px: int = 504
    rough_rounds: int = 6
    least_share: float = 0.12
    """Of the photograph, that the lit region takes up."""
    least_outline: int = 20
    """Places of the outline along each side."""
    first_reach_px: float = 12.0
    """How far off a rough line an edge may be, in px of the small photograph."""
    near_px: float = 8.0
    """How much of the photograph an edge needs on both sides."""
    places_a_side: int = 80
    least_places: int = 12
    least_step: float = 5.0
    """Places at which each side is looked at, how many must show its edge, and the step in levels
    there."""
    fit_rounds: int = 8
    bend_sigma: float = 0.02
    """How far the lens of a phone bends, at half a diagonal from the middle."""
    steep_share: float = 0.3
    least_slope: float = 0.7
    """Of the steepest place and in levels per half px, from which on a place may be an edge."""
    on_edge_px: float = 1.5
    least_held: float = 0.6
    least_span: float = 0.3
    """How near a side a place lies on it, what share of places do, and over what share of it."""
    most_left_px: float = 0.8
    """Edges less straight than this are no screen's."""
    alike_places: float = 4.0
    least_width_px: float = 700.0
    """Of the screen in the photograph: less shows no far marks."""
    most_width_px: float = 1280.0
    """Of the straightened picture: displays of cameras have no more."""
    most_slant: float = 1.8
    """Of one side over the opposite one: some 35 degrees aslant, at arm's length."""
    soft_px: float = 0.6
    """Blur (sigma) before the picture is straightened: takes the screen's own pixels out."""
    least_sigma_px: float = 0.08
    """Of a centre, in px of the straightened picture, beside what the edges say: glass, lens."""
    scale_sigma: float = 0.01
    aspect_sigma: float = 0.003
    centre_sigma: float = 0.002
    """What a screen may cut off or stretch, and its frame hide, as shares of the picture; common
    practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StraightenedSettings:
    """Views that a display has straightened or merged."""

    least_half_field_rad: float = math.radians(60.0)
    """A lens that sees less bends too little to be told."""
    width_px: int = 640
    """The picture is looked at so small: longer edges are then one piece."""
    least_sagitta_px: float = 8.0
    fewest_lines: int = 2
    """By how much a lens would have bent a line that is straight, and how many such lines. Of 40
    raw practice pictures the second line has 5.6 at the most; of straightened ones three in four
    have more than 8."""
    fewest: int = 2
    least_share: float = 0.5
    """Pictures of a job that say so, in number and as a share."""
