"""Is the picture sharp? Blur over the picture, motion, light and soft patches, with sigmas."""

from vision.sharpness.blur_map import BLUR_WIDTH_PX
from vision.sharpness.drops import SoftPatch
from vision.sharpness.figures import measure_sharpness
from vision.sharpness.light import Light
from vision.sharpness.values import OPPOSITE, SIDES, Blur, MarksBlur, Motion, Sharpness, Side

__all__ = [
    "BLUR_WIDTH_PX",
    "OPPOSITE",
    "SIDES",
    "Blur",
    "Light",
    "MarksBlur",
    "Motion",
    "Sharpness",
    "Side",
    "SoftPatch",
    "measure_sharpness",
]
