"""All cameras, lenses, strips and mounting positions in one least-squares network."""

from vision.adjustment.search import adjust
from vision.adjustment.values import (
    AdjustedCamera,
    AdjustedMark,
    AdjustedStrip,
    Adjustment,
    CameraObservations,
)

__all__ = [
    "AdjustedCamera",
    "AdjustedMark",
    "AdjustedStrip",
    "Adjustment",
    "CameraObservations",
    "adjust",
]
