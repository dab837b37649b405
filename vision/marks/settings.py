"""What tunes how marks are found and measured: one value, each number with its origin."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vision.marks.source_settings import (
    BarsSettings,
    OverlaysSettings,
    PanesSettings,
    ScreenSettings,
    StraightenedSettings,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """What is fitted round an edge: half its size across and along in px, and the first blur.

    `every` pixel is taken, or every second where the picture is soft.
    """

    across_px: int
    along_px: int
    blur_px: float
    every: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class CandidatesSettings:
    """Places that look like a mark, anywhere in a picture."""

    scales_px: tuple[float, float] = (1.2, 2.0)
    halved_scales_px: tuple[float, float] = (3.4, 5.5)
    wide_scale_px: float = 9.0
    wide_line_px: float = 12.0
    """Gaussian scales at which lines of 1 to 14 px are seen as lines; a factor of 1.7 loses little.
    The longer ones are looked at in the picture at half its size, where they cost an eighth; one
    more, where lines may be wider than 12 px, since all that is large and dark answers to it."""
    crowd_scales_px: tuple[float, ...] = (4.0, 6.5, 10.5, 17.0, 28.0)
    crowd_power: float = 0.8
    """Scales of a patch of saddles, a factor of 1.6 apart, and the power of the scale by which a
    patch outweighs its own corners."""
    crowd_gain: float = 5.0
    """Brings the density of a clear board to the strength of a clear cross."""
    crowd_cap: float = 0.15
    """Saddle strength that counts in full: a strong edge must not outweigh a faint board."""
    least_strength: float = 0.01
    least_brighter: float = 0.1
    """Curvature of a peak, and how much brighter than the ground its tape is, in the logarithm."""
    ground_sigma_px: float = 56.0
    nearby_px: int = 11
    """Sigma of that ground's mean, wider than a near tape, and how far tape is looked for: as far
    each way as the widest line is wide."""
    log_offset: float = 12.0
    """Added to grey levels before the logarithm, so that the noise of deep shadow is not
    magnified."""
    noise_peak: float = 0.85
    """Curvature that white noise of sigma 1 in the logarithm shows at scale 1: 3.5 times its sigma,
    sqrt(3 / (16 pi)), about what its highest peaks reach. It falls with the scale (the variance of
    a Gaussian's second derivative, scale-normalised as here). Less than that is no mark."""
    least_noise: float = 0.5
    """Sigma in levels that rounding and compression leave where a picture looks noiseless."""
    strength_cap: float = 0.12
    least_cap: float = 0.02
    cap_rank: int = 40
    """Strength above which a peak is worth no more: near marks are strong, and so are some stains.
    In poor light all are weaker, and the strongest 40 set it."""
    black: int = 4
    dark_percent: float = 1.0
    darkest: float = 12.0
    """Levels up to this are black, and the share of the others that something dark takes; levels up
    to which that is dark as it is. Practice pictures, without a veil, have 10 to 23: where nothing
    was found a few levels taken off them do no harm."""
    noisy: float = 5.0
    softened_px: float = 0.9
    """From this noise on (sigma in levels) marks are looked for in the picture softened by this
    much: noise falls to a third, a mark of 6 px keeps most of its contrast. Nothing is measured
    there."""
    band_rows: int = 128
    reach_sigmas: float = 4.0
    """Rows that are looked at together, and how far OpenCV's Gaussian reaches beyond them."""
    most_candidates: int = 320
    """Strongest peaks kept: on car-park pictures all larger marks are among the first 300."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureSettings:
    """A known mark drawn into the picture and fitted to its pixels."""

    pull: float = 1e-3
    """Weight of one pixel that draws each level to the patch's own: levels that cover no pixel stay
    finite."""
    state_sigma: tuple[float, ...] = (1.0, 1.0, 0.05, 0.6, 0.012, 1.0, 1.0, 2.0)
    """Weak knowledge of a state, in its own units. A mark small in the picture cannot tell turn,
    blur and tape itself; a large one is not held by this. The centre's metre keeps an even patch
    finite."""
    least_noise: float = 0.3
    """Of a pixel, in levels: whole numbers alone leave this."""
    first_damping: float = 1e-3
    most_damping: float = 10.0
    """Damping at the start of a fit, and from which on a step is taken that betters nothing: it is
    too short to matter."""
    darkest_told: float = 1.0
    lightest_told: float = 252.0
    """Levels beyond which what the sensor saw is cut off, and its noise with it."""
    least_promise: float = 0.01
    """Share of the misfit that a step must promise to take away, or it may be the last."""
    least_of_a_kind: int = 30
    """Pixels of ground, or of tape, whose noise is told apart."""
    robust_reach: float = 8.0
    """Residuals beyond this many robust sigmas weigh nothing. What is not the mark lies far beyond;
    a nearer reach would set aside the edges, which hold the centre, for a blur not quite as drawn:
    at 4 the centres of practice pictures scatter half as much again."""
    focus_blur_px: float = 0.9
    """Blur (sigma) of a picture in focus: what marks are drawn with before theirs is known."""
    blur_range_px: tuple[float, float] = (0.35, 8.0)
    """Blurs (sigma) between which one is fitted."""
    soft_range_px: tuple[float, float] = (0.0, 12.0)
    """Softness of a shadow's edge, between none and a penumbra as wide as a mark."""
    most_turn_rad: float = 0.3
    """Turn against its tape up to which a mark is drawn; it is refused long before."""
    rough: tuple[int, float] = (6, 2e-2)
    fine: tuple[int, float] = (8, 1e-2)
    """Most Gauss-Newton steps of a round, and the move of the centre in px at which it ends: a step
    of this size leaves some ten-thousandths of a pixel, a fortieth of a centre's sigma."""
    rough_pixels: int = 400
    """A large mark's pixels that the rough round looks at: enough for some hundredths of a
    pixel."""
    floor_sigma_px: float = 0.002
    """What calibration of a sensor's pixel grid leaves: no centre is claimed better than this."""
    shadow_sigma_px: float = 0.02
    """The same where a shadow's edge crosses: no edge is quite straight, and it pulls at the
    centre."""
    clearly: float = 10.0
    """Times the noise. Boards' corners in a soft picture came out right from 6 times the wrong
    way."""
    form_sigma: float = 0.01
    """Share by which the size of a mark along or across, or its slant, may be drawn wrong. In drawn
    yards pose and lens give 0.006 (RMS over the marks), up to 0.02."""
    growth_sigma_px: float = 0.25
    """How far what is bright reaches beyond where it is drawn to, where no mark tells: 0.12 to 0.35
    px in six practice sets of another renderer, 0.24 RMS over the whole marks."""
    sure_growth_px: float = 0.1
    least_grown: int = 3
    """Sigma up to which a mark tells it, and how many have to."""
    least_growth_sigma_px: float = 0.05
    """Of what they tell for a mark elsewhere: within one picture it varies by 0.03 to 0.06."""
    most_uncovered_sigma_px: float = 0.25
    """What is left of a covered mark holds its centre at least so well, or it is not taken: a
    person's edge is not straight, and then decides as much as the mark."""
    shadow_gain: float = 0.6
    """A shadow edge is added only where it takes this share of the misfit away."""
    least_template_px: int = 9
    """A mark with less tape than this in the picture would correlate with anything."""
    least_half_px: float = 1.5
    most_half_px: int = 150
    """Half extents of a drawing that is tried."""
    log_offset: float = 10.0
    log_gain: float = 60.0
    drawn_gain: float = 100.0
    """Levels are looked at through their logarithm, in which a mark in shadow is as strong as one
    in the sun; the gains make its steps as high as those of the drawing."""
    smooth_px: float = 0.7
    no_gradient: float = 8.0
    """Smoothing before gradients are taken, and the gradient, in drawn levels, that counts half."""
    alike_reach_px: int = 2
    """Pairs further apart than this, along rows or down columns, are taken as not alike."""
    least_pairs: int = 20
    """Pairs of pixels at a distance from which on they tell how alike neighbours are."""
    least_variance_share: float = 0.5
    """A variance is never taken as less than this share of that of pixels that are not alike."""
    covered_contrast_share: float = 0.35
    """Contrast on one side, as a share of the other's, up to which that side is covered: ink in a
    shadow has 0.8 and more."""
    covered_sigmas: float = 2.0
    """How surely it is so: a side on which hardly any ink lies says nothing."""
    cover_reach: float = 0.01
    """Share of a pixel from which on the cover is in it, as the fitted edge has it."""
    inked_contrast: tuple[float, float] = (0.3, 1.0)
    """What ink that is surely seen shows: printed ink on tape has 0.6 to 0.8. Beyond 1 a level
    would be below black: what was fitted there is no ink."""
    bare_contrast: float = 0.1
    most_ink: float = 0.5
    """Contrast up to which a side is surely bare: with that much of the ink it is covered, whatever
    the other side looks like."""
    least_ink: float = 0.2
    """Share of a mark's ink that must be left: less may be anything."""
    margin: float = 0.2
    """Ground drawn beyond the mark's end and the tape's edge, in half extents of each."""
    least_pixels: int = 24
    """Pixels of a mark: with fewer its eleven unknowns are not told from the noise."""
    longest_px: int = 400
    """A box longer than this is no mark on the ground but the foot of the camera's own bracket."""
    least_bare_pixels: int = 30
    """Pixels of bare tape from which on a shadow's edge is looked for on it."""
    least_side_pixels: int = 8
    """Such pixels on each side of it."""
    least_step_gain: float = 0.15
    """Share of the misfit on bare tape that a step must take away to be tried."""
    start_soft_px: float = 0.5
    """Softness with which a shadow's edge begins."""
    sharpest_shadow_px: float = 1.5
    """Blur with which it begins at the most: what looked softer was the edge itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgesSettings:
    """Straight edges fitted to pixels."""

    steps: int = 6
    """Damped steps of an edge's fit, which begins within two pixels of it."""
    blur_range_px: tuple[float, float] = (0.3, 12.0)
    """Blurs (sigma) between which an edge's is fitted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxCornerSettings:
    """A carton's corner, where three edges meet."""

    edge_m: float = 0.2
    """How far along its edges a carton is looked at: cartons are rarely smaller, and in a stack the
    next one stands a little turned."""
    edge_share: float = 0.85
    """Of a carton's stated sides, how much of an edge is looked at: its far corner is left out."""
    unknown_size_m: tuple[float, float] = (0.3, 0.3)
    """Sides of a carton whose size is not told; common practice, no source."""
    seen_sine: float = 0.03
    """Sine of the angle under which a side is seen from which on its edge counts as seen."""
    turn_sigma_rad: float = float(np.radians(3.0))
    level_sigma_rad: float = float(np.radians(1.0))
    """A carton's stated turn, and how level and plumb its edges are; common practice, no source."""
    turn_step_rad: float = 1e-3
    """Turn by which an edge's sideways move is had as a difference: it is as straight as that."""
    spacing_px: float = 2.0
    """Distance between edge fits along a ray; they share pixels at this."""
    window: Window = field(default_factory=lambda: Window(across_px=4, along_px=2, blur_px=0.9))
    """Pixels that each such fit takes in: an edge's own, in a picture in focus."""
    least_fits: int = 4
    least_good: float = 0.6
    """Fits of an edge that hold, in number and as a share: less is no clear step."""
    explained: float = 0.6
    """Share of a window that its edge has to explain."""
    most_blur_px: tuple[float, float] = (2.5, 4.0)
    off_sigma_px: tuple[float, float] = (0.25, 0.5)
    """By plane, brightness and colour, which JPEG keeps at half the size: the blur of a clear edge,
    and sigma of its place beside its noise, cardboard being dented and its edges round."""
    most_miss_px: float = 0.6
    """RMS by which the fitted edges may miss lines through one point."""
    dent_m: float = 0.002
    """Roundness of a carton's corner; common practice, no source."""
    most_sigma_px: float = 1.5
    """Sigma of a corner from which on it is not told."""
    apart_px: float = 4.0
    """A side at least this wide in the picture has two edges that cannot be taken for each
    other."""
    edge_from_px: float = 5.0
    shortest_edge_px: float = 14.0
    longest_edge_px: float = 45.0
    """Edges are looked at from this far from the corner, where they stand apart, to this far."""
    margin_px: float = 10.0
    """Room round what is looked at for the fits' windows."""
    lattice_px: float = 0.5
    """Step of the search: half a pixel loses nothing of an edge's slope."""
    profile_blur_px: float = 1.0
    """Smoothing across an edge before its slope is taken."""
    least_strength: float = 6.0
    """Mean slope across each edge over its own sigma."""
    least_step: float = 6.0
    """Levels from which a step counts."""
    sections: int = 3
    least_section: float = 0.3
    """Each edge is a step all along: each part of it has this share of its mean slope at least."""
    rival_share: float = 0.5
    rival_px: float = 3.0
    most_starts: int = 4
    """Other places this far off with so much of the strength are measured too: where two stand the
    test it is none."""
    reach_sigmas: float = 4.0
    reach_px: tuple[float, float] = (5.0, 16.0)
    """How far round its prediction a corner is looked for, in sigmas, and within which bounds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldsSettings:
    """Whether odd rows are shifted against even ones."""

    columns: int = 720
    """Pictures wider than one and a half times this are narrowed: half a pixel of the whole one is
    still a quarter of a column."""
    offset: float = 10.0
    """Levels added before the logarithm, so that noise in the dark stays small."""
    block_px: tuple[int, int] = (48, 24)
    """Columns and rows of a field that make one block: some hundred of them, each with an edge."""
    soft_px: tuple[float, float] = (1.5, 0.8)
    """Smoothing across and down, so that slopes hold over a pixel and more."""
    rough: tuple[int, ...] = (3, 2, 1)
    fine: tuple[int, ...] = (2, 1, 1, 0, 0)
    """How often the columns are halved, step by step: 8 px are one column of the first."""
    most_step_px: float = 1.5
    """A step longer than this, in columns of its level, is outside where slopes hold."""
    least_spread: float = 0.1
    """Share of the blocks' median mean square that is added to each, so that none is all."""
    least_sigma_px: float = 0.001
    """No term of a shift is known better."""
    least_rough_px: float = 0.12
    """Shift below which rows are taken for unshifted after the rough steps; progressive practice
    pictures give up to 0.06."""
    least_apart_px: float = 0.3
    """Shift from which odd rows are not measured together with even ones: half of it is what a
    mark's centre would be off."""
    torn_block_px: tuple[int, int] = (24, 12)
    torn_times: float = 2.0
    torn_noises: float = 9.0
    torn_levels: float = 2.0
    torn_share: float = 0.004
    """Columns and rows of a field that make one block; how many times the mean square between
    fields is that within one, that of half the blocks, and in levels, where a block is torn; and
    the share of torn blocks from which the picture is. Progressive practice pictures had up to
    0.0013 of them, combed ones from 0.003 on, mostly 0.01 and more."""
    least_unlike_px: float = 0.1
    """How much a shift may differ over the picture and still be taken for alike."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All that tunes this room."""

    candidates: CandidatesSettings = field(default_factory=CandidatesSettings)
    measure: MeasureSettings = field(default_factory=MeasureSettings)
    edges: EdgesSettings = field(default_factory=EdgesSettings)
    box_corner: BoxCornerSettings = field(default_factory=BoxCornerSettings)
    fields: FieldsSettings = field(default_factory=FieldsSettings)
    panes: PanesSettings = field(default_factory=PanesSettings)
    bars: BarsSettings = field(default_factory=BarsSettings)
    screen: ScreenSettings = field(default_factory=ScreenSettings)
    straightened: StraightenedSettings = field(default_factory=StraightenedSettings)
    overlays: OverlaysSettings = field(default_factory=OverlaysSettings)


SETTINGS = Settings()
