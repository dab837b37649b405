"""A turn that all cameras have in common: of the ground under the vehicle, or of the cameras.

Aims are measured against the ground and meant against the body. Pictures alone cannot tell a body
that stands turned on its ground from cameras that were all set alike: only a level can, on the
ground and on the body's floor. Where the cameras sit says a little of it: a mounting measured on a
body goes with the body. So what the cameras share is said, with what would decide, and none
is called beyond on that share alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.adjustment.adjusted import AdjustedCamera, Adjustment, BodyTurn
from vision.adjustment.groups import Group
from vision.camera.geometry import Aim, aim_from_rotation, cross_matrix
from vision.camera.rotations import rotation_from_vector, vector_from_rotation
from vision.camera.statistics import chi_square_limit, family_level
from vision.inspection.settings import SETTINGS
from vision.inspection.verdict.rule import COVERAGE
from vision.job.job import Job
from vision.units.arrays import Array
from vision.units.reason import Reason

AXES = 2
"""About x and about y: a turn about z is one of the layout as a whole."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CommonTurn:
    """What `cameras` share: `turn_rad` (3,) a small rotation vector in ground coordinates.

    It is what `ground_from_body` would be if the cameras were set as intended, 0 about an axis
    about which it is not beyond twice its `sigma_rad` (3,).
    """

    cameras: tuple[str, ...]
    turn_rad: Array
    sigma_rad: Array

    @property
    def reason(self) -> Reason:
        """Which cameras look turned, by how much about x and y, and how sure that is."""
        about = _about(self.turn_rad, self.sigma_rad)
        return Reason("common-turn", cameras=self.cameras, about=about)

    def aim_without(self, adjusted: AdjustedCamera) -> Aim:
        """The aim that a camera has with the common share taken off."""
        turn = rotation_from_vector(self.turn_rad)
        return aim_from_rotation(adjusted.camera_from_body @ turn)


def common_turn(job: Job, joint: Adjustment) -> CommonTurn | None:
    """The turn that the cameras have in common; None where none is beyond twice its sigma.

    By aims and places, and else by aims alone: mountings that were measured from the ground up do
    not turn with the body.
    """
    axes = _open_axes(joint)
    if not axes:
        return None
    seen = looks_turned(job, joint, axes)
    return _found(seen, joint, axes) or _found(seen.by_aims(), joint, axes)


def _found(seen: LooksTurned, joint: Adjustment, axes: list[int]) -> CommonTurn | None:
    """The same by this evidence.

    A camera that is turned otherwise than the rest is left out, the worst first, and of too few
    nothing is said.
    """
    limit = chi_square_limit(1 - SETTINGS.aslope.odd_alpha, len(axes))
    kept = list(range(len(joint.cameras)))
    while len(kept) >= SETTINGS.aslope.fewest_cameras:
        turn, covariance, odd = seen.shared(kept)
        if odd.max() > limit:
            kept.pop(int(odd.argmax()))
            continue
        whole, sigma = np.zeros(3), np.zeros(3)
        whole[axes], sigma[axes] = turn, np.sqrt(np.diag(covariance))
        whole[np.abs(whole) <= COVERAGE * sigma] = 0.0
        if not whole.any():
            return None
        names = tuple(joint.cameras[camera].name for camera in kept)
        return CommonTurn(cameras=names, turn_rad=whole, sigma_rad=sigma)
    return None


def _open_axes(joint: Adjustment) -> list[int]:
    """Axes about which no level says how the body stands."""
    read = next((c.stance.read for c in joint.cameras if c.stance is not None), (False,) * AXES)
    return [axis for axis in range(AXES) if not read[axis]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LooksTurned:
    """What aims and places of the cameras (n) say of a turn w (a,) of the body that bears them.

    Each looks turned by `turns` (n, a), which is `by_turn` (n, a, a) times w but for `spread`
    (n, a, n, a), its own setting and what is unsure of its aim; their places bring the normal
    matrix `places` (a, a) and its right side `pull` (a,).
    """

    turns: Array
    by_turn: Array
    spread: Array
    places: Array
    pull: Array

    def by_aims(self) -> LooksTurned:
        """What the aims say, mountings being where they were stated."""
        as_it_is = np.broadcast_to(np.eye(len(self.pull)), self.by_turn.shape)
        nothing = 0 * self.pull
        return replace(self, by_turn=as_it_is, places=np.diag(nothing), pull=nothing)

    def shared(self, kept: list[int]) -> tuple[Array, Array, Array]:
        """The turn (a,) that these share, its covariance, and how odd each of them is (k,).

        Odd is the chi-square, of a degrees of freedom, by which a camera lies off the turn.
        """
        axes = len(self.pull)
        turns, by_turn = self.turns[kept].ravel(), self.by_turn[kept].reshape(-1, axes)
        spread = self.spread[kept][:, :, kept].reshape(len(turns), -1)
        weighted = np.linalg.solve(spread, by_turn)
        covariance = np.asarray(np.linalg.inv(by_turn.T @ weighted + self.places), np.float64)
        turn = covariance @ (weighted.T @ turns + self.pull)
        off = (turns - by_turn @ turn).reshape(-1, axes)
        of_off = (spread - by_turn @ covariance @ by_turn.T).reshape(len(off), axes, len(off), axes)
        odd = [each @ np.linalg.solve(of_off[i, :, i], each) for i, each in enumerate(off)]
        return turn, covariance, np.array(odd)


def looks_turned(job: Job, joint: Adjustment, axes: list[int]) -> LooksTurned:
    """How the cameras look turned, and how their places would go with a body that is.

    A body turned by w shows a camera as R exp(-w), R being as intended, and carries its mounting
    along. The adjustment took the mountings p as if it stood square. With C the covariance of its
    unknowns x, W the weights of the mountings, H how they go with w and P picking the places from
    x, the unknowns are x + C P' W H w for another w; the normal matrix of w is H' (W - W P C P' W)
    H, its right side H' W (P x - p).
    """
    count, unknowns = len(joint.cameras), len(joint.parameter_covariance)
    turns, turned = np.empty((count, 3)), np.zeros((count, 3, unknowns))
    off, lever, weight = np.empty((count, 3)), np.empty((count, 3, len(axes))), np.zeros(count)
    first = [joint.camera_slice[each.name].start for each in joint.cameras]
    for index, adjusted in enumerate(joint.cameras):
        stated = job.camera(adjusted.name)
        intended = stated.aim.rotation()
        turns[index] = -vector_from_rotation(intended.T @ adjusted.camera_from_body)
        turned[index, :, first[index] + 3 : first[index] + 6] = -intended.T
        off[index] = adjusted.pose.camera_in_ground_m - stated.position_m
        if adjusted.stance is not None:
            off[index] += cross_matrix(stated.position_m) @ adjusted.stance.turn_rad
        lever[index] = -cross_matrix(stated.position_m)[:, axes]
        if Group("mounting", adjusted.name) not in joint.all_freed:
            weight[index] = stated.position_sigma_m**-2
    turned = turned[:, axes]
    columns = (np.array(first)[:, None] + np.arange(3)).ravel()
    weighted = (weight[:, None, None] * lever).reshape(3 * count, -1)
    carried = joint.parameter_covariance[:, columns] @ weighted
    own = SETTINGS.aslope.setting_sigma_rad**2 * np.eye(count * len(axes))
    spread = np.einsum("iau,uv,jbv->iajb", turned, joint.parameter_covariance, turned)
    return LooksTurned(
        turns=turns[:, axes],
        by_turn=np.eye(len(axes)) - turned @ carried,
        spread=spread + own.reshape(spread.shape),
        places=lever.reshape(3 * count, -1).T @ weighted - weighted.T @ carried[columns],
        pull=weighted.T @ off.ravel(),
    )


def standing(joint: Adjustment) -> Reason | None:
    """How the body stands turned on its ground, where levels show that it surely does."""
    stance = next((c.stance for c in joint.cameras if c.stance is not None), None)
    if stance is None or not stands_turned(stance):
        return None
    shown = np.abs(stance.turn_rad) > COVERAGE * stance.sigma_rad
    return Reason("stands-turned", about=_about(stance.turn_rad * shown, stance.sigma_rad))


def stands_turned(stance: BodyTurn) -> bool:
    """Whether a body that stands square would seem to be turned so in fewer than one of 100."""
    level = family_level(SETTINGS.aslope.told_alpha, AXES)
    limit = chi_square_limit(1 - level, 1)
    read = np.array([*stance.read, False])
    return bool((stance.turn_rad[read] ** 2 > limit * stance.sigma_rad[read] ** 2).any())


def _about(turn_rad: Array, sigma_rad: Array) -> tuple[tuple[int, float, float], ...]:
    """The turns that are not 0: axis (0 for x), angle and sigma."""
    rows = zip(range(AXES), turn_rad, sigma_rad, strict=False)
    return tuple((axis, float(turn), float(sigma)) for axis, turn, sigma in rows if turn)
