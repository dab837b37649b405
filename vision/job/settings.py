"""What tunes how a job is read and what its marks look like, with origin and effect."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Thresholds of this room, in SI units; degrees where the job file has degrees.

    Sigmas and ranges that a file may state itself hold where it does not.
    """

    # --------------------------------------------------------------- what a slip of the pen exceeds

    body_m: Mapping[str, tuple[float, float]] = field(
        default_factory=lambda: MappingProxyType(
            {"length": (1.0, 100.0), "width": (0.3, 20.0), "height": (0.3, 20.0)}
        )
    )
    """What a body may measure: wider than any on a road, and narrower than a slip of the unit."""
    recheck_days: tuple[int, int] = (1, 3650)
    """A check is good for a day at least; beyond ten years nobody means it."""
    field_of_view_deg: tuple[float, float] = (20.0, 250.0)
    """Of a stated lens: wider than any that is sold. What lies outside is refused."""
    pixel_aspect: tuple[float, float] = (0.3, 3.0)
    """Width over height of a stated pixel: twice what any standard has, for pictures of one
    field."""
    most_marks: int = 1000
    """On one strip: a slip in `count` must not fill the memory."""
    most_corners: int = 50
    """Of a board each way, for the same reason."""
    strip_agreement_m: float = 0.01
    """How far the last `at` may be from the strip's length: as a tape is read in a yard. Less, and
    honest layouts are refused; more, and a mistyped end passes."""
    usual_m: Mapping[str, tuple[float, float]] = field(
        default_factory=lambda: MappingProxyType(
            {
                "length": (3.0, 20.0),
                "width": (1.4, 4.0),
                "height": (1.4, 5.0),
                "tape_width": (0.04, 0.4),
                "mark": (0.02, 0.4),
                "position_sigma": (0.003, 0.2),
                "mark_sigma": (0.0005, 0.02),
            }
        )
    )
    """What such lengths measure in practice; common practice, no source. A length that cannot be is
    asked for in the unit that makes it one of these; nothing is refused for being outside."""
    usual_field_deg: tuple[float, float] = (60.0, 220.0)
    """Of wide-angle cameras that are sold; others are said."""
    deepest_camera_m: float = 1.0
    farthest_camera_m: float = 10.0
    """How far a camera may be inside the body as a box, and from it: bodies are rounded, and arms
    reach out. Beyond, a sign, a digit or a unit is wrong."""
    near_body_m: float = 0.5
    """So near a face sits a camera whose place was typed in the right unit."""
    highest_camera_m: float = 12.0
    """Above the ground: on a mast. Higher, a unit is wrong."""
    highest_tilt_deg: float = -20.0
    """A camera for the ground looks no farther above the horizontal; beyond, a sign is wrong."""
    looks_through_m: float = 0.5
    """How far a camera's axis may run on inside the body: one on an arm that looks back and down
    meets the foot of the body."""
    same_mounting_m: float = 1.0
    """Two cameras no farther apart that look the same way are one entry typed twice."""
    strip_under_m: float = 0.25
    """How far tape may be pushed under the body's edge."""
    widest_tape_m: float = 0.6
    largest_mark_m: float = 3.0
    largest_sigma_m: float = 1.0
    """Wider tape is none, a larger mark no print, and whoever is less sure has not measured."""
    tried_fields_deg: tuple[float, ...] = (*range(100, 210, 10), 215)
    least_field_change: float = 0.12
    """Fields of view that a mistyped one may have been, apart as far as a search reaches; nearer
    to the stated one the fit finds it by itself."""
    least_place_change_m: float = 0.3
    """A camera nearer to its stated place is found without another entry."""
    usual_pitches_m: tuple[float, ...] = (0.3, 0.4, 0.5, 0.6, 0.7, 0.75, 0.8, 0.9, 1.0, 1.2)
    most_pitch_change: float = 1.35
    """Distances between marks that are laid, and how far a mistyped one may be off."""
    longest_state: int = 120
    """Characters of a line on the vehicle's state: what a line of a printed sheet holds."""

    # ----------------------------------------- what is taken where nothing is said: common practice

    usual_tilt_deg: float = 45.0
    """Cameras are preset at 45 degrees with a speed square; taken where a job states no tilt."""
    camera_sigma_m: float = 0.02
    """How well a mounting is measured on a body."""
    strip_sigma_m: float = 0.01
    """Each end of a strip, and a single mark: as laid with a tape."""
    mark_sigma_m: float = 0.003
    """Each mark on its strip: printing, bow, stretch."""
    holding_sigma_m: float = 0.002
    """Holding a tape to a painted cross and reading it, beside the tape's own error."""
    tool_sigma_deg: Mapping[str, float] = field(
        default_factory=lambda: MappingProxyType({"gauge": 0.2, "speed square": 1.5})
    )
    """A digital gauge on a housing, and a speed square by eye."""
    level_sigma_deg: float = 0.2
    """A phone or a bubble laid on a yard or a floor, unevenness and all."""

    # ------------------------------------------------------------------ what can be read and turned

    centre_line_m: float = 0.05
    """A place planned nearer to the centre line has no side to measure an offset on."""
    steep_rad: float = math.radians(80)
    """A camera that looks down more steeply has no roll that a gauge could read."""
    steepest_deg: float = 15.0
    steepest_percent: float = 26.0
    """Of a ground that a vehicle is parked on, and of its floor: a slip where there is more."""
    tilt_range_deg: tuple[float, float] = (20.0, 70.0)
    pan_reach_deg: float = 20.0
    """What a bracket that is adjustable is taken to allow; common practice, no source. A plan tries
    no aim beyond."""

    # ------------------------------------------------------------------------- what marks look like

    carton_size_m: tuple[float, float] = (0.46, 0.34)
    """Of a carton whose size is not told, as drawn and as it hides; common practice, no source."""
    corner_reach: float = 0.85
    """How far round a board's corner is drawn, in squares: nearer to 1 the next corners come in
    with the blur, farther from it there is less to fit."""
    board_border: float = 1 / 3
    """Light border round a board's squares, in squares; common practice, no source."""
    body_margin_m: float = 0.05
    """Bodies are rounded and cameras sit on their faces, measured to some centimetres: the box that
    hides is smaller by this on every side."""
    above_camera_m: float = 0.1
    """How far a body of unknown height is taken to rise above its camera."""

    least_size_px: float = 4.5
    """Shorter extent below which a mark is not counted on. Of those between 4 and 6 px in rendered
    and drawn pictures of the sample layouts 18 of 24 were used, and all 28 between 6 and 12. A
    lower limit counts on marks that are missed, a higher one leaves out what would have been used.
    """
    narrow_px: float = 4.0
    """Narrowest width below which a mark is not looked for again where it was missed."""


SETTINGS = Settings()
