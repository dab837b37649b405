"""A single mark laid wrong: left out, and yet said where it lies.

Proves, on simulated observations, that a mark 6 cm off along or across its strip is said to lie
there to a centimetre, in words, with a true sigma; that its strip is not kept then; and that
nothing is said of what every camera uses or another sees in its place. Does not prove that the mark
is found in a picture.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.adjusting import JOB, Scene, moved
from tests.judging import text as text_of
from vision.adjustment.adjusted import Adjustment
from vision.inspection.verdict.displaced_marks import (
    DisplacedMark,
    displaced_marks,
    with_displaced_marks,
)
from vision.inspection.verdict.layings import LayingVerdict
from vision.job.mark_id import MarkId
from vision.units.arrays import Array


def laid_wrong(mark_id: MarkId, by_m: Array, seed: int = 11, only: str = "") -> tuple[Scene, str]:
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
    result = scene.adjusted()
    return scene, " | ".join(said(scene, result))


def said(scene: Scene, result: Adjustment) -> tuple[str, ...]:
    return tuple(text_of(stray.reason) for stray in found(scene, result))


def found(scene: Scene, result: Adjustment) -> tuple[DisplacedMark, ...]:
    return displaced_marks(
        JOB, scene.layout, result, {seen.name: seen.points for seen in scene.observations}
    )


@pytest.mark.parametrize(
    ("by_m", "way"),
    [((0.06, 0.0), "ahead"), ((-0.06, 0.0), "behind"), ((0.0, 0.06), "left")],
)
def test_where_a_mark_lies_is_said(by_m: tuple[float, float], way: str) -> None:
    _, text = laid_wrong(MarkId("left", 8), np.array(by_m))
    assert text.count("left/8") == 1
    assert text.startswith("left/8 lies about ")
    figure = re.search(rf"([\d.]+) cm {way}", text)
    assert figure is not None, text
    assert float(figure[1]) == pytest.approx(6.0, abs=1.0)
    assert "as the left camera shows it; it was left out: tape it from its neighbours" in text


def test_nothing_is_said_where_all_is_well() -> None:
    scene = Scene(JOB, np.random.default_rng(11))
    assert said(scene, scene.adjusted()) == ()


def test_a_wrong_pick_of_what_another_camera_sees_well_is_no_stray() -> None:
    scene = Scene(JOB, np.random.default_rng(11))
    counts = [seen.points.ids for seen in scene.observations]
    shared = next(i for i in counts[0] if i.strip == "left" and i in counts[1])
    scene, text = laid_wrong(shared, np.array([0.08, 0.0]), only=scene.observations[0].name)
    assert str(shared) not in text


def test_what_lies_far_off_is_another_thing() -> None:
    _, text = laid_wrong(MarkId("left", 8), np.array([0.0, 0.9]))
    assert text == ""


def true_shift_m(scene: Scene, mark_id: MarkId) -> Array:
    """How far a mark lies from its plan before it is moved, (2,)."""
    return (scene.places[mark_id] - scene.layout.mark(mark_id).centre_m)[:2]


KEEP = LayingVerdict(name="left", verdict="keep")


def test_what_one_picture_shows_beyond_tolerance_is_not_judged() -> None:
    scene, text = laid_wrong(MarkId("left", 8), np.array([0.06, 0.0]))
    (stray,) = found(scene, scene.adjusted())
    verdict = with_displaced_marks(KEEP, (stray,), 0.03)
    assert (verdict.verdict, verdict.actions) == ("not-judged", ())
    assert [text_of(reason) for reason in verdict.reasons] == [text]
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
    scene, _ = laid_wrong(shared, np.array([0.0, 0.08]))
    (stray,) = found(scene, scene.adjusted())
    assert stray.cameras == ("front", "left")
    off = stray.shift_m - true_shift_m(scene, shared) - np.array([0.0, 0.08])
    assert off @ np.linalg.solve(stray.covariance_m2, off) < 13.8
    verdict = with_displaced_marks(KEEP, (stray,), 0.03)
    assert verdict.verdict == "re-measure"
    (action,) = verdict.actions
    assert text_of(action).startswith(f"lay mark {shared} again: it lies about ")
    assert "8.4 cm left of where" in text_of(action)
    assert "as the front and left cameras show it" in text_of(action)


def test_how_sure_a_stray_lies_there_is_true() -> None:
    squared = []
    for seed in range(20, 40):
        scene, _ = laid_wrong(MarkId("left", 8), np.array([0.06, 0.0]), seed=seed)
        (stray,) = found(scene, scene.adjusted())
        off = stray.shift_m - true_shift_m(scene, MarkId("left", 8)) - np.array([0.06, 0.0])
        squared.append(off @ np.linalg.solve(stray.covariance_m2, off))
    # Chi-square with two degrees of freedom, 20 draws: the mean's sigma is 0.45.
    assert 0.6 < np.mean(squared) < 3.8


def test_inches_where_the_tape_has_them() -> None:
    scene, _ = laid_wrong(MarkId("left", 8), np.array([0.06, 0.0]))
    job = replace(JOB, lengths=replace(JOB.lengths, imperial=True))
    points = {seen.name: seen.points for seen in scene.observations}
    (stray,) = displaced_marks(job, scene.layout, scene.adjusted(), points)
    text = text_of(stray.reason, job.lengths)
    assert re.search(r"left/8 lies about 2 [\d/]+ in \(\d\.\d cm\) ahead", text)
