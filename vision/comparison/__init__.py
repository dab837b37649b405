"""What moved between two checks, in one network in which everything shared is one unknown."""

from vision.comparison.compared import compare
from vision.comparison.epochs import compare_checks, epoch_of
from vision.comparison.values import (
    CameraChange,
    Comparison,
    Epoch,
    SeamChange,
    Shared,
    VehicleChange,
)

__all__ = [
    "CameraChange",
    "Comparison",
    "Epoch",
    "SeamChange",
    "Shared",
    "VehicleChange",
    "compare",
    "compare_checks",
    "epoch_of",
]
