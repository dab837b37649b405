"""All cameras, lenses, strips, mountings and readings in one least-squares network."""

from vision.adjustment.as_planned import planned_adjustment
from vision.adjustment.faults import FaultKind, GroupFault, family_level, noncentrality
from vision.adjustment.groups import GroupKind, kind_and_name
from vision.adjustment.left_out import left_out_points
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
    "AdjustedCamera",
    "AdjustedMark",
    "AdjustedReading",
    "AdjustedStrip",
    "Adjustment",
    "CameraObservations",
    "Datum",
    "Explanation",
    "FaultKind",
    "FurtherReading",
    "GroupFault",
    "GroupKind",
    "GroupTest",
    "adjust",
    "adjust_readings",
    "family_level",
    "kind_and_name",
    "left_out_points",
    "noncentrality",
    "planned_adjustment",
]
