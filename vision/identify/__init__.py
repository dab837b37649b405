"""Which mark is it? Several poses carried to the end, compared by evidence, one named or none."""

from vision.identify.corners import with_box_corners
from vision.identify.decision import identify
from vision.identify.measuring import LEAST_CONTRAST, LEAST_EXPLAINED
from vision.identify.poses import LOOKS
from vision.identify.values import Identified, NotIdentified, Sighting

__all__ = [
    "LEAST_CONTRAST",
    "LEAST_EXPLAINED",
    "LOOKS",
    "Identified",
    "NotIdentified",
    "Sighting",
    "identify",
    "with_box_corners",
]
