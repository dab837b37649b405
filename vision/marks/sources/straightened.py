"""Whether pictures are views that a display has already straightened or merged.

A lens that sees 120 degrees and more bends every line that passes beside the picture's middle; only
a picture that was reckoned anew shows long ones straight. Edges are found as straight pieces (von
Gioi, Jakubowicz, Morel and Randall, "LSD: a line segment detector", IPOL 2, 2012); how much a lens
would have bent each, its sagitta, grows with its length squared and its distance from the middle.
"""

from __future__ import annotations

from collections.abc import Mapping

import cv2
import numpy as np

from vision.marks.picture import Picture
from vision.marks.settings import SETTINGS

TUNED = SETTINGS.straightened


def straightened_views(
    pictures: Mapping[str, Picture], half_field_rad: Mapping[str, float]
) -> frozenset[str]:
    """The cameras whose pictures a display has straightened: all of those that see wide, or none.

    `half_field_rad` is half of what each camera's lens sees from left to right. A display shows all
    its cameras in one way: two pictures that say so speak for the rest, whose yards may have no
    long lines; one may have lines drawn over it.
    """
    wide = [n for n in pictures if half_field_rad[n] >= TUNED.least_half_field_rad]
    straight = [n for n in wide if _is_straight(pictures[n].grey, half_field_rad[n])]
    enough = len(straight) >= max(TUNED.fewest, TUNED.least_share * len(wide))
    return frozenset(wide) if enough else frozenset()


def _is_straight(grey: np.ndarray, half_field_rad: float) -> bool:
    scale = TUNED.width_px / grey.shape[1]
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
    lines = detector.detect(np.clip(small, 0, 255).astype(np.uint8))[0]
    if lines is None:
        return False
    ends = np.asarray(lines, dtype=np.float64).reshape(-1, 2, 2)
    middle = 0.5 * (np.array(small.shape[::-1]) - 1)
    along = ends[:, 1] - ends[:, 0]
    length = np.maximum(np.linalg.norm(along, axis=1), 1e-9)
    off = ends[:, 0] - middle
    distance = np.abs(along[:, 0] * off[:, 1] - along[:, 1] * off[:, 0]) / length
    f_px = 0.5 * small.shape[1] / half_field_rad
    # Of an equidistant lens to the third order: y = d - d x^2 / (3 f^2).
    sagitta = distance * (0.5 * length) ** 2 / (3 * f_px**2)
    return int(np.count_nonzero(sagitta > TUNED.least_sagitta_px)) >= TUNED.fewest_lines
