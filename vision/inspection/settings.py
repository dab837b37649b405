"""What tunes verdicts and forecasts: one value, each number with its origin."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

INCH_M = 0.0254


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureSettings:
    """What is wrong with a picture."""

    least_motion_px: float = 2.5
    """Motion below this, at 1280 px width, is not told from what a lens and its edges do."""
    alike: float = 0.75
    """Blur that is this much alike in all directions, least over most, is no motion."""
    side_share: float = 0.25
    """A soft side must exceed the opposite one by at least this share of the tolerance."""
    least_signal: float = 8.0
    """Span of the levels over noise below which there is too little light. Practice pictures have
    39 and more, the same with noise of 10 levels 10 to 16, and at a fifth of the light 4 to 5."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceSettings:
    """What is said of the files that pictures came in."""

    apart_s: float = 4 * 3600.0
    """Pictures taken farther apart are not of one visit; common practice, no source. Laying, aiming
    and taking the pictures is half a day's work, the pictures at its end some minutes'."""
    unexplained: float = 0.02
    """Share of the chi-square of all cameras' steps that one body's movement may leave: a body is
    not quite rigid, and centres are told better than that."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SlipSettings:
    """Slips that happen; common practice, no source. What is laid has its own tolerance."""

    height_m: float = 0.02
    """Ground under a strip that is not even: a rut, a manhole; common practice, no source."""
    mounting_m: float = 0.05
    """Another edge of a housing."""
    length_m: float = INCH_M
    """An inch on a tape."""
    angle_rad: float = float(np.radians(1.0))
    """A degree on a gauge."""
    lens_share: float = 0.1
    """A lens of another type, by a tenth of its scale."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AslopeSettings:
    """When cameras look turned alike, and when a body is said to stand turned on its ground."""

    setting_sigma_rad: float = float(np.radians(0.4))
    """How well one camera is set to its intended aim; common practice, no source. Less, and four
    cameras that are each set a little off are taken for a slope."""
    fewest_cameras: int = 3
    """Two cameras that are turned alike are no rare chance."""
    odd_alpha: float = 0.01
    """A camera of which this is the chance of lying so far from the rest is turned by itself."""
    told_alpha: float = 0.01
    """Chance that a body which stands square is said to be turned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIfSettings:
    """What is foretold.

    Small changes are what loading, air suspension, tyres and a knock do; common practice, no
    source.
    """

    unmeasured_sigma_px: float = 0.1
    """Of a mark that this camera has not measured: as good as most that are."""
    lower_m: float = 0.05
    lower_imperial_m: float = 2 * INCH_M
    lean_rad: float = float(np.radians(1))
    knock_rad: float = float(np.radians(0.5))


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkSettings:
    """What a walk round the vehicle looks at."""

    heights_m: tuple[float, ...] = (0.0, 0.3, 0.8, 1.2)
    """The ground, a cone's top, a child's head, a person's."""
    reach_m: float = 4.0
    """How far round the body is looked at."""
    step_m: float = 0.05
    """The side of a cell: finer costs time by its square."""
    cones_along: tuple[float, ...] = (0.2, 0.7)
    """Where on a seam cones stand, in shares of it from the body."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EntrySettings:
    """When an entry of the job is suspected, and when it is named. Decades are of odds."""

    turn_rad: float = float(np.radians(8.0))
    """An aim this far from the intended one may be a slip in the job; most brackets are set better.
    """
    least_promise: float = 1.0
    times_promise: float = 1.35
    least_marks: float = 4.0
    """In the search's score, marks found minus missing: an edit has to promise so much more than
    the job, so many times what it does, and so much at all. On practice pictures a wrong entry left
    a sixth to two fifths of what the right one gives."""
    rival_promise: float = 0.7
    most_finalists: int = 4
    """Edits are looked at that come so near to the best; each costs as much as a camera."""
    most_decades_misfit: float = 20.0
    """A single gross misfit of the network is no more against a job than twenty marks."""
    decades_rare: float = 1.0
    """Against an edit that takes a second slip beside the first."""
    least_decades: float = 3.0
    """By 1000 to 1 an entry is named, against the job as stated and against every other entry."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All of the room."""

    significant_sigmas: float = 3.0
    """From so many sigmas on a difference within its tolerance is worth saying, a strip is turned
    and not shifted, and a mounting is told to sit to one side."""
    steep_rad: float = float(np.radians(80))
    """A camera that looks down more steeply has pan and roll as one angle."""
    doubted_times: float = 2.0
    """A strip whose stated place was taken with this many times its stated sigma is said to be."""
    suspect_p: float = 0.05
    """What a sound job would have one in twenty of is looked at first, though no test failed."""
    most_suspects: int = 3
    beside_body_m: float = 0.3
    """A strip whose line passes nearer than this to the middle of the body has no out and in."""
    worth_moving_m: float = 0.005
    """Nobody moves tape by less: smaller parts of a move are left out."""
    least_displaced_m: float = 0.01
    """Less is how marks are laid."""
    most_displaced_m: float = 0.5
    """What seems to lie farther off is another thing than that mark."""
    pictures: PictureSettings = field(default_factory=PictureSettings)
    entries: EntrySettings = field(default_factory=EntrySettings)
    sources: SourceSettings = field(default_factory=SourceSettings)
    slips: SlipSettings = field(default_factory=SlipSettings)
    aslope: AslopeSettings = field(default_factory=AslopeSettings)
    what_if: WhatIfSettings = field(default_factory=WhatIfSettings)
    walk: WalkSettings = field(default_factory=WalkSettings)


SETTINGS = Settings()
