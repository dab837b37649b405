"""A picture: pixels, and where they came from.

Pixels are held turned back: a picture that was delivered mirrored is mirrored again when it comes
in, so that every later room sees the world the right way round. What is reported goes back to the
picture as delivered through `as_delivered`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.marks.sources.origin import Source
from vision.units.arrays import Array, Flags
from vision.units.plain import written

Pixels = NDArray[np.uint8]
Grey = NDArray[np.float32]

Rows = Literal["all", "registered", "even"]

GREY_WEIGHTS = (0.114, 0.587, 0.299)
"""Blue, green and red in luma (ITU-R BT.601-7, section 2.5.1)."""
LEAST_CLEAR = 0.1
"""Share of clear pixels in surroundings from which a covered one is filled."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """One still from one camera, turned back.

    Attributes
    ----------
    name
        The camera's name.
    file
        The file's name alone, without its folder.
    sha256
        Of the file's bytes, in hexadecimal.
    sources
        Where it came from, one for each file; none where it was drawn here.
    width, height
        Of the picture in pixels; the same as delivered and turned back.
    mirrored
        Whether it was delivered mirrored.
    rows
        What of it is measured: all rows; all, odd ones registered to even ones; or even ones alone.
    rows_apart_px
        How far the odd rows were shifted in px, where they were.
    shots
        Further pictures of the same camera, of the same size and turned back alike.
    covered
        (height, width) which pixels a screen drew over, so that they show nothing of the scene;
        they are filled from what is round them. None where nothing is drawn.
    bgr
        (height, width, 3) uint8, blue green red, read-only.
    grey
        (height, width) float32 in 0..255, read-only, made from `bgr`.
    """

    name: str
    file: str = written()
    sha256: str = written()
    mirrored: bool = written()
    rows: Rows = written(default="all")
    rows_apart_px: float | None = written(2, optional=True, default=None)
    sources: tuple[Source, ...] = written(default=())
    shots: tuple[Picture, ...] = ()
    covered: Flags | None = None
    bgr: Pixels
    width: int = written(init=False)
    height: int = written(init=False)
    grey: Grey = field(init=False, repr=False)

    def __post_init__(self) -> None:
        bgr = np.array(self.bgr)
        if bgr.dtype != np.uint8 or bgr.ndim != 3 or bgr.shape[2] != 3 or bgr.size == 0:
            raise ValueError(f"bgr: expected (H, W, 3) uint8, found {bgr.shape} {bgr.dtype}")
        if self.covered is not None:
            if self.covered.shape != bgr.shape[:2]:
                raise ValueError(f"covered: expected {bgr.shape[:2]}, found {self.covered.shape}")
            bgr = filled(bgr, self.covered)
        grey = bgr @ np.array(GREY_WEIGHTS, dtype=np.float32)
        bgr.setflags(write=False)
        grey.setflags(write=False)
        object.__setattr__(self, "bgr", bgr)
        object.__setattr__(self, "grey", grey)
        object.__setattr__(self, "height", int(bgr.shape[0]))
        object.__setattr__(self, "width", int(bgr.shape[1]))

    @classmethod
    def from_delivered(
        cls,
        *,
        name: str,
        file: str,
        sha256: str,
        mirrored: bool,
        bgr: Pixels,
        sources: tuple[Source, ...] = (),
    ) -> Picture:
        """Make a picture from pixels as delivered: turned back here when `mirrored`."""
        turned = bgr[:, ::-1] if mirrored else bgr
        return cls(
            name=name, file=file, sha256=sha256, mirrored=mirrored, bgr=turned, sources=sources
        )

    def with_further(self, shots: Sequence[Picture]) -> Picture:
        """The same with further pictures of its camera, whose sources join its own."""
        sources = tuple(source for each in (self, *shots) for source in each.sources)
        return replace(self, shots=tuple(shots), sources=sources)

    def led_by(self, shot: int) -> Picture:
        """The same with another one of its pictures as the first; 0 is the one that is."""
        every = [self, *self.shots]
        first = every.pop(shot)
        return replace(first, shots=(), sources=first.own_sources).with_further(
            [replace(each, shots=(), sources=each.own_sources) for each in every]
        )

    @property
    def own_sources(self) -> tuple[Source, ...]:
        """Those of the picture itself, without its further pictures'."""
        further = sum(len(each.own_sources) for each in self.shots)
        return self.sources[: len(self.sources) - further]

    @property
    def seen(self) -> Grey:
        """`grey` with NaN where nothing of the scene is to be seen."""
        if self.covered is None:
            return self.grey
        return np.where(self.covered, np.float32(np.nan), self.grey)

    @property
    def corner_px(self) -> tuple[int, int]:
        """Where the picture as delivered begins in its file: left and top."""
        return self.sources[0].crop_px[:2] if self.sources else (0, 0)

    def as_delivered(self, pixels_px: Array) -> Array:
        """Pixels (..., 2) of the turned-back picture in the picture as delivered.

        Its own inverse: the same call takes delivered pixels to the turned-back picture.
        """
        pixels = np.array(pixels_px, dtype=np.float64)
        if self.mirrored:
            pixels[..., 0] = self.width - 1 - pixels[..., 0]
        return pixels

    def vectors_as_delivered(self, vectors_px: Array) -> Array:
        """Differences of pixels (..., 2), such as residuals, likewise; its own inverse."""
        vectors = np.array(vectors_px, dtype=np.float64)
        if self.mirrored:
            vectors[..., 0] *= -1
        return vectors

    def covariance_as_delivered(self, covariance_px2: Array) -> Array:
        """Covariances (..., 2, 2) of pixels likewise; its own inverse."""
        covariance = np.array(covariance_px2, dtype=np.float64)
        if self.mirrored:
            covariance[..., 0, 1] *= -1
            covariance[..., 1, 0] *= -1
        return covariance


def filled(levels: np.ndarray, covered: Flags) -> np.ndarray:
    """Levels (H, W) or (H, W, 3) with smooth ones from round them where `covered` (H, W).

    Each pixel takes the mean of what is clear in the nearest surroundings that show enough.
    """
    import cv2

    by_pixel = covered if levels.ndim == 2 else covered[..., None]
    known = np.where(by_pixel, 0, levels).astype(np.float32)
    clear = (~covered).astype(np.float32)
    out, left = known.copy(), covered.copy()
    for size in (9, 33, 129):
        weight, total = (cv2.blur(each, (size, size)) for each in (clear, known))
        here = left & (weight > LEAST_CLEAR)
        out[here] = total[here] / (weight[here] if levels.ndim == 2 else weight[here][:, None])
        left &= ~here
    out[left] = known.mean(axis=(0, 1)) / max(float(clear.mean()), LEAST_CLEAR)
    if levels.dtype == np.uint8:
        return np.asarray(np.clip(np.round(out), 0, 255).astype(np.uint8))
    return out


def encoded(bgr: Pixels, suffix: str, quality: int | None = None) -> bytes:
    """Bytes of a picture file; `quality` is a JPEG's, from 1 to 100."""
    import cv2  # a command that only plans has no need of it

    options = [] if quality is None else [cv2.IMWRITE_JPEG_QUALITY, quality]
    done, data = cv2.imencode(suffix, bgr, options)
    if not done:
        raise RuntimeError(f"OpenCV could not write a {suffix} of {bgr.shape}")
    return data.tobytes()
