"""What tunes how views are compared: one value, each number with its origin."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vision.marks.settings import Window


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamsSettings:
    """Seams, what is seen beside them, and tape edges that cross them."""

    bend_m: float = 0.1
    """Half the length of edge over which a bend is taken: about a tape's width."""
    overlap_from_m: float = 1.0
    overlap_reach_m: float = 5.0
    overlap_step_m: float = 0.02
    """Overlap is looked at from this far from the body, so far to each side, in these steps: a step
    is the fineness of what is said."""
    nearest_reach_m: float = 10.0
    nearest_step_m: float = 0.01
    """How far out first ground is looked for, and in what steps."""
    near_seam_m: float = 2.5
    """Shared marks farther than this from a seam, as far as a seam leads from the body if nothing
    else is stated, say nothing of what is drawn there: two cameras on one side share the whole of
    it."""
    point_spacing_m: float = 0.05
    """Distance between the points of a seam at which the gap is taken."""
    seam_from_m: float = 0.3
    seam_to_m: float = 2.5
    """A default seam's ends, outward from the body's corner: from bumper to where the display
    ends."""
    widest_neighbours_rad: float = float(np.radians(170))
    """Cameras whose pans differ by this look away from each other and share no seam."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TextureSettings:
    """The shift of the ground's texture between two views."""

    search_m: float = 0.2
    """Shifts that are tried: four times a seam's tolerance."""
    near_m: float = 0.1
    """Ground over which the drawings' difference is taken as alike, to weigh it."""
    least_shared: float = 0.15
    """Curvature of the peak, as a share of what texture alone would give, below which the views
    share too little."""
    block_m: float = 0.3
    """Ground left out at once by the jackknife: wider than texture is alike."""
    field_sigma: tuple[float, ...] = (np.inf, 0.05, 0.05, 0.03, 0.03, 0.03)
    """Prior on how the gap changes over the ground: m per m, then m per m^2. Fits of one layout
    with a strip 5 cm off differ by up to 0.06 and 0.03."""
    least_ground_m2: float = 0.5
    """Ground that both views show, with less of which nothing is told."""
    rival_share: float = 0.75
    """A second peak of the correlation above this share of the first: not told apart."""
    least_correlation: float = 0.2
    """Correlation of a peak: less comes by chance."""
    largest_sigma_m: float = 0.03
    """Worse known than this is no help against a tolerance of some centimetres."""
    floor_px: float = 0.05
    """What resampling and lens blur leave of a far view's pixel; measured on rendered sets."""
    steps: int = 12
    """Most Gauss-Newton steps."""
    settled_sigmas: float = 0.25
    """Step, in sigmas of all twelve numbers together, at which they end: of one number less than a
    tenth. Smaller ones go to and fro for good: OpenCV moves pixels by whole thirty-seconds."""
    step_m: float = 0.02
    """Grid on the ground, after the blur of both views: a far view's pixel is 2 to 4 cm long."""
    half_width_m: float = 0.9
    """Ground on each side of the seam: wide enough for a lot's paint, near enough to be the
    seam's."""
    shortest_m: float = 1.5
    longest_m: float = 6.0
    """Less ground has too little texture; farther out no display shows anything."""
    high_pass_m: float = 0.2
    """Shading wider than this differs between views; texture that carries a shift is finer."""
    blur_px: float = 0.8
    """Blur (sigma) of a picture in focus, which each view's drawing gets of the other's."""
    tape_margin_m: float = 0.07
    """Beyond the tape's planned edge: laying, seam gap and blur."""
    tape_beyond_m: float = 0.7
    """Tape goes on beyond its first and last mark; common practice, no source."""
    body_margin_m: float = -0.15
    """Negative: a body a little larger than stated, for bumpers and their blur."""
    raised_half_m: float = 0.35
    """Half the width of what a raised mark may stand on; common practice, no source."""
    edge_m: float = 0.08
    """Ground beside what is masked that takes no part either: the blur's reach."""
    coarsest_m: float = 0.15
    """A view whose pixel spreads over more ground than this shows no texture that carries a
    shift."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharpnessSettings:
    """Blur of edges and marks."""

    quantile: float = 0.45
    """Of the edges' blurs, the one that the map follows: below the middle, since edges may be soft
    by themselves and none is sharper than the lens."""
    iterations: int = 30
    """Reweighted solutions of the quantile fit."""
    groups: int = 10
    block_px: float = 0.125
    """Parts of the picture left out in turn; a part is a set of blocks this wide, in widths."""
    least_edges: int = 40
    """Edges from which on a map of eight terms is fitted."""
    least_variance_px2: float = 0.01
    """Squared blur below which nothing is told."""
    ramp: float = 1.05
    ramp_sigma: float = 0.06
    """An edge blurred by an even motion is a ramp, and the normal integral that fits it best is up
    to 1.1 times as wide; short and mixed edges take most of that away again. What is left is a
    sigma."""
    ridge: float = 1e-4
    """Weight that holds the map's slopes and bends, per edge: it matters only where few edges
    tell."""
    soft_ratio: float = 1.8
    soft_more_px: float = 0.8
    """A mark is soft where its blur is surely (by two sigma) this many times what the map says
    there, and this much more in px at 1280 px width."""
    clear_ratio: float = 1.5
    """A mark with no more than this many times the map's blur is clear."""
    crossed: float = 0.45
    """An edge across the mark with less than this share of its blur speaks against a drop."""
    patch_reach: float = 0.06
    """Soft marks closer to one another than this, in widths of the picture, lie in one patch."""
    least_clear_marks: int = 3
    """Marks that must be clear, to speak of surroundings at all."""
    edge_looks: tuple[tuple[float, int, int], ...] = (
        (1.5, 3, 450),
        (4.0, 2, 200),
    )
    """Each look for edges: smoothing in px, how many a tile, and how many in all."""
    cell_px: int = 9
    tile_px: int = 40
    """One edge a cell at most, some a tile: a hedge or a fence must not outvote the ground."""
    narrow: Window = field(default_factory=lambda: Window(across_px=5, along_px=3, blur_px=1.0))
    """Window of an edge in a picture in focus."""
    wide: Window = field(
        default_factory=lambda: Window(across_px=12, along_px=8, blur_px=3.0, every=2)
    )
    """Tape edges are close to one another, and a blur beyond 1.6 px needs more room."""
    wide_from_px: float = 1.6
    """Blur from which on the wide window is taken."""
    black_share: float = 0.12
    rim_px: int = 12
    """What is darker than this share of the bright levels and touches a corner is the black round
    an image circle, and edges keep so far from it."""
    surely_soft_px: float = 6.0
    """Above this median the window is too small for the blur, and half the size is better."""
    enough_edges: int = 60
    """Edges with which the picture is not looked at in half its size."""
    coarsest: int = 2
    """Smallest size at which edges are looked for, as one over it."""
    edge_explained: float = 0.92
    most_off_px: float = 2.5
    least_share: float = 0.1
    least_noises: float = 2.5
    """A fit is an edge where it explains this share of what its window holds beside the noise,
    stays within this of where it began, and its step is this share of the picture's span and this
    many times the noise."""
    span_share: float = 0.15
    """Sigma of the span as a share of itself: what happens to be in the picture changes it that
    much between pictures of one lot (practice sets: 92 to 147 levels)."""
    quantisation: float = 0.3
    """Noise below which whole levels hide it (uniform rounding, 1 / sqrt(12))."""
    tried_px: tuple[float, ...] = (2.0, 2.7, 3.6, 4.8, 6.4)
    """Blurs that a mark which was not found is drawn with, beside that of its surroundings."""
    offsets_px: tuple[float, ...] = (-4.0, -2.0, 0.0, 2.0, 4.0)
    """Where it is drawn, either way of its prediction: strips may lie some centimetres wrong."""
    step_share: float = 0.15
    """Sigma of a blur that was found by trying, as a share of it: the tries are a third apart."""
    least_extent_px: float = 10.0
    """Shorter extent of a mark from which its blur says something."""
    mark_explained: float = 0.75
    softer_better: float = 1.6
    """Share of the patch that the soft drawing explains, and how many times the sharp one's misfit
    exceeds its own."""
    most_noise: float = 1.8
    """Times the usual misfit up to which a mark counts as drawn well."""
    most_pixels: int = 500
    """Pixels of a mark that a blur is tried on."""
    smoothing_px: float = 1.2
    """Smoothing before the steepest slope is taken: noise would be the steepest."""
    sides_at: float = 0.75
    """How far out the sides are looked at, from the middle to the edge of the picture."""
    side_from: float = 0.2
    """Marks farther out than this share of the half picture lie on a side."""
    least_side_marks: int = 2
    """Marks from which on a side has a blur of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All that tunes this room."""

    seams: SeamsSettings = field(default_factory=SeamsSettings)
    texture: TextureSettings = field(default_factory=TextureSettings)
    sharpness: SharpnessSettings = field(default_factory=SharpnessSettings)


SETTINGS = Settings()
