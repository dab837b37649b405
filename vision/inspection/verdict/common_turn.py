"""A turn that all cameras have in common: of the ground under the vehicle, or of the cameras.

Aims are measured against the ground and meant against the body. Pictures alone cannot tell a body
that stands turned on its ground from cameras that were all set alike: only a level can, on the
ground and on the body's floor. So what the cameras share is said, with what would decide, and none
is called beyond on that share alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from vision.adjustment.adjusted import AdjustedCamera, Adjustment, BodyTurn
from vision.camera.geometry import Aim, aim_from_rotation
from vision.camera.statistics import chi_square_limit, family_level
from vision.inspection.settings import SETTINGS
from vision.inspection.verdict.rule import COVERAGE, length_and_sigma
from vision.job.job import Job
from vision.units.arrays import Array
from vision.units.reason import Reason

AXES = 2
"""About x and about y: a turn about z is one of the layout as a whole."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CommonTurn:
    """What `cameras` share: `turn_rad` (3,) a small rotation vector in ground coordinates.

    It is what `ground_from_body` would be if the cameras were set as intended. `covariance_rad2`
    (3, 3); 0 about z and about an axis of which a level says how the body stands.
    """

    cameras: tuple[str, ...]
    turn_rad: Array
    covariance_rad2: Array

    @property
    def reason(self) -> Reason:
        """Which cameras look turned, by how much about x and y, and how sure that is."""
        about = _about(self.turn_rad, self.covariance_rad2)
        return Reason("common-turn", cameras=self.cameras, about=about)

    def aim_without(self, adjusted: AdjustedCamera) -> Aim:
        """The aim that a camera has with the common share taken off."""
        turn = Rotation.from_rotvec(self.turn_rad).as_matrix()
        return aim_from_rotation(adjusted.camera_from_body @ turn)


def common_turn(job: Job, joint: Adjustment) -> CommonTurn | None:
    """The turn that the cameras have in common; None where none is beyond twice its sigma.

    A camera that is turned otherwise than the rest is left out, the worst first, and of too few
    nothing is said.
    """
    axes = _open_axes(joint)
    names = [camera.name for camera in joint.cameras]
    if not axes:
        return None
    turns, covariance = _turns(job, joint)
    limit = chi_square_limit(1 - SETTINGS.aslope.odd_alpha, len(axes))
    kept = list(range(len(names)))
    while len(kept) >= SETTINGS.aslope.fewest_cameras:
        rows = np.array([3 * camera + axis for camera in kept for axis in axes])
        turn, spread, odd = _shared(turns[rows], covariance[np.ix_(rows, rows)], len(axes))
        if odd.max() > limit:
            kept.pop(int(odd.argmax()))
            continue
        length, sigma = length_and_sigma(turn, spread)
        if length <= COVERAGE * sigma:
            return None
        whole, whole_covariance = np.zeros(3), np.zeros((3, 3))
        whole[axes], whole_covariance[np.ix_(axes, axes)] = turn, spread
        return CommonTurn(
            cameras=tuple(names[camera] for camera in kept),
            turn_rad=whole,
            covariance_rad2=whole_covariance,
        )
    return None


def _open_axes(joint: Adjustment) -> list[int]:
    """Axes about which no level says how the body stands."""
    read = next((c.stance.read for c in joint.cameras if c.stance is not None), (False,) * AXES)
    return [axis for axis in range(AXES) if not read[axis]]


def _turns(job: Job, joint: Adjustment) -> tuple[Array, Array]:
    """By how much each camera looks turned, in ground coordinates (3 n,), with covariance.

    A body turned by w shows a camera as R exp(-w), R being as intended. Every camera's own setting
    counts beside what is unsure of its aim.
    """
    turns, count = [], len(joint.cameras)
    by_all = np.zeros((3 * count, len(joint.parameter_covariance)))
    for index, adjusted in enumerate(joint.cameras):
        intended = job.camera(adjusted.name).aim.rotation()
        turns.append(-Rotation.from_matrix(intended.T @ adjusted.camera_from_body).as_rotvec())
        first = joint.camera_slice[adjusted.name].start + 3
        by_all[3 * index : 3 * index + 3, first : first + 3] = -intended.T
    own = SETTINGS.aslope.setting_sigma_rad**2 * np.eye(3 * count)
    return np.concatenate(turns), by_all @ joint.parameter_covariance @ by_all.T + own


def _shared(turns: Array, covariance: Array, axes: int) -> tuple[Array, Array, Array]:
    """The weighted mean (a,) of turns (n a,), its covariance, and how odd each is (n,)."""
    count = len(turns) // axes
    by_mean = np.tile(np.eye(axes), (count, 1))
    weighted = np.linalg.solve(covariance, by_mean)
    spread = np.linalg.inv(by_mean.T @ weighted)
    turn = spread @ weighted.T @ turns
    off = (turns - by_mean @ turn).reshape(count, axes)
    of_off = covariance - by_mean @ spread @ by_mean.T
    odd = np.empty(count)
    for index, each in enumerate(off):
        own = slice(axes * index, axes * (index + 1))
        odd[index] = each @ np.linalg.solve(of_off[own, own], each)
    return turn, spread, odd


def standing(joint: Adjustment) -> Reason | None:
    """How the body stands turned on its ground, where levels show that it surely does."""
    stance = next((c.stance for c in joint.cameras if c.stance is not None), None)
    if stance is None or not stands_turned(stance):
        return None
    return Reason("stands-turned", about=_about(stance.turn_rad, stance.covariance_rad2[3:, 3:]))


def stands_turned(stance: BodyTurn) -> bool:
    """Whether a body that stands square would seem to be turned so in fewer than one of 100."""
    level = family_level(SETTINGS.aslope.told_alpha, AXES)
    limit = chi_square_limit(1 - level, 1)
    read = np.array([*stance.read, False])
    return bool((stance.turn_rad[read] ** 2 > limit * stance.sigma_rad[read] ** 2).any())


def _about(turn_rad: Array, covariance_rad2: Array) -> tuple[tuple[int, float, float], ...]:
    """The turns that are worth saying: axis (0 for x), angle and sigma; at least the larger one."""
    sigma = np.sqrt(np.diag(covariance_rad2))
    larger = int(np.abs(turn_rad[:AXES]).argmax())
    return tuple(
        (axis, float(turn_rad[axis]), float(sigma[axis]))
        for axis in range(AXES)
        if axis == larger or abs(turn_rad[axis]) > COVERAGE * sigma[axis] > 0
    )
