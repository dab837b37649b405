"""What tunes how marks are named and measured: one value, each number with its origin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.job.settings import SETTINGS as JOB


@dataclass(frozen=True, slots=True, kw_only=True)
class OddsSettings:
    """How what a mark shows is sorted before it is counted: see `odds`."""

    correlations: tuple[float, ...] = (0.35, 0.5, 0.65, 0.8, 0.9)
    """Limits of the correlation with the drawn mark: below the first, no mark is seen."""
    offsets_px: tuple[float, ...] = (0.75, 1.5, 3.0)
    """Limits of how far from its prediction it is seen: right poses see four of five in the first,
    wrong ones find what is most alike anywhere within reach."""
    sizes_px: tuple[float, ...] = (9.0, 20.0)
    """Limits of a mark's narrowest width: small marks are alike to more things."""
    no_step: float = 0.06
    tape_step: float = 0.15
    """Step of the logarithm of grey from the ground to the tape up to which there is none, and from
    which on there is tape: practice pictures have 0.2 to 0.6."""
    spreads: tuple[float, ...] = (0.14, 0.26, 0.34)
    """Limits of the spread of that logarithm where no mark is seen: ground has up to the first, its
    tape and what edges a wrong pose cuts up to the second, a thing in the way more."""
    darker: float = 0.25
    lighter: float = 0.35
    """What lies this much below or above the ground beside the nearest marks is no ground, and no
    tape on it."""
    nearest: int = 3
    log_offset: float = 10.0
    """Added to grey before its logarithm, as in template matching."""
    tape_seen_px: tuple[float, float] = (3.0, 8.0)
    """Width of a tape in the picture at which it begins to be expected, and surely is."""
    tape_steps: tuple[float, ...] = (-0.1, 0.03, 0.1, 0.2)
    """Limits of the step from the ground to the tape between two marks."""
    least_due: float = 0.1
    """How surely a mark is seen at the least that is small, or half behind the body."""
    tape_worth: float = 0.5
    """What such a place is worth: a strip's tape is one piece, seen at several places."""
    most_nats: float = 5.0
    """What one mark may say at the most, as sharp as it may be."""
    seen_nats: float = 1.0
    """A mark is seen where what it shows is this much likelier at a right pose."""
    most_strays: int = 60
    """Candidates on the ground, the strongest, that are looked at for marks that a naming leaves
    over."""
    round_layout_m: float = 1.0
    own_reach: float = 1.2
    """Where they are looked for: so far round the layout, and beyond so many half extents of every
    mark, within which its own arms are."""
    stray_correlation: float = 0.65
    stray_off_px: float = 1.5
    """What is alike by more, and lies nearer, looks like a mark."""
    stray_nats: float = 3.0
    """What one of them says against a naming."""
    answering: int = 3
    """How many namings answer for what they leave over, as long as another comes to lead."""
    lead_worth: float = 0.7
    sum_worth: float = 0.6
    sum_of_none: float = 1.6
    """What a nat of a lead, and of a sum beyond that of chance, is worth: less than one, because
    marks of a strip do not speak independently. Chosen by hand on some hundred draws, not fitted;
    `python -m tests.accuracy.odds_draws` holds them against the truth."""
    other_layout_nats: float = 9.2
    """By how much a row of another layout is less likely before anybody looks: one picture in a
    thousand is of another job (common practice, no source), and one row in ten that is not this
    job's can be laid over one of its rows."""
    same_lot_nats: float = 6.9
    """How much less likely it is beside pictures of this layout: a lot's pictures are taken
    together, and one in a thousand strays among another's (common practice, no source)."""
    as_stated: float = 3.0
    """Decades by which a picture is its camera's, and not turned over, before anybody looks: one in
    a thousand is mixed up. Common practice, no source."""
    least_log10_odds: float = 4.0
    """Odds at which a camera is identified: 10,000 to 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Limits of naming and measuring, in the order in which a picture meets them."""

    odds: OddsSettings = OddsSettings()
    half_seen_margin_m: float = 0.35
    """A mark hidden only by the outer this much of the body's box may well be seen: bodies are
    rounded and mountings some centimetres off. It is looked for, and not missed."""
    most_misfit: float = 0.5
    """The plan fit's chi-square per mark from which on its marks do not belong together. Right
    poses give up to 0.25; with one end of a strip a mark off it is 0.53 and more."""
    farthest_place_m: float = 0.35
    """A pose this far from the stated mounting, thrice what a mounting may be wrong, is
    another's."""
    farthest_aim_rad: float = float(np.radians(24.0))
    """Likewise for any angle of the intended aim, which may be 15 degrees wrong."""
    flat_spread: float = 3.0
    """Standard deviation of grey, in levels, below which a picture is one even level."""
    most_burnt: float = 0.25
    """Share of a picture that may be burnt out without a word: practice pictures have under 1 %."""
    sure_contrast: float = 20.0
    """Ink that stands out this many times the noise is a mark's, small as it is, where the body as
    stated just hides it: then it does not, quite."""
    mirror_reach_m: float = 2 * JOB.body_margin_m
    """How far off an image may lie square to the face that mirrors it: twice what a face may be
    off."""
    mirror_sigmas: float = 3.0
    """How far off it may lie along that face, in sigmas of where the mark ought to be."""
    least_shape_log10_odds: float = 2.0
    """Odds with less of which than 100 to 1 the shape of pixels stays open."""
    reading_odds: float = 100.0
    """Odds at which one of a standard's two readings is taken for the pictures'; at less both are
    allowed for."""
    nearly_square: float = 0.02
    """Logarithm of a pixel's width over height up to which the search takes it for square: 2 px at
    100 from the middle, less than its first steps reach."""
    aim_reach_rad: float = float(np.radians(18.0))
    """Half the range of the search in pan, tilt and roll: the 15 degrees an aim may be wrong, and
    what a camera 10 cm out of place adds at 2 m."""
    aim_step_rad: float = float(np.radians(3.0))
    """Step of that grid: refinement reaches a step and a half, and half of it costs eight times as
    much."""
    axis_scales: tuple[float, ...] = (0.94, 1.0, 1.06, 1.12)
    """Focal length on the axis over that of an equidistant lens with the same field of view."""
    screened_scales: tuple[float, ...] = (1.0, 1.08)
    """The same where jobs are only compared: half as many, with practically the same scores."""
    cell_px: int = 4
    splat_px: float = 22.0
    """Cells of the coarse map, and how far round a candidate it reaches: a step of the grid moves a
    mark by about 20 px in a picture of 1280, so that some camera of the grid falls into the
    reach."""
    map_px: int = 2
    """Cells of the map of the nearest candidates: half a cell is little beside where one is
    seen."""
    coarse_missing: float = 0.25
    missing: float = 0.3
    """What a mark costs that ought to be seen and is not, against 1 for one that clearly is: on the
    coarse map, and where candidates are matched."""
    refined_cameras: int = 96
    """Cameras of the grid that are refined."""
    match_radii_px: tuple[float, ...] = (34.0, 26.0, 20.0, 15.0, 12.0, 9.0, 7.0, 6.0)
    """From beyond the reach of the coarse map down to what the lens of two numbers leaves."""
    matched_px: float = 8.0
    """Distance from a candidate at which it counts for nothing in the final score."""
    search_prior_sigma: tuple[float, ...] = (*[0.05] * 3, *[0.2] * 3, 0.08, 0.08, 10.0, 10.0)
    """How far refinement may go from the grid, in the order of `derivatives`: half of what a
    mounting may be wrong, well beyond a step of the grid, the curve's terms, and a lens's centre in
    px."""
    least_explained: float = 0.5
    least_contrast: float = 3.0
    noise_alone: float = 1.4
    least_explained_noisy: float = 0.12
    least_contrast_noisy: float = 1.5
    least_ink_levels: float = 8.0
    """Where what the drawing leaves is within this much of the picture's own noise, nothing is
    there but the mark and noise, and a faint mark is good enough: its covariance says how good. But
    less than this many levels between ink and tape may be a stain."""
    most_sigma_px: float = 0.6
    most_corner_sigma_px: float = 1.0
    most_sigma_share: float = 0.25
    """Sigma of a centre from which on it cannot be told: of a mark, of a board's corner, and in
    shares of a mark's narrowest width or of a board's square. A board has many corners and is not
    mistaken."""
    least_move_px: float = 1.0
    most_move_px: float = 3.0
    move_share: float = 0.3
    """How far from its start a mark may be found, beside a share of its narrowest width."""
    most_corner_move_px: float = 1.2
    corner_move_share: float = 0.4
    shaded_move_share: float = 0.15
    """The same of a board's corner, once its board has been found: a panel is flat, its print good.
    The edge of what stands in front looks like a shadow's and pulls a corner along: less is
    allowed."""
    alike_px: float = 0.4
    alike_share: float = 0.75
    most_together_share: float = 0.7
    """A board laid out of its place lies as far off as this share of its corners say alike, but up
    to so many of its squares only: 1.4 squares off, along their diagonal, it looks the same."""
    most_turn_rad: float = float(np.radians(8.0))
    """Marks are printed square to their tape to a degree or two."""
    strange_noise: float = 3.0
    strange_blur: float = 2.0
    strange_blur_px: float = 1.0
    """A misfit of this many times that of the picture's other marks, or a blur of this many times
    theirs and so much more in px, is something else as well: half a mark behind the body's edge."""
    small_px: float = 6.0
    small_square_px: float = 3.5
    """Narrowest width of a mark, or of a board's square, below which that is reason enough to miss
    it, or to doubt it."""
    least_again_px: float = 4.0
    least_square_px: float = 2.0
    """Narrowest width of marks, and of boards' squares, that are looked for again."""
    countable_square_px: float = 4.0
    most_of_a_square: float = 0.35
    """Narrowest width of squares whose board's border tells which is the first; and how far off, in
    squares, a board of smaller ones may lie from where the other marks put it."""
    least_together: int = 3
    """Corners of a board that say together how far it lies from where it was looked for; and marks
    of a strip that do not lie by chance as they should."""
    suspect_place_m: float = 0.08
    """A plan fit this far from the stated mounting is worth a second look: good ones come within
    it."""
    poor_contradicted: float = 0.15
    """Share of what the marks say, against a naming, from which on another reading of the picture
    is looked for: bare ground where they should be. Most right namings of tidy yards have none."""
    most_place_misfit: float = 50.0
    """What a place far from the mounting counts at the most, as a sum of squares: it may be stated
    wrong."""
    least_joint_gain: float = 10.0
    """Drop of the joint chi-square that names a mirrored picture: odds of 150 to 1."""
    distinct_px: float = 8.0
    distinct_percent: int = 85
    """Poses most of whose marks lie closer than this are one pose. Not half of them: a pose may be
    right at one end of a strip and a mark off at the other, and the right one lies beside it."""
    same_px: float = 4.0
    same_spacing: float = 0.4
    """Poses name a mark alike that both see within this of one place, or that one puts nearer to
    where the other does than this share of the way to its nearest neighbour: less than half of
    it."""
    carried: int = 6
    most_carried: int = 12
    """Distinct poses carried to the comparison, and how many where none of these tells enough: with
    many marks hidden the right one stands further down the list."""
    same_names: float = 0.8
    """Share of the marks that both see in one place from which on two poses are one naming."""
    least_on_strip: int = 3
    worth_refining: float = 12.0
    """Marks of a strip that may be named one on, and how many nats such a rival may be behind
    before its refinement is not worth while."""
    looks: tuple[tuple[float, float, float], ...] = ((7.0, 0.55, 0.3), (3.0, 0.4, 0.15))
    """Each look for the drawn marks: reach in px, correlation that counts as seen, sigma in px of
    its place. Asphalt and edges rarely pass 0.5 within 7 px, and a mark cut by a shadow's edge
    often does not, so the second look is closer and kinder."""
    mounting_sigma_m: float = 0.07
    """How far a camera may stand from where its mounting is stated, to weigh a pose: 0.1 m each way
    is allowed for."""
    most_settled: int = 2
    enough_share: float = 0.75
    least_gain: float = 4.0
    most_again: int = 2
    """A pose with less than this share of the evidence due may have a part of its marks a mark off:
    it is refined again from where it is, up to so often, as long as the evidence grows by this."""
    least_seen_share: float = 1 / 3
    """Beside a pose with enough evidence, one is dropped that sees less than this share of its
    marks at the first look: right poses see half at the least, and a rival has to see 0.7 in the
    end."""
    least_marks: int = 5
    """One more than a plan fit needs."""
    size_seen_px: tuple[float, float] = (4.0, 14.0)
    """Shorter extent of a mark at which it begins to be expected, and at which it surely is."""
    level_steps: int = 13
    """Places along and across a mark at which levels are read."""
    references: int = 12
    """Used marks, spread over all, whose levels the others' are held against: enough for a
    median."""
    focus_blur_px: float = 0.9
    on_ink: float = 0.75
    on_paper: float = 0.15
    """Coverage from which on a place is ink, and up to which it is paper."""
    beside_tape: float = 1.5
    """Where the ground beside a tape is looked at, in half widths of the tape."""
    dark_level: float = 14.0
    """Grey below which nothing is seen: all but a hundredth of a picture, or paper and ground
    alike."""
    burnt_level: float = 250.0
    """Grey above which paper and ground alike are cut off."""
    faint_contrast: float = 0.35
    plain_contrast: float = 0.6
    """Contrast, as a share of what used marks have, below which there is none and above which there
    is."""
    in_shadow: float = 0.6
    """Level of the paper, as a share of what used marks have, below which it lies in shadow."""
    least_moved_px: float = 0.1
    """A camera that moved its marks by less between two pictures is combined as if it had not: the
    mean of the pictures is then half as far off, and a degree is ten times as far."""
    least_again_share: float = 0.5
    """Where less than this share of the marks is found again where they were, the camera may have
    been turned far, and its picture is looked at anew."""
    huber_sigmas: float = 2.0
    huber_rounds: int = 8
    """Weights of the step between two pictures: marks that somebody stepped on count less."""
    least_step_weight: tuple[float, ...] = (1e2, 1e2, 1e2, 1e1, 1e1, 1e1)
    """Inverse variances that hold a step which few marks tell: 10 cm, and 18 degrees."""
    least_own_share: float = 0.02
    """Of a centre's variance; pictures that are copies of each other show nothing between them, and
    their mean is then as good as one."""
    least_apart_px: float = 0.02
    """Centres of one mark this near each other agree, however even the pictures."""


SETTINGS = Settings()
