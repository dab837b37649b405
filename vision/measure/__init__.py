"""The centre of a mark: matched roughly, then drawn into the picture and fitted to its pixels."""

from vision.measure.fit import Measured, measure
from vision.measure.forecast import Light, forecast_covariances
from vision.measure.matching import match
from vision.measure.patches import Patches, cut_patches, d_pixel_d_mark

__all__ = [
    "Light",
    "Measured",
    "Patches",
    "cut_patches",
    "d_pixel_d_mark",
    "forecast_covariances",
    "match",
    "measure",
]
