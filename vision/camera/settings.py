"""What tunes the camera room: how well lenses are known beforehand, with where it comes from.

Shares are of the picture's radius. A tighter figure holds a lens closer to what was stated, and
gives a wrong answer with a small sigma where the lens is another; a looser one asks for more marks.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraSettings:
    """Sigmas of what is known of a lens, one standard deviation each."""

    # ------------------------------------------------------- a lens of a stated field of view

    edge_sigma: float = 0.05
    middle_sigma: float = 0.10
    """How far a real lens of a stated field of view may be from the equidistant curve, at its edge
    and at mid-field; common practice, no source."""
    term_sigma: tuple[float, float, float, float] = (0.15, 0.08, 0.03, 0.015)
    """Of a1 to a4: wide enough for an axial focal length 9 % above the equidistant guess, as a
    lens of 187 degrees had, and narrow enough that the curve keeps rising past the edge."""
    aspect_sigma: float = 0.003
    """Of a pixel's width over its height where it is square; common practice, no source."""
    stated_aspect_sigma: float = 0.005
    """Likewise where it is stated, or a standard's: recorders sample a little beside it."""
    centre_sigma: float = 10.0 / 1280.0
    """Of the optical centre, as a share of the picture's width; common practice, no source."""

    # -------------------------------------------- a fitted lens whose file states no covariance

    fitted_sigma: float = 0.005
    """Of focal length, edge and mid-field; also between lenses of one type. Common practice, no
    source."""
    fitted_term_sigma: tuple[float, float, float, float] = (0.015, 0.008, 0.003, 0.0015)
    """Of a1 to a4: a tenth of those of a lens that is only stated."""
    fitted_centre_sigma_px: float = 2.0
    """In the pictures that it was fitted to; common practice, no source."""

    # ------------------------------------------------------------------------------ lens files

    sigma_agreement: float = 0.01
    """Share by which a stated sigma may differ from the covariance's: both may have been rounded
    for reading. More would pass over two that do not belong together."""
    covariance_floor: float = 1e-12
    """Share of each variance added to a stated covariance: printed digits may leave it
    indefinite."""


SETTINGS = CameraSettings()
