"""The seams of the display: where they lie, how far views gape there, and what both sides see."""

from vision.seams.coverage import NearestGround, d_pixel_d_camera, nearest_ground, overlap, sees
from vision.seams.gaps import SeamGap, gaps_with_slopes, measure_seam, seam_gaps
from vision.seams.lines import SeamLine, neighbours, seam_lines, side_of

__all__ = [
    "NearestGround",
    "SeamGap",
    "SeamLine",
    "d_pixel_d_camera",
    "gaps_with_slopes",
    "measure_seam",
    "nearest_ground",
    "neighbours",
    "overlap",
    "seam_gaps",
    "seam_lines",
    "sees",
    "side_of",
]
