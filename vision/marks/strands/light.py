"""Grey levels to linear light: where an edge lies must not depend on how bright it is drawn.

A blurred edge lies where the light is halfway between its two sides. A picture's levels are a
curved function of the light (IEC 61966-2-1 for nearly all cameras); halfway between levels is
elsewhere, and more so the greater the contrast is. In the logarithm an edge moves by up to half a
pixel when the sun comes out.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.marks.picture import Grey, Pixels
from vision.marks.strands.settings import SETTINGS

_LEVELS = np.arange(256) / 255.0
LIGHT = np.where(_LEVELS <= 0.04045, _LEVELS / 12.92, ((_LEVELS + 0.055) / 1.055) ** 2.4).astype(
    np.float32
)
"""Light of each level, 0 to 1 (IEC 61966-2-1, section 5.2)."""
_SLOPE = np.gradient(LIGHT).astype(np.float32)
"""Light per level."""
_MEAN = np.full((1, 3), 1 / 3, dtype=np.float32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gradient:
    """Slope of the light by u and by v (height, width), in light per px, and its noise's sigma.

    `light` is the light itself under the same Gaussian.
    """

    du: Grey
    dv: Grey
    light: Grey
    noise: Grey


def light_of(bgr: Pixels) -> Grey:
    """Linear light (height, width), the mean of the three colours."""
    return np.asarray(cv2.transform(cv2.LUT(bgr, LIGHT), _MEAN), dtype=np.float32)


def gradient_of(bgr: Pixels) -> Gradient:
    """The gradient of the light of a picture (height, width, 3)."""
    scale = SETTINGS.scale_px
    bgr = np.ascontiguousarray(bgr)
    smooth = cv2.GaussianBlur(light_of(bgr), (0, 0), scale)
    du = cv2.Scharr(smooth, cv2.CV_32F, 1, 0, scale=1 / 32)
    dv = cv2.Scharr(smooth, cv2.CV_32F, 0, 1, scale=1 / 32)
    # Noise is in the levels; the slope of the curve carries it to the light, and a Gaussian
    # derivative keeps 1 / (sqrt(8 pi) scale^2) of white noise.
    grey = cv2.blur(cv2.transform(bgr, _MEAN), (5, 5))
    kept = noise_levels(bgr) / (np.sqrt(8 * np.pi) * scale**2)
    noise = cv2.LUT(grey, _SLOPE * np.float32(kept))
    four = (np.asarray(each, dtype=np.float32) for each in (du, dv, smooth, noise))
    return Gradient(**dict(zip(("du", "dv", "light", "noise"), four, strict=True)))


def noise_levels(bgr: Pixels) -> float:
    """Sigma of the noise of the mean of the colours, in levels.

    From the median of what a Laplacian leaves (Immerkaer, "Fast noise variance estimation", CVIU
    64, 1996), which edges hardly move; a picture's every second row and column will do.
    """
    grey = cv2.transform(bgr, _MEAN).astype(np.float32)
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], dtype=np.float32)
    left = np.abs(cv2.filter2D(grey, cv2.CV_32F, kernel))[1::2, 1::2]
    seen = grey[1::2, 1::2]
    lit = (seen > 4) & (seen < 251)
    median = float(np.median(left[lit])) if lit.any() else 0.0
    return max(median / 0.6745 / 6.0, SETTINGS.noise_levels)


def along_normals(gradient: Gradient, places_px: Grey, normals: Grey) -> Grey:
    """Slope of the light along normals (..., 2) at places (..., 2); NaN outside the picture."""
    shape = places_px.shape[:-1]
    flat = places_px.reshape(-1, 2)
    # OpenCV's maps hold at most 32767 columns: rows of a thousand.
    rows = -(-len(flat) // 1024)
    padded = np.full((rows * 1024, 2), -100.0, dtype=np.float32)
    padded[: len(flat)] = flat
    u, v = (np.ascontiguousarray(padded[:, i]).reshape(rows, 1024) for i in range(2))
    both = [
        cv2.remap(
            each,
            u,
            v,
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=float("nan"),
        ).ravel()[: len(flat)]
        for each in (gradient.du, gradient.dv)
    ]
    across, down = (np.asarray(each, dtype=np.float32).reshape(shape) for each in both)
    return np.asarray(across * normals[..., 0] + down * normals[..., 1])
