"""A single mark laid wrong: left out, and yet said where it lies.

Proves, on simulated observations, that a mark 6 cm off along or across its strip is said to lie
there to a centimetre, in words, and that nothing is said of what every camera uses or another sees
in its place. Does not prove that the mark is found in a picture.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.adjusting import JOB, Scene, moved
from vision.adjustment import Adjustment
from vision.geometry import Array
from vision.verdict import strays


def laid_wrong(mark_id: str, by_m: Array, seed: int = 11, only: str = "") -> tuple[Scene, str]:
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
    return strays(JOB, result, {seen.name: seen.points for seen in scene.observations})


@pytest.mark.parametrize(
    ("by_m", "way"),
    [((0.06, 0.0), "ahead"), ((-0.06, 0.0), "behind"), ((0.0, 0.06), "left")],
)
def test_where_a_mark_lies_is_said(by_m: tuple[float, float], way: str) -> None:
    _, text = laid_wrong("left/8", np.array(by_m))
    assert text.count("left/8") == 1
    figure = re.search(rf"([\d.]+) cm {way}", text)
    assert figure is not None, text
    assert float(figure[1]) == pytest.approx(6.0, abs=1.0)
    assert "as the left camera shows it; it was left out: tape it from mark 0" in text


def test_nothing_is_said_where_all_is_well() -> None:
    scene = Scene(JOB, np.random.default_rng(11))
    assert said(scene, scene.adjusted()) == ()


def test_a_wrong_pick_of_what_another_camera_sees_well_is_no_stray() -> None:
    scene = Scene(JOB, np.random.default_rng(11))
    counts = [seen.points.ids for seen in scene.observations]
    shared = next(i for i in counts[0] if i.startswith("left/") and i in counts[1])
    scene, text = laid_wrong(shared, np.array([0.08, 0.0]), only=scene.observations[0].name)
    assert shared not in text


def test_what_lies_far_off_is_another_thing() -> None:
    _, text = laid_wrong("left/8", np.array([0.0, 0.9]))
    assert text == ""


def test_inches_where_the_tape_has_them() -> None:
    scene, _ = laid_wrong("left/8", np.array([0.06, 0.0]))
    job = replace(JOB, lengths=replace(JOB.lengths, imperial=True))
    points = {seen.name: seen.points for seen in scene.observations}
    (text,) = strays(job, scene.adjusted(), points)
    assert re.search(r"left/8 lies about 2 [\d/]+ in \(\d\.\d cm\) ahead", text)
