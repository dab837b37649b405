"""A picture as if its pixels were square, for the search: its cameras have one focal length."""

from __future__ import annotations

import math

import cv2
import numpy as np

from vision.camera.lens import Lens
from vision.camera.lens_prior import resized
from vision.identification.settings import SETTINGS


def square_view(lens: Lens, grey: np.ndarray) -> tuple[Lens, np.ndarray]:
    """Give the lens and the picture (height, width), stretched until pixels are square.

    Stretched, never pressed together: small marks are found in it. Places in it are for the search
    alone, since what it shows between two rows or columns is made up. `resized` brings its lenses
    back.
    """
    aspect = lens.fy / lens.fx
    if abs(math.log(aspect)) < SETTINGS.nearly_square:
        return lens, grey
    width = round(lens.width * max(aspect, 1.0))
    height = round(lens.height * max(1.0 / aspect, 1.0))
    stretched = cv2.resize(
        np.asarray(grey, np.float32), (width, height), interpolation=cv2.INTER_CUBIC
    )
    return resized(lens, width, height), np.clip(stretched, 0.0, 255.0)
