"""A first turn: where the kept edges lie best on the edges of another picture, all at once.

Over all turns in coarse steps with a sample of places, then round the best in fine ones with more.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.camera.lens import Lens
from vision.camera.rotations import rotation_from_vector, vector_from_rotation
from vision.comparison.body.settings import SETTINGS
from vision.comparison.body.turn import Sight, predicted
from vision.marks.strands.chamfer import Chamfer, direction_bins
from vision.marks.strands.light import Gradient
from vision.marks.strands.match import likeness
from vision.marks.strands.pieces import normals_of
from vision.marks.strands.settings import SETTINGS as EDGES
from vision.units.arrays import Array


def first_turns(sight: Sight, chamfer: Chamfer, lens: Lens) -> Array:
    """Turns (k, 3) worth following, the best first: two at most."""
    steps = SETTINGS.coarse_rad * np.arange(-SETTINGS.wide_steps, SETTINGS.wide_steps + 1.0)
    turns = _grid(steps)
    cost = _costs(sight, chamfer, lens, turns, SETTINGS.searched_places)
    near = _grid(np.array([-1.0, 0.0, 1.0]) * SETTINGS.coarse_rad / 3)
    best = turns[np.argsort(cost, kind="stable")[: SETTINGS.starts]]
    finer = (best[:, None] + near).reshape(-1, 3)
    cost = _costs(sight, chamfer, lens, finer, 3 * SETTINGS.searched_places)
    order = np.argsort(cost, kind="stable")
    first = finer[order[0]]
    others = [t for t in finer[order] if np.linalg.norm(t - first) > SETTINGS.coarse_rad]
    return np.array([first, *others[:1]])


def scanned(sight: Sight, gradient: Gradient, lens: Lens, start: Array) -> Array:
    """The best turn (3,) of all about `start` (3,) in fine steps, by how alike the edges are there.

    Each piece's likeness along its normal is had once, and how far a turn takes it there is taken
    to first order.
    """
    worth, slopes, middle = _worths(sight, gradient, lens, np.r_[start, 0.0, 0.0, 0.0])
    steps = SETTINGS.scan_rad * np.arange(-SETTINGS.scan_steps, SETTINGS.scan_steps + 1.0)
    turns = _grid(steps)
    score = _scores(worth, slopes, middle, turns) @ np.sqrt(sight.pieces.length_px)
    return np.asarray(start + turns[int(score.argmax())])


def rival_start(
    sight: Sight, gradient: Gradient, lens: Lens, state: Array, weakest: Array
) -> Array:
    """The state (6,) along the weakest direction (3,) of a fit that lies best beside its own.

    Long edges slide along themselves under a turn about the face's normal, and few cross edges
    decide: a fit may end where others of them lie well by chance.
    """
    worth, slopes, middle = _worths(sight, gradient, lens, state)
    steps = np.arange(SETTINGS.rival_from_rad, SETTINGS.rival_to_rad, SETTINGS.rival_step_rad)
    turns = np.concatenate([steps, -steps])[:, None] * weakest
    score = _scores(worth, slopes, middle, turns) @ np.sqrt(sight.pieces.length_px)
    best = rotation_from_vector(turns[int(score.argmax())]) @ rotation_from_vector(state[:3])
    return np.concatenate([vector_from_rotation(best), state[3:]])


def _worths(sight: Sight, gradient: Gradient, lens: Lens, state: Array) -> tuple[Array, Array, int]:
    """Worth (n, s) of each piece at each half pixel along its normal, and slopes (n, 3) by turns.

    With the middle of s. From 0 for another edge or none to 1 for the very same.
    """
    pixels, by_state = predicted(sight, lens, state)
    slopes = (normals_of(pixels)[..., None, :] @ by_state[..., :3])[..., 0, :].mean(axis=1)
    alike = likeness(gradient, pixels, sight.profile, SETTINGS.scan_px)
    worth = np.maximum(alike - EDGES.alike, 0.0) / (1 - EDGES.alike)
    worth[:, [0, -1]] = 0.0
    return worth, np.nan_to_num(slopes) / EDGES.step_px, worth.shape[1] // 2


def _scores(worth: Array, slopes: Array, middle: int, turns: Array) -> Array:
    """What each piece is worth after each of the turns, (k, n)."""
    at = (turns @ slopes.T + (middle + 0.5)).astype(np.intp)
    np.clip(at, 0, worth.shape[1] - 1, out=at)
    return np.asarray(worth.ravel()[at + np.arange(len(worth)) * worth.shape[1]])


def _grid(steps: Array) -> Array:
    return np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3)


def _costs(sight: Sight, chamfer: Chamfer, lens: Lens, turns: Array, count: int) -> Array:
    """Mean truncated distance (k,) of a sample of places after each of the turns (k, 3)."""
    rays, bins = _sample(sight, count)
    turned = rays @ rotation_from_vector(turns).transpose(0, 2, 1)
    return np.asarray(chamfer.at(lens.project(turned), bins).mean(axis=1))


def _sample(sight: Sight, count: int) -> tuple[Array, NDArray[np.int64]]:
    """Rays (m, 3) of about `count` places, evenly over the pieces by length, and directions."""
    pieces = sight.pieces
    along = np.concatenate([[0.0], np.cumsum(pieces.length_px)])
    at = (np.arange(count) + 0.5) / count * along[-1]
    piece = np.searchsorted(along, at, side="right") - 1
    share = (at - along[piece]) / pieces.length_px[piece]
    places = sight.rays.shape[1]
    place = np.minimum((share * places).astype(int), places - 1)
    bend = (share - 0.5) * pieces.length_px[piece] * pieces.bend[piece]
    return sight.rays[piece, place], direction_bins(pieces.normal_rad[piece] - bend)
