"""What a turn, a load or a knock would do to marks in view, seams and nearest ground."""

from vision.whatif.asked import asked_change, recommended, small_changes
from vision.whatif.forecast import changed_adjustment, predict, sensitivities
from vision.whatif.picture import as_jpeg, turned_picture
from vision.whatif.values import (
    CameraForecast,
    Change,
    Figure,
    Forecast,
    SeamForecast,
    Sensitivity,
)
from vision.whatif.words import outcome

__all__ = [
    "CameraForecast",
    "Change",
    "Figure",
    "Forecast",
    "SeamForecast",
    "Sensitivity",
    "as_jpeg",
    "asked_change",
    "changed_adjustment",
    "outcome",
    "predict",
    "recommended",
    "sensitivities",
    "small_changes",
    "turned_picture",
]
