"""Proves that an inspection that goes on gives what a single one of the same files gives.

Does not prove how fast: `tests/speed/test_running.py` prints that.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.paths import SAMPLES
from tests.remembered import worked_out
from tests.same_results import differences
from vision.documents.result import result_of
from vision.files.disk import read_inspection_input
from vision.identification import decision
from vision.inspection.inspect import inspect
from vision.inspection.memory import KEPT_INSPECTIONS, Memory
from vision.inspection.running import Running


@pytest.fixture(scope="module", autouse=True)
def _anew():
    """What is recalled here is recalled by the engine, or not at all."""
    with worked_out():
        yield


@pytest.fixture(scope="module")
def lot():
    """The job of a sample set, and its pictures by their cameras' names."""
    job, pictures = read_inspection_input(SAMPLES / "long_shadow" / "job.toml")
    return job, {each.name: each for each in pictures}


@pytest.fixture(scope="module")
def cold(lot):
    job, pictures = lot
    return result_of(inspect(job, tuple(pictures.values())))


@pytest.fixture
def looked(monkeypatch):
    """The cameras whose marks are looked for with the grey picture, as that happens."""
    looks = []
    prepared = decision.prepared

    def noted(job, layout, camera, prior, picture):
        looks.append((camera.name, picture))
        return prepared(job, layout, camera, prior, picture)

    monkeypatch.setattr(decision, "prepared", noted)
    return looks


def own(looked, pictures):
    """The cameras that were looked for in their own picture of these."""
    return {name for name, grey in looked if np.array_equal(grey, pictures[name].grey)}


def last(running, job, pictures):
    *_, whole = running.inspections(job, pictures)
    return whole


def test_pictures_in_any_order_give_what_one_inspection_gives(lot, cold):
    job, pictures = lot
    running, there = Running(), {}
    for name in reversed(pictures):
        there[name] = pictures[name]
        first, whole = running.inspections(job, there)
        # What is said first is not taken back.
        assert [c.verdict for c in first.cameras] == [c.verdict for c in whole.cameras]
        assert [s.verdict for s in first.seams] == [s.verdict for s in whole.seams]
        for camera in whole.cameras:
            if camera.name not in there:
                assert camera.verdict == "not-judged"
                assert [each.code for each in camera.reasons] == ["no-picture"]
    assert differences(cold, result_of(whole)) == []


def test_a_new_picture_costs_its_own_looking_and_one_taken_back_none(lot, cold, looked):
    job, pictures = lot
    running = Running()
    last(running, job, pictures)
    looked.clear()
    other = replace(pictures["front"], sha256="another", bgr=np.roll(pictures["front"].bgr, 2, 1))
    moved = last(running, job, {**pictures, "front": other})
    # Other cameras may be looked for in the new picture, but none in its own again.
    assert own(looked, {**pictures, "front": other}) == {"front"}
    assert differences(cold, result_of(moved)) != []
    looked.clear()
    assert differences(cold, result_of(last(running, job, pictures))) == []
    assert looked == []


def test_another_job_is_looked_at_anew(lot, looked):
    job, pictures = lot
    running, some = Running(), {"front": pictures["front"]}
    last(running, job, some)
    wider = tuple(replace(each, field_of_view_rad=3.3) for each in job.lenses)
    looked.clear()
    found = last(running, replace(job, lenses=wider), some)
    assert own(looked, pictures) == {"front"}
    fresh = last(Running(), replace(job, lenses=wider), some)
    assert differences(result_of(fresh), result_of(found)) == []


def test_memory_does_not_grow_with_the_pictures(lot):
    job, pictures = lot
    running, sizes = Running(), []
    small = pictures["front"].bgr[::4, ::4]
    for number in range(3 * KEPT_INSPECTIONS):
        front = replace(pictures["front"], sha256=str(number), bgr=np.roll(small, number, 1))
        last(running, job, {"front": front})
        sizes.append(len(running._memory))
    assert len(set(sizes[-KEPT_INSPECTIONS:])) == 1


def test_an_answer_is_recalled_by_content_and_forgotten_unasked():
    memory, calls = Memory(), []

    def double(values):
        calls.append(values)
        return 2 * values

    for _ in range(2):
        assert memory(double, np.arange(3.0)).tolist() == [0.0, 2.0, 4.0]
    assert memory(double, np.arange(4.0)).tolist() == [0.0, 2.0, 4.0, 6.0]
    assert len(calls) == 2
    for _ in range(KEPT_INSPECTIONS + 1):
        memory.next_inspection()
    assert len(memory) == 0


def test_a_picture_is_known_by_what_it_shows(lot):
    job, pictures = lot
    running = Running()
    # The rear camera's comes mirrored, which the file alone does not say.
    for name in ("front", "rear"):
        given = pictures[name]
        as_file = given.bgr[:, ::-1] if given.mirrored else given.bgr
        unsorted = replace(given, name="unsorted", mirrored=False, bgr=as_file)
        assert running.whose(job, unsorted) in (name, None)
    blank = replace(pictures["front"], sha256="blank", bgr=np.zeros_like(pictures["front"].bgr))
    assert running.whose(job, blank) is None
