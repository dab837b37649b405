"""What tunes the reading of a job and the looks of its marks, with origin and effect."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Thresholds of this room; lengths in metres, angles in degrees as the file has them."""

    largest_bytes: int = 1_000_000
    """No job a person writes is a megabyte; a larger file is the wrong one."""
    most_marks: int = 1000
    """On one strip: a slip in `count` must not fill the memory."""
    most_corners: int = 50
    """Of a board each way, for the same reason."""
    longest_state: int = 120
    """Characters of a line on the vehicle's state: what a line of a printed sheet holds."""
    field_of_view_deg: tuple[float, float] = (20.0, 250.0)
    """Lenses that are sold; what is outside is a slip, or the lens of another job."""
    body_length_m: tuple[float, float] = (1.0, 100.0)
    body_width_m: tuple[float, float] = (0.3, 20.0)
    body_height_m: tuple[float, float] = (0.3, 20.0)
    """What a body may measure: wider than any on a road, and narrower than a slip of the unit."""
    strip_agreement_m: float = 0.01
    """How far the last `at` may be from the strip's length: as a tape is read in a yard."""
    camera_sigma_m: float = 0.02
    strip_sigma_m: float = 0.01
    mark_sigma_m: float = 0.003
    """Sigmas where the file states none; common practice, no source."""
    corner_reach: float = 0.85
    """How far round a board's corner is drawn, in squares: nearer to 1 the next corners come in
    with the blur, farther from it there is less to fit."""
    board_border: float = 1 / 3
    """Light border round a board's squares, in squares; common practice, no source."""


SETTINGS = Settings()
