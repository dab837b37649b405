"""Even and odd rows of a picture: whether odd rows are shifted against even ones, and how far.

Interlaced video takes a picture in two fields, even rows first and odd rows a moment later; where
the vehicle moves, odd rows show another view. Worn tapes and loose clocks shift them as well.

The shift is an affine function of the place in the picture, fitted to all of it by least squares on
grey levels (Lucas and Kanade, "An iterative image registration technique", IJCAI 1981; Bergen et
al., "Hierarchical model-based motion estimation", ECCV 1992) from coarse columns to fine ones. Each
field is moved half the way, so that neither is preferred, and slopes are multiplied from one field
to the other, whose noise is another: noise then adds to no sum, and a shift in the dark is not
taken for less than it is. Its covariance comes from how the picture's blocks disagree (White,
"Maximum likelihood estimation of misspecified models", Econometrica 50(1), 1982).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.camera.statistics import chi_square_limit
from vision.marks.settings import SETTINGS
from vision.units.arrays import Array

TUNED = SETTINGS.fields
SHIFTED = {count: chi_square_limit(1 - 1e-6, count) for count in (2, 6)}
"""By the number of terms, chi-square from which rows are surely shifted: once in 250,000 jobs."""
UNLIKE = chi_square_limit(0.9999, 4)
"""Chi-square of the slopes from which a shift is surely not alike everywhere."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FieldShift:
    """How far odd rows show things from where even rows show them.

    `terms_px` (2, k) across and down in px of the whole picture: at the middle and, where k is 3
    because it is not alike everywhere, how much more at the right and at the lower edge.
    `covariance_px2` (2 k, 2 k), row by row. `apart_px` is the root mean square of the shift's
    length where the picture has edges, less what noise adds. `torn_px` is how far odd rows lie
    apart in parts of a picture most of which stands still, as the vehicle's own body does; 0 where
    no part is torn.
    """

    terms_px: Array
    covariance_px2: Array
    apart_px: float
    torn_px: float = 0.0

    @property
    def combed(self) -> bool:
        """Whether odd rows, as they are, cannot be measured together with even ones."""
        terms = self.terms_px.ravel()
        surely = terms @ np.linalg.solve(self.covariance_px2, terms) > SHIFTED[terms.size]
        return self.torn_px > 0 or (self.apart_px > TUNED.least_apart_px and bool(surely))

    @property
    def alike(self) -> bool:
        """Whether all odd rows are shifted alike, and only across: then they can be put back."""
        return (
            self.terms_px.shape[1] == 1 and abs(float(self.terms_px[1, 0])) < TUNED.least_apart_px
        )

    @property
    def may_be_alike(self) -> bool:
        """Whether the shift differs little from place to place, or not for sure."""
        sloped = np.array([1, 2, 4, 5])
        slopes, covariance = self.terms_px.ravel()[sloped], self.covariance_px2[:, sloped][sloped]
        # Places are spread evenly from -1 to 1: a third of the squares is their mean square.
        if np.sqrt((slopes @ slopes) / 3) < TUNED.least_unlike_px:
            return True
        return bool(slopes @ np.linalg.solve(covariance, slopes) < UNLIKE)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sums:
    """Normal equations of every block: a (n, 2, 2), b (n, 2) and weights (n,)."""

    a: Array
    b: Array
    weight: Array

    def system(self, places: Array) -> tuple[Array, Array]:
        """Normal matrix (2k, 2k) and each block's part (n, 2k) of its right side."""
        size = 2 * places.shape[1]
        normal = np.einsum("n,ni,nj,nab->aibj", self.weight, places, places, self.a)
        right = np.einsum("n,ni,na->nai", self.weight, places, self.b)
        return normal.reshape(size, size), right.reshape(-1, size)


class _Fields:
    """The two fields of a picture, logarithms, with odd rows' places filled from even rows."""

    def __init__(self, grey: np.ndarray) -> None:
        rows = (len(grey) - 1) // 2
        self.narrowed = max(1, round(grey.shape[1] / TUNED.columns))
        size = (grey.shape[1] // self.narrowed, rows)
        self.even, self.odd = (
            np.log(
                cv2.resize(each, size, interpolation=cv2.INTER_AREA).clip(min=0)
                + np.float32(TUNED.offset)
            )
            for each in (between(grey[0 : 2 * rows + 1 : 2]), grey[1 : 2 * rows : 2])
        )
        across, down = (
            max(2, length // block) for length, block in zip(size, TUNED.block_px, strict=True)
        )
        row, column = (each.ravel() for each in np.mgrid[:down, :across])
        # Middles of blocks, from -1 at one edge of the picture to 1 at the other.
        x, y = (2 * column + 1) / across - 1, (2 * row + 1) / down - 1
        self.blocks = (across, down)
        self.places = np.stack([np.ones_like(x), x, y], axis=1)
        self.unit_px = np.array([self.narrowed, 2.0])

    def sums(self, shift: Array, level: int) -> _Sums:
        """Normal equations at a shift (n, 2) of the blocks, in columns and rows of a field.

        `level` halves the columns so often.
        """
        size = (self.even.shape[1] >> level, self.even.shape[0])
        scale = np.array([size[0] / self.even.shape[1], 1.0])
        moved = shift.reshape(*self.blocks[::-1], 2) * scale / 2
        across, down = cv2.split(cv2.resize(moved.astype(np.float32), size))
        v, u = np.mgrid[: size[1], : size[0]].astype(np.float32)
        even, odd = (
            cv2.remap(
                cv2.GaussianBlur(
                    cv2.resize(field, size, interpolation=cv2.INTER_AREA),
                    (0, 0),
                    TUNED.soft_px[0],
                    sigmaY=TUNED.soft_px[1],
                ),
                u + way * across,
                v + way * down,
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
            for field, way in ((self.even, -1), (self.odd, 1))
        )
        return self._of_blocks(even, odd, scale)

    def _of_blocks(self, even: np.ndarray, odd: np.ndarray, scale: Array) -> _Sums:
        def mean(image: np.ndarray) -> Array:
            small = cv2.resize(image, self.blocks, interpolation=cv2.INTER_AREA)
            return np.asarray(small, np.float64).ravel()

        off = odd - even
        slopes = [
            [cv2.Sobel(each, cv2.CV_32F, *way, ksize=3, scale=1 / 8) for way in ((1, 0), (0, 1))]
            for each in (even, odd)
        ]
        (eu, ev), (ou, ov) = slopes
        mixed = mean(eu * ov + ou * ev) / 2
        a = np.stack([mean(eu * ou), mixed, mixed, mean(ev * ov)], axis=-1).reshape(-1, 2, 2)
        b = -np.stack([mean((eu + ou) * off), mean((ev + ov) * off)], axis=-1) / 2
        spread = mean(off * off)
        weight = 1.0 / (spread + TUNED.least_spread * np.median(spread) + 1e-12)
        return _Sums(a=a * np.outer(scale, scale), b=b * scale, weight=weight)


def field_shift(grey: np.ndarray) -> FieldShift:
    """Estimate how far the odd rows of a grey picture (height, width) are shifted.

    A picture of fewer than two blocks each way tells nothing, and no shift is what is answered.
    """
    zero = np.zeros((2, 3))
    across, down = TUNED.block_px
    if grey.shape[0] < 4 * down or grey.shape[1] < 2 * across:
        return FieldShift(terms_px=zero, covariance_px2=np.eye(6), apart_px=0.0)
    grey = np.asarray(grey, dtype=np.float32)
    fields = _Fields(grey)
    rough = _fitted(fields, zero, TUNED.rough)
    if rough.apart_px < TUNED.least_rough_px:
        return replace(rough, torn_px=torn_px(grey))
    fine = _fitted(fields, rough.terms_px, TUNED.fine)
    if not fine.combed:
        return replace(fine, torn_px=torn_px(grey))
    if not fine.may_be_alike:
        return fine
    return _fitted(fields, fine.terms_px[:, :1], TUNED.fine)


def torn_px(grey: np.ndarray) -> float:
    """How far odd rows lie from even ones where a grey picture (height, width) is torn; 0 nowhere.

    In a block that is torn, odd rows are less like the even ones next to them than even rows are
    like those two rows away. Some blocks always are, at an edge that runs along the rows.
    """
    rows = (len(grey) - 1) // 2
    even, odd = (
        cv2.GaussianBlur(each, (0, 0), 1.0, sigmaY=1e-3)
        for each in (grey[0 : 2 * rows + 1 : 2], grey[1 : 2 * rows : 2])
    )
    across, down = TUNED.torn_block_px
    blocks = (grey.shape[1] // across, rows // down)

    def mean_square(image: np.ndarray) -> Array:
        small = cv2.resize(np.square(image), blocks, interpolation=cv2.INTER_AREA)
        return np.asarray(small, np.float64)

    between_fields = mean_square(odd - between(even))
    within_field = mean_square(even[1:-1] - (even[2:] + even[:-2]) / 2)
    slope = mean_square(cv2.Sobel(even, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8))
    least = max(TUNED.torn_noises * float(np.median(between_fields)), TUNED.torn_levels**2)
    torn = (between_fields > TUNED.torn_times * within_field) & (between_fields > least)
    if torn.mean() < TUNED.torn_share:
        return 0.0
    return float(np.median(np.sqrt(between_fields[torn] / np.maximum(slope[torn], 1e-6))))


def _fitted(fields: _Fields, terms_px: Array, steps: tuple[int, ...]) -> FieldShift:
    """The shift after Gauss-Newton steps at levels, each of which halves the columns so often."""
    places = fields.places[:, : terms_px.shape[1]]
    terms = terms_px / fields.unit_px[:, None]
    for level in steps:
        sums = fields.sums(places @ terms.T, level)
        normal, right = sums.system(places)
        normal += np.eye(len(normal)) * (1e-9 * np.trace(normal) + 1e-12)
        step = np.linalg.solve(normal, right.sum(axis=0)).reshape(terms.shape)
        most = TUNED.most_step_px * 2**level
        terms = terms + np.clip(step, -most, most)
    moved = np.einsum("n,ni,nab,nb->nai", sums.weight, places, sums.a, places @ step.T)
    left = right - moved.reshape(right.shape)
    return _shift(fields, sums, normal, left, terms)


def _shift(fields: _Fields, sums: _Sums, normal: Array, left: Array, terms: Array) -> FieldShift:
    """The shift of these terms (2, k), from what each block (n, 2 k) has left over."""
    places = fields.places[:, : terms.shape[1]]
    inverse = np.linalg.inv(normal)
    unit = np.repeat(fields.unit_px, terms.shape[1])
    covariance = inverse @ (left.T @ left) @ inverse * np.outer(unit, unit)
    # In an even picture nothing disagrees, and nothing is told.
    covariance += TUNED.least_sigma_px**2 * np.eye(len(covariance))
    terms_px = terms * fields.unit_px[:, None]
    count = terms.shape[1]
    noise = covariance[:count, :count] + covariance[count:, count:]
    squares = np.square(places @ terms_px.T).sum(axis=1)
    squares -= np.einsum("ni,ij,nj->n", places, noise, places)
    edges = sums.weight * np.trace(sums.a, axis1=1, axis2=2).clip(min=0.0)
    apart = float(edges @ squares / max(float(edges.sum()), 1e-12))
    return FieldShift(
        terms_px=terms_px, covariance_px2=covariance, apart_px=float(np.sqrt(max(apart, 0.0)))
    )


def between(rows: np.ndarray) -> np.ndarray:
    """Half way between each row (n, ...) and the next, (n - 1, ...), by cubics."""
    before = np.concatenate([rows[:1], rows[:-2]])
    after = np.concatenate([rows[2:], rows[-1:]])
    return np.asarray((9 * (rows[:-1] + rows[1:]) - before - after) / 16)
