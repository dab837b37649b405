"""What tunes drawn pictures: how finely they are drawn, and how real things differ from a plan.

Colours and the shapes of yard, body and people stand where they are drawn. What has no source here
is common practice, or from memory.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeSettings:
    """Lengths in metres, angles in radians, levels of 255."""

    # ------------------------------------------------------------------------- how it is drawn

    rays: int = 21
    """Per pixel at edges: a Fibonacci lattice, so that rows, columns and slants of it are even.
    Fewer leave steps on edges that a measurement sees; more take longer."""
    lattice_step: int = 13
    """The Fibonacci number before that of the rays."""
    contrast: float = 14.0
    """Levels between neighbouring pixels from which on one ray per pixel will not do."""
    pixels_at_once: int = 12_000
    """Pixels of many rays that are shaded together: more would leave the processor's cache."""
    curve_points: int = 8192
    """Of the table that a lens's curve is read from: right to 1e-6 px."""
    bands: float = 2.2
    """Bands by lamps on the mains in one picture: 100 a second, read over a fiftieth and more."""
    fade_rad: float = 0.02
    """Over which angle the lens goes dark; from memory of such pictures."""

    # ------------------------------------------------------------------ lenses that are drawn

    curve: tuple[float, float, float, float] = (-1.31, 0.48, -0.22, 0.05)
    """Shares a1 to a4 per share of focal length above the equidistant guess; they sum to -1, so
    the edge stays where the stated field puts it. From the curves of ordinary lenses of 185
    degrees."""
    focal_above: tuple[float, float] = (0.02, 0.09)
    edge_sigma: float = 0.004
    centre_sigma: float = 4.0 / 1280.0
    """Of the picture's width. A lens that is drawn is narrower than what the checker allows, as
    real lenses are; from memory."""
    image_circle: float = 1.03
    """Where the lens goes dark, in half fields of the stated one (or of the picture's own)."""

    # ------------------------------------------------------------------------ what stands where

    roof_above_camera_m: float = 0.1
    """How far a body of unknown height rises above its highest camera, as in `vision.job.body`."""
    clearance_m: float = 0.005
    """A camera inside the body as drawn is taken out of it: the nearest face gives way this far."""
    tape_beyond_m: float = 0.5
    """Tape before the first mark and after the last: at a corner of the layout tapes then cross."""
    sheet_margin: float = 0.5
    """Of a mark that is on no tape: sheet round it, in half sizes of the mark."""
    wave_m: tuple[float, ...] = (0.5, 1.1, 2.3)
    """Lengths of the waves of a wrinkled tape: shorter ones would stand up from the ground."""
    leaf_m: tuple[float, float] = (0.02, 0.05)
    """Half length of a leaf; it is a little more than half as wide."""
    leaves_sigma_m: float = 0.25
    """Leaves gather along tape edges: sigma of their distance from the tape's middle."""

    # --------------------------------------------------------------------- what counts as hidden

    hides: float = 0.5
    """Share of cover from which on what is below counts as hidden."""
    clear_steps: int = 7
    """Places along and across a mark at which it is asked whether they are seen."""
    on_a_box: float = 1e-4
    """A mark lies on the box that it is on: only what ends this share before it hides it."""


SETTINGS = PracticeSettings()
