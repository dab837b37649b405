"""Black bars above and below a picture, or left and right of it, taken off.

A display that shows a wide picture on a tall screen, or the other way round, fills the rest with
bars of one even level, as wide on either side. They end in one straight step from edge to edge, and
a lens's own black rim does not. What a lens sees is stated of the picture between them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.marks.picture import Picture
from vision.marks.settings import SETTINGS
from vision.marks.sources.panes import Pane, cut_out

TUNED = SETTINGS.bars


def without_bars(pictures: Sequence[Picture]) -> tuple[Picture, ...]:
    """The pictures of a job's cameras, each cut to what lies between its bars.

    Pictures of one size have the same bars, or none: where they differ nothing is cut.
    """
    found = {id(each): _between(each) for each in pictures}
    agreed: dict[tuple[int, int], set[Pane]] = {}
    for each in pictures:
        agreed.setdefault((each.width, each.height), set()).add(found[id(each)])
    return tuple(
        _cut(each, found[id(each)]) if len(agreed[each.width, each.height]) == 1 else each
        for each in pictures
    )


def _cut(picture: Picture, between: Pane) -> Picture:
    if between == (0, 0, picture.width, picture.height):
        return picture
    return cut_out(picture, between, picture.name, mirrored=picture.mirrored)


def _between(picture: Picture) -> Pane:
    """What lies between the bars of a picture as delivered; all of it where it has none."""
    grey = picture.grey[:, ::-1] if picture.mirrored else picture.grey
    top, bottom = _bars(grey)
    left, right = _bars(grey.T)
    return left, top, picture.width - left - right, picture.height - top - bottom


def _bars(grey: np.ndarray) -> tuple[int, int]:
    """How many of the first rows of (H, W) are a bar, and how many of the last; 0, 0 for none."""
    # Most pictures have something in their first row, and are done with at once.
    black = [np.percentile(grey[i], 99) < TUNED.black for i in (0, 1, -2, -1)]
    if not all(black):
        return 0, 0
    dark = np.percentile(grey, 99, axis=1) < TUNED.black
    first, last = int(np.argmin(dark)), int(np.argmin(dark[::-1]))
    alike = abs(first - last) <= TUNED.unlike_px
    if dark.all() or not alike or min(first, last) < TUNED.least_px:
        return 0, 0
    steps = [
        float(np.mean(grey[inner] - grey[outer] > TUNED.least_step))
        for inner, outer in ((first + 1, first - 2), (-last - 2, -last + 1))
    ]
    return (first, last) if min(steps) > TUNED.least_share else (0, 0)
