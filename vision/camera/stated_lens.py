"""What a person says about a lens."""

from __future__ import annotations

from dataclasses import dataclass

from vision.camera.lens import Lens
from vision.camera.pixel_shape import PixelShape
from vision.units.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class ThroughScreen:
    """What a picture that was photographed from a screen may differ by from what a lens gives.

    Sigmas: of its scale and of its pixels' shape as shares, of its middle as a share of its width,
    and of each place in it by itself, in px.
    """

    scale_sigma: float
    aspect_sigma: float
    centre_sigma: float
    point_sigma_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedLens:
    """What is known of a lens: its field of view at mid-height, or a fitted lens with covariance.

    One of `field_of_view_rad` and `fitted` is given; both of a stated lens that a plan takes as
    fitted. `covariance` is (8, 8) in the order of
    `vision.camera.lens.PARAMETERS`, or None when the file states none. `pixels` is the shape of a
    pixel beside a field of view, None where nobody says; a fitted lens has its own. `through` is
    what the way from the lens to the picture adds; None for a picture as the camera gave it.
    """

    name: str
    field_of_view_rad: float | None = None
    fitted: Lens | None = None
    covariance: Array | None = None
    pixels: PixelShape | None = None
    through: ThroughScreen | None = None
