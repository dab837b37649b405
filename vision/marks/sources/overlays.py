"""What a screen draws over the pictures of its cameras: stamps, captions, guide lines.

What is drawn stands at the same pixels in the pictures of all cameras, at the same levels, and its
edges run alike in all of them. The scene does not: tape is as flat and bright as a letter, but
where the views of three cameras or more show tape at one pixel, its edges run another way in each.
Colour alone therefore says nothing here. Of a stamp the digits that change are no longer the same
in all pictures; they are what stands in one line with letters that are, and is as bright.

Several pictures of one camera tell nothing of this: in them the scene stands still as well.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import cv2
import numpy as np

from vision.marks.picture import Picture
from vision.marks.settings import SETTINGS
from vision.units.arrays import Flags
from vision.units.recall import Recall, afresh

TUNED = SETTINGS.overlays


def without_overlays(
    pictures: Mapping[str, Picture], recall: Recall = afresh
) -> dict[str, Picture]:
    """The pictures of a job's cameras, each with what is drawn over it marked as covered.

    Pictures of one size, of as many cameras as tell the scene from what is drawn, are compared as
    delivered; all others stay as they are.
    """
    sizes = {name: (each.width, each.height) for name, each in pictures.items()}
    found = dict(pictures)
    for size in dict.fromkeys(sizes.values()):
        names = [name for name in pictures if sizes[name] == size]
        if len({pictures[name].sha256 for name in names}) < TUNED.fewest_cameras:
            continue
        drawn = recall(find_overlays, [_delivered(pictures[name]) for name in names])
        if drawn is not None:
            found |= {name: _covered(pictures[name], drawn) for name in names}
    return found


def find_overlays(views: Sequence[np.ndarray]) -> Flags | None:
    """Which pixels (H, W) are drawn over pictures (H, W, 3) of different cameras; None for none."""
    small = [cv2.resize(each, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA) for each in views]
    rim = _rim(small)
    if np.count_nonzero(_alike_edges(_planes(small)) & ~rim) < TUNED.least_edge_px:
        # Most pictures have nothing drawn over them, and are done with in a quarter of the time.
        return None
    planes = _planes(views)
    size = planes.shape[:1:-1]
    rim = cv2.resize(rim.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    alike = _alike_edges(planes) & ~rim
    same = np.ptp(planes, axis=1).max(axis=0) < TUNED.most_apart
    # What is drawn is the same to its edges; what a pixel mixes with the scene lies beside it.
    near = cv2.dilate(alike.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        (same & _stands_out(planes)).astype(np.uint8), connectivity=8
    )
    area = stats[:, cv2.CC_STAT_AREA]
    edged = np.bincount(labels[near], minlength=count) / np.maximum(area, 1)
    good = (area >= TUNED.least_px) & (edged >= TUNED.least_edged_share)
    good[0] = False
    good &= _slender(labels, good)
    if not good.any():
        return None
    drawn = good[labels]
    drawn = _grown(drawn, near)
    drawn |= _in_line(planes[0], drawn, stats[good])
    drawn = cv2.dilate(drawn.astype(np.uint8), _disc(TUNED.margin_px)) > 0
    # Cameras mounted alike show the same body alike, and as much of it.
    return np.asarray(drawn) if drawn.mean() <= TUNED.most_drawn_share else None


def _slender(labels: np.ndarray, good: Flags) -> Flags:
    """Which of the good pieces (n,) are strokes, as letters and lines are, and no whole surface."""
    inside = cv2.distanceTransform(good[labels].astype(np.uint8), cv2.DIST_L2, 3)
    widest = np.zeros(len(good), np.float32)
    np.maximum.at(widest, labels.ravel(), inside.ravel())
    return np.asarray(widest <= TUNED.most_stroke_px)


def _rim(views: Sequence[np.ndarray]) -> Flags:
    """Where the pictures of all lenses end (H, W): beside black that goes on to the picture's edge.

    Lenses of one type end at the same pixels, as sharply as anything drawn.
    """
    black = (np.max([each.max(axis=2) for each in views], axis=0) < TUNED.black).astype(np.uint8)
    framed = cv2.copyMakeBorder(black, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=1)
    _, labels = cv2.connectedComponents(framed)
    beyond = (labels == labels[0, 0])[1:-1, 1:-1]
    return np.asarray(cv2.dilate(beyond.astype(np.uint8), _disc(TUNED.rim_px)) > 0)


def _planes(views: Sequence[np.ndarray]) -> np.ndarray:
    """Brightness and two differences of colours of pictures, (3, n, H, W)."""
    planes = []
    for each in views:
        b, g, r = cv2.split(each.astype(np.float32))
        planes.append([cv2.cvtColor(each, cv2.COLOR_BGR2GRAY).astype(np.float32), r - g, b - g])
    return np.swapaxes(np.array(planes, dtype=np.float32), 0, 1)


def _alike_edges(planes: np.ndarray) -> Flags:
    """Where the gradients of all pictures are steep and run alike, in one plane (n, H, W)."""
    return np.asarray(np.logical_or.reduce([_alike_in(plane) for plane in planes]))


def _alike_in(plane: np.ndarray) -> Flags:
    across, down = (
        np.stack([cv2.Sobel(each, cv2.CV_32F, *way, ksize=3, scale=1 / 8) for each in plane])
        for way in ((1, 0), (0, 1))
    )
    length = np.sqrt(across**2 + down**2)
    steep = length.min(axis=0) > TUNED.least_gradient
    unit = np.maximum(length, 1e-3)
    mean = (across / unit).mean(axis=0) ** 2 + (down / unit).mean(axis=0) ** 2
    return np.asarray(steep & (mean > TUNED.least_resultant**2))


def _stands_out(planes: np.ndarray) -> Flags:
    """Pixels that in one plane clearly lie above what is round them in all pictures, or below."""
    out = np.zeros(planes.shape[2:], bool)
    for plane in planes:
        off = np.stack([each - _round(each) for each in plane])
        out |= (off.min(axis=0) > TUNED.least_step) | (off.max(axis=0) < -TUNED.least_step)
    return out


def _round(plane: np.ndarray) -> np.ndarray:
    """The median round each pixel of a plane (H, W); at a third of its size, of what has 8 bits."""
    small = cv2.resize(plane, None, fx=1 / 3, fy=1 / 3, interpolation=cv2.INTER_AREA)
    low = np.clip(small / 2 + 127, 0, 255).astype(np.uint8)
    median = 2.0 * (cv2.medianBlur(low, TUNED.round_px).astype(np.float32) - 127)
    return np.asarray(cv2.resize(median, plane.shape[::-1], interpolation=cv2.INTER_LINEAR))


def _grown(drawn: Flags, near: Flags) -> Flags:
    """What is drawn, with the alike edges that touch it, and so on along a line."""
    grown = drawn
    for _ in range(TUNED.most_growth):
        more = drawn | (near & (cv2.dilate(grown.astype(np.uint8), _disc(2)) > 0))
        if (more == grown).all():
            break
        grown = more
    return grown


def _in_line(grey: np.ndarray, drawn: Flags, stats: np.ndarray) -> Flags:
    """Whole lines of text (H, W), with the digits in them that change from picture to picture."""
    mean = grey.mean(axis=0)
    lines = np.zeros_like(drawn)
    small = stats[stats[:, cv2.CC_STAT_HEIGHT] <= TUNED.tallest_text_share * drawn.shape[0]]
    small = small[small[:, cv2.CC_STAT_WIDTH] <= TUNED.widest_share * drawn.shape[1]]
    boxes = np.zeros(drawn.shape, np.uint8)
    for left, top, width, height, _ in small:
        boxes[top : top + height, left : left + width] = 1
    gap = TUNED.widest_gap_px
    joined = cv2.morphologyEx(boxes, cv2.MORPH_CLOSE, np.ones((3, gap), np.uint8))
    _, labels, each, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    letters = np.zeros(len(each), int)
    for left, top, width, height, _ in small:
        letters[labels[top + height // 2, left + width // 2]] += 1
    for label in np.flatnonzero(letters >= TUNED.fewest_letters):
        if label == 0:
            continue
        left, top, width, height = (int(v) for v in each[label, :4])
        rows = slice(max(top - 2, 0), top + height + 2)
        bright = drawn[rows, left : left + width] & (
            mean[rows, left : left + width] > mean[rows, left : left + width].mean()
        )
        if not bright.any():
            continue
        level = float(np.median(mean[rows, left : left + width][bright]))
        ends = _text_ends(grey[:, rows], level, (left, left + width), 2 * height)
        lines[rows, ends[0] : ends[1]] = True
    return lines


def _text_ends(
    band: np.ndarray, level: float, ends: tuple[int, int], reach: int
) -> tuple[int, int]:
    """How far a line of text goes on in pictures (n, h, W), beyond where it is alike in all.

    As far as every picture shows the level of its letters, with gaps of a blank at the most.
    """
    lettered = (np.abs(band - level) < TUNED.text_apart).sum(axis=1) >= 2
    near = np.array(
        [cv2.dilate(each.astype(np.uint8)[None], np.ones((1, reach + 1), np.uint8))[0]
         for each in lettered]
    ).min(axis=0)  # fmt: skip
    left, right = ends
    while left > 0 and near[left - 1]:
        left -= 1
    while right < len(near) and near[right]:
        right += 1
    return left, right


def _disc(radius: int) -> np.ndarray:
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))


def _delivered(picture: Picture) -> np.ndarray:
    return np.ascontiguousarray(picture.bgr[:, ::-1] if picture.mirrored else picture.bgr)


def _covered(picture: Picture, drawn: Flags) -> Picture:
    own = drawn[:, ::-1] if picture.mirrored else drawn
    shots = tuple(_covered(each, drawn) for each in picture.shots)
    return replace(picture, covered=own, shots=shots)
