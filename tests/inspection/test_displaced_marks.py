"""A single mark laid wrong: left out, and yet said where it lies.

Proves, on simulated observations, that a mark 6 cm off along or across its strip is said to lie
there to a centimetre, with a true sigma; that its strip is not kept then; and that
nothing is said of what every camera uses or another sees in its place. Does not prove that the mark
is found in a picture.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.adjusting import JOB, Scene, moved
from tests.judging import text
from tests.tape import metric_alone
from vision.adjustment.adjusted import Adjustment
from vision.inspection.verdict.displaced_marks import (
    DisplacedMark,
    displaced_marks,
    with_displaced_marks,
)
from vision.inspection.verdict.layings import LayingVerdict
from vision.job.mark_id import MarkId
from vision.units.arrays import Array
from vision.units.length_words import LengthWords
from vision.units.reason import Reason

LONE = MarkId("left", 8)
"""A mark that the left camera alone sees."""


def laid_wrong(
    mark_id: MarkId, by_m: Array, seed: int = 11, only: str = ""
) -> tuple[Scene, tuple[DisplacedMark, ...]]:
    """A scene whose mark lies `by_m` (2,) elsewhere, as all cameras see it or as `only` does."""
    scene = Scene(JOB, np.random.default_rng(seed))
    observations = []
    for seen in scene.observations:
        if mark_id in seen.points.ids and only in ("", seen.name):
            pose, lens = scene.poses[seen.name], scene.lenses[seen.name]
            at = np.stack([scene.places[mark_id], scene.places[mark_id] + np.r_[by_m, 0.0]])
            was, now = lens.project(pose.transform(at))
            seen = moved(seen, seen.points.ids.index(mark_id), now - was)
        observations.append(seen)
    scene.observations = tuple(observations)
    return scene, found(scene, scene.adjusted())


def found(scene: Scene, result: Adjustment) -> tuple[DisplacedMark, ...]:
    return displaced_marks(
        JOB, scene.layout, result, {seen.name: seen.points for seen in scene.observations}
    )


@pytest.mark.parametrize(
    ("by_m", "way"),
    [((0.06, 0.0), "ahead"), ((-0.06, 0.0), "behind"), ((0.0, 0.06), "left")],
)
def test_where_a_mark_lies_is_said(by_m: tuple[float, float], way: str) -> None:
    _, (stray,) = laid_wrong(LONE, np.array(by_m))
    reason = stray.reason
    assert (reason.code, reason.arguments["mark"]) == ("stray-mark", LONE)
    assert reason.arguments["cameras"] == ("left",)
    assert dict(reason.arguments["parts"])[way] == pytest.approx(0.06, abs=0.01)


def test_nothing_is_said_where_all_is_well() -> None:
    scene = Scene(JOB, np.random.default_rng(11))
    assert found(scene, scene.adjusted()) == ()


def test_a_wrong_pick_of_what_another_camera_sees_well_is_no_stray() -> None:
    scene = Scene(JOB, np.random.default_rng(11))
    counts = [seen.points.ids for seen in scene.observations]
    shared = next(i for i in counts[0] if i.strip == "left" and i in counts[1])
    _, strays = laid_wrong(shared, np.array([0.08, 0.0]), only=scene.observations[0].name)
    assert shared not in [stray.mark_id for stray in strays]


def test_what_lies_far_off_is_another_thing() -> None:
    assert laid_wrong(LONE, np.array([0.0, 0.9]))[1] == ()


def true_shift_m(scene: Scene, mark_id: MarkId) -> Array:
    """How far a mark lies from its plan before it is moved, (2,)."""
    return (scene.places[mark_id] - scene.layout.mark(mark_id).centre_m)[:2]


KEEP = LayingVerdict(name="left", verdict="keep")


def test_what_one_picture_shows_beyond_tolerance_is_not_judged() -> None:
    _, (stray,) = laid_wrong(LONE, np.array([0.06, 0.0]))
    verdict = with_displaced_marks(KEEP, (stray,), 0.03)
    assert (verdict.verdict, verdict.actions) == ("not-judged", ())
    assert verdict.reasons == (stray.reason,)
    # Not beyond, another strip's, or nothing: the verdict stands.
    assert with_displaced_marks(KEEP, (stray,), 0.06) == KEEP
    other = replace(KEEP, name="right")
    assert with_displaced_marks(other, (stray,), 0.03) == other
    worse = replace(KEEP, verdict="re-measure")
    assert with_displaced_marks(worse, (stray,), 0.03).verdict == "re-measure"


def test_what_two_pictures_show_alike_is_to_be_laid_again() -> None:
    scene = Scene(JOB, np.random.default_rng(11))
    counts = [seen.points.ids for seen in scene.observations]
    shared = next(i for i in counts[0] if i.strip == "left" and i in counts[1])
    scene, (stray,) = laid_wrong(shared, np.array([0.0, 0.08]))
    assert stray.cameras == ("front", "left")
    off = stray.shift_m - true_shift_m(scene, shared) - np.array([0.0, 0.08])
    assert off @ np.linalg.solve(stray.covariance_m2, off) < 13.8
    verdict = with_displaced_marks(KEEP, (stray,), 0.03)
    assert verdict.verdict == "re-measure"
    (action,) = verdict.actions
    assert action.what == Reason("lay-displaced-again", why=stray.reason)
    assert stray.reason.arguments["mark"] == shared
    assert dict(stray.reason.arguments["parts"])["left"] == pytest.approx(0.0834, abs=5e-4)


def test_how_sure_a_stray_lies_there_is_true() -> None:
    squared = []
    for seed in range(20, 40):
        scene, (stray,) = laid_wrong(LONE, np.array([0.06, 0.0]), seed=seed)
        off = stray.shift_m - true_shift_m(scene, LONE) - np.array([0.06, 0.0])
        squared.append(off @ np.linalg.solve(stray.covariance_m2, off))
    # Chi-square with two degrees of freedom, 20 draws: the mean's sigma is 0.45.
    assert 0.6 < np.mean(squared) < 3.8


def test_inches_where_the_tape_has_them() -> None:
    _, (stray,) = laid_wrong(LONE, np.array([0.06, 0.0]))
    said = text(stray.reason, LengthWords(imperial=True))
    assert str(LONE) in said
    assert metric_alone(said) == []
