"""All cameras, lenses, strips, mountings and readings in one least-squares network."""

from vision.adjustment.faults import POWER, SURE, Fault, FaultKind
from vision.adjustment.search import adjust, adjust_readings
from vision.adjustment.values import (
    AdjustedCamera,
    AdjustedMark,
    AdjustedReading,
    AdjustedStrip,
    Adjustment,
    CameraObservations,
    Datum,
    Explanation,
    FurtherReading,
    GroupTest,
)

__all__ = [
    "POWER",
    "SURE",
    "AdjustedCamera",
    "AdjustedMark",
    "AdjustedReading",
    "AdjustedStrip",
    "Adjustment",
    "CameraObservations",
    "Datum",
    "Explanation",
    "Fault",
    "FaultKind",
    "FurtherReading",
    "GroupTest",
    "adjust",
    "adjust_readings",
]
