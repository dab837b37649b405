"""A turn that all cameras have in common, on a made-up job with its intended aims made to suit.

Proves: a body that stands turned is told from cameras that were each set a little off, with its
sign and its words; one camera that is turned beside it is left out of it; what is beyond on the
common share alone is not judged and asks for a level, and what is beyond without it stays so.
How often this is said of level yards is printed by `tests.accuracy.network --level`.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from tests.adjusting import JOB, LENS_SIGMA, Scene
from tests.adjustment.test_levels import adjusted, levels, turned
from tests.judging import codes, text
from vision.adjustment.adjusted import Adjustment
from vision.camera.geometry import Aim, aim_from_rotation
from vision.inspection.verdict.cameras import CameraVerdict, camera_verdict
from vision.inspection.verdict.common_turn import CommonTurn, common_turn, looks_turned
from vision.job.job import Job, Tolerances

SHARP = 0.1 * LENS_SIGMA


@cache
def shown(turn_deg: tuple[float, float] = (0.0, 0.0)) -> Adjustment:
    """How pictures of the job show it whose mountings are turned with the body."""
    job = turned(JOB, np.radians([*turn_deg, 0]))
    return adjusted(Scene(job, np.random.default_rng(1), lens_sigma=SHARP), JOB)


def meant(
    joint: Adjustment, turn_deg: tuple[float, float], tilt_deg: dict[str, float] | None = None
) -> Job:
    """The job whose aims are meant so that the body stands turned by these degrees about x and y.

    A camera named in `tilt_deg` is besides set so much too low.
    """
    body = Rotation.from_rotvec(np.radians([*turn_deg, 0])).as_matrix()

    def intended(name: str) -> Aim:
        aim = aim_from_rotation(joint.camera(name).pose.R @ body)
        return replace(aim, tilt_rad=aim.tilt_rad - np.radians((tilt_deg or {}).get(name, 0.0)))

    return replace(JOB, cameras=tuple(replace(c, aim=intended(c.name)) for c in JOB.cameras))


def front(job: Job, joint: Adjustment, common: CommonTurn | None, deg: float) -> CameraVerdict:
    """The front camera's verdict where so many degrees are allowed."""
    allowed = Tolerances(aim_rad=float(np.radians(deg)), roll_rad=float(np.radians(deg)))
    return camera_verdict(job.camera("front"), joint.camera("front"), allowed, common=common)


def test_how_the_network_goes_with_a_turned_body_matches_solving_anew() -> None:
    scene = Scene(JOB, np.random.default_rng(11), lens_sigma=SHARP)
    # A job of which every strip is believed as stated: else the weights go with the turn too.
    before, turn = adjusted(scene, JOB), np.array([4e-4, -3e-4, 0.0])
    assert not before.inflated
    cameras = tuple(
        replace(c, position_m=c.position_m + np.cross(turn, c.position_m)) for c in JOB.cameras
    )
    after, seen = adjusted(scene, replace(JOB, cameras=cameras)), looks_turned(JOB, before, [0, 1])
    turns = looks_turned(JOB, after, [0, 1]).turns - seen.turns
    np.testing.assert_allclose(turns, (np.eye(2) - seen.by_turn) @ turn[:2], atol=2e-6)
    gain = 2 * seen.pull @ turn[:2] - turn[:2] @ seen.places @ turn[:2]
    assert before.chi2 - after.chi2 == pytest.approx(gain, rel=1e-3)


@pytest.mark.parametrize(
    ("turn_deg", "words"),
    [
        ((0.8, 0), ("to the right about the vehicle's long axis", "from its left to its right")),
        ((-0.8, 0), ("to the left about the vehicle's long axis", "from its right to its left")),
        ((0, 0.8), ("forwards about the vehicle's cross axis", "rises ahead", 'along = "ahead"')),
        ((0, -0.8), ("backwards about the vehicle's cross axis", "rises behind")),
        ((0.8, 0.8), ("long axis and 0.", "cross axis", 'along = "left" and along = "ahead"')),
    ],
)
def test_a_body_that_stands_turned(turn_deg: tuple[float, float], words: tuple[str, ...]) -> None:
    joint = shown(turn_deg)
    found = common_turn(meant(joint, turn_deg), joint)
    assert found is not None
    assert found.cameras == ("front", "left", "rear", "right")
    off = found.turn_rad - np.radians([*turn_deg, 0])
    assert (np.abs(off) < 2 * found.sigma_rad + 1e-12).all()
    assert (np.degrees(found.sigma_rad) < 0.2).all()
    said = text(found.reason)
    assert all(each in said for each in words)


def test_cameras_that_were_all_set_alike() -> None:
    # Mountings that stand square contradict a turned body; they may have been measured otherwise.
    joint = shown()
    found = common_turn(meant(joint, (0.8, 0)), joint)
    assert found is not None
    assert 0.4 < np.degrees(found.turn_rad[0]) < 0.81


@pytest.mark.parametrize(
    ("turn_deg", "tilt_deg"),
    [((0, 0), {}), ((0.2, 0), {}), ((0, 0), {"left": 4.0}), ((0, 0), {"left": 4.0, "front": -3.0})],
)
def test_nothing_in_common(turn_deg: tuple[float, float], tilt_deg: dict[str, float]) -> None:
    assert common_turn(meant(shown(), turn_deg, tilt_deg), shown()) is None


def test_a_camera_that_is_turned_by_itself_is_left_out() -> None:
    joint = shown((0.8, 0))
    found = common_turn(meant(joint, (0.8, 0), {"rear": 4.0}), joint)
    assert found is not None
    assert found.cameras == ("front", "left", "right")
    assert np.degrees(found.turn_rad[0]) == pytest.approx(0.8, abs=0.3)


def test_two_cameras_are_no_rule() -> None:
    joint = shown((3, 0))
    few = replace(joint, cameras=joint.cameras[:2])
    assert common_turn(meant(joint, (3, 0)), few) is None


@pytest.mark.parametrize("mountings_deg", [(0.0, 0.0), (0.0, 1.6)])
def test_no_camera_is_beyond_on_the_common_share_alone(mountings_deg: tuple[float, float]) -> None:
    joint = shown(mountings_deg)
    job = meant(joint, (0, 1.6))
    alone, shared = (front(job, joint, each, 1.0) for each in (None, common_turn(job, joint)))
    assert alone.verdict == "re-aim"
    assert shared.verdict == "not-judged"
    assert codes(shared.reasons) == ["tilt-not-judged"]
    assert [action.what.code for action in shared.actions] == ["take-levels"]
    assert 'kind = "level"' in text(shared.actions[0])


def test_what_is_beyond_without_the_common_share_stays_beyond() -> None:
    joint = shown((0, 0.8))
    job = meant(joint, (0, 0.8), {"front": 4.0})
    found = common_turn(job, joint)
    assert found is not None
    assert front(job, joint, found, 3.0).verdict == "re-aim"


def test_levels_take_the_common_turn_off() -> None:
    assert common_turn(meant(shown((1.6, 0)), (1.6, 0)), shown((1.6, 0))) is not None
    turn = np.radians([1.6, 0, 0])
    scene = Scene(turned(JOB, turn), np.random.default_rng(1), lens_sigma=SHARP)
    joint = adjusted(scene, replace(JOB, readings=tuple(levels(turn))))
    assert common_turn(JOB, joint) is None
