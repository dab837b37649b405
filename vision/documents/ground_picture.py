"""Pictures drawn onto a grid on the ground, for the eye.

Where a ground point lies in a picture changes slowly from one grid point to the next, so it is
worked out for every few of them and filled in between. Half a pixel of the grid nobody sees; what
is measured on drawn ground takes `vision.views.texture.rectified`, which works out every point.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.marks.picture import Pixels
from vision.units.arrays import Array, Flags
from vision.views.ground import GroundMap

EVERY_M = 0.06
"""Filled in over this much ground a place is up to 0.1 px off below a camera, and less beyond."""


def drawn_on(
    picture: Pixels, view: GroundMap, points_m: Array, scale_m: float
) -> tuple[Pixels, Flags]:
    """What a picture shows at grid points (rows, columns, 2), and where it shows anything.

    `scale_m` is the distance of the points. Pixels outside the picture repeat its edge.
    """
    places = _places(view, points_m, max(1, int(EVERY_M / scale_m)))
    shown = np.asarray(view.lens.contains(places.astype(np.float64)))
    places[~shown] = 0.0
    taken = cv2.remap(
        np.ascontiguousarray(picture),
        places[..., 0],
        places[..., 1],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(taken, dtype=np.uint8), shown


def _places(view: GroundMap, points_m: Array, every: int) -> NDArray[np.float32]:
    """Pixels (rows, columns, 2) of grid points, worked out for every few; NaN outside the lens."""
    rows, columns = points_m.shape[:2]
    if min(rows, columns) <= 2 * every:
        return view.pixel_from_ground(points_m).astype(np.float32)
    # The last row and column stay exact: what is filled in lies between points.
    at_v, at_u = (np.append(np.arange(0, n - 1, every), n - 1) for n in (rows, columns))
    few = view.pixel_from_ground(points_m[np.ix_(at_v, at_u)]).astype(np.float32)
    along = _filled(few, at_v)
    places = _filled(along.swapaxes(0, 1), at_u).swapaxes(0, 1)
    # Beside the rim of the lens nothing can be filled in.
    rim = np.isnan(places).any(axis=-1)
    places[rim] = view.pixel_from_ground(points_m[rim])
    return np.ascontiguousarray(places)


def _filled(values: NDArray[np.float32], at: NDArray[np.intp]) -> NDArray[np.float32]:
    """Values (k, m, 2) at rows `at` (k,), and straight between them: (at[-1] + 1, m, 2)."""
    row = np.arange(at[-1] + 1)
    before = np.minimum(np.searchsorted(at, row, side="right") - 1, len(at) - 2)
    share = ((row - at[before]) / (at[before + 1] - at[before])).astype(np.float32)
    step = np.diff(values, axis=0)
    return np.asarray(values[before] + share[:, None, None] * step[before])
