"""Marks are found in poor pictures, none where there are none, and a missing one has its reason.

Proves, on stored pictures of an independent renderer made worse and on drawn yards: what used to be
given up (a board set at 720 px width, a shadowed yard in little light with noise, few marks of
mixed kinds under a low sun, a veil that leaves a quarter of the contrast) is identified with every
name right; on tape burnt out to white centres are as sure as they say; yards and photographs
without marks give no marks; a covered, torn, hidden or too small mark is named as such. The noise
estimate is right. Does not prove recall: `python -m tests.accuracy.conditions` counts that, on
request.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage

from tests.accuracy.conditions import Tally, View, jpeg, stored_views, views
from tests.accuracy.false_alarms import alarms, drawn
from tests.paths import CLEAR_DAY, FRAMES, SAMPLES
from tests.yards import YARD_JOB
from vision.camera.lens_prior import lens_prior
from vision.files.disk import read_job
from vision.identification.decision import identify
from vision.identification.identified import Identified, NotIdentified
from vision.job.job import Job
from vision.job.job_file import job_from_text
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId
from vision.marks import candidates
from vision.marks.candidates import Look, find_candidates, picture_noise
from vision.marks.settings import SETTINGS
from vision.practice.deviations import Damage, Deviations, Light
from vision.practice.scene import draw_scene
from vision.units.reason import Reason

COVERED = {"no-tape", "half-covered", "no-ink", "nothing-there", "noisier"}


@pytest.mark.parametrize(
    ("folder", "degraded", "camera"),
    [
        (FRAMES / "board_panels", "width 720", "front"),
        (FRAMES / "after_rain", "width 720", "left"),
        (SAMPLES / "long_shadow", "light 0.4, noise 10", "front"),
        (SAMPLES / "long_shadow", "blur 2", "rear"),
        (SAMPLES / "long_shadow", "veil", "right"),
        (FRAMES / "board_panels", "veil", "left"),
    ],
)
def test_poor_pictures_are_identified(folder: Path, degraded: str, camera: str) -> None:
    tally = Tally()
    for view in stored_views(folder, degraded, seed=1):
        if view.camera.name == camera:
            tally.judge(view)
    assert tally.named == 1, tally.unnamed
    assert not tally.wrong
    assert tally.used >= 0.85 * tally.due


def test_centres_on_tape_that_is_burnt_out_to_white_are_as_sure_as_they_say() -> None:
    squared = []
    for view in stored_views(SAMPLES / "clear_day", "light 1.8", seed=1):
        outcome = Tally().judge(view)
        assert isinstance(outcome, Identified)
        for sighting in outcome.sightings:
            if str(sighting.id) in view.due and sighting.measured is not None:
                off = sighting.measured.pixel_px - view.true_px[str(sighting.id)]
                squared.append(off @ np.linalg.solve(sighting.measured.covariance_px2, off))
    # Two in the mean if they are; white pixels, taken for quiet ones, once made it some hundreds.
    assert len(squared) > 50
    assert np.mean(squared) < 4


def test_a_picture_that_is_burnt_out_is_said_to_be() -> None:
    view = next(iter(stored_views(SAMPLES / "long_shadow", "as stored", seed=1)))
    burnt = dataclasses.replace(view, grey=np.minimum(3.0 * view.grey, 255).astype(np.uint8))
    outcome = Tally().judge(burnt)
    assert isinstance(outcome, NotIdentified)
    white = float(np.mean(burnt.grey > 250))
    assert white > 0.5
    assert abs(outcome.reason.arguments["burnt_share"] - white) < 0.005


def test_what_a_person_leaves_of_a_mark_is_right_or_not_taken() -> None:
    """Half a quadrant behind a shoulder, whose edge once passed for the mark's own, 3 px off."""
    tally = Tally()
    for view in views("people", 11):
        if view.camera.name == "rear":
            tally.judge(view)
    assert tally.named == 1
    assert not tally.wrong
    assert tally.used == tally.due


def test_a_far_board_is_not_counted_from_the_next_square() -> None:
    """Squares of 2.3 px on wet ground, where a board moved by one looks nearly the same."""
    tally = Tally()
    for view in views("wet", 7):
        if view.camera.name == "right":
            tally.judge(view)
    assert tally.named == 1
    assert not tally.wrong


def yard_view(asked: Deviations, seed: int = 1) -> tuple[Job, View]:
    """The front camera's view of the yard of the scene tests: 3 quadrants, 2 boards, a trestle."""
    job = job_from_text(YARD_JOB, "job.toml")
    job = dataclasses.replace(job, cameras=job.cameras[:1])
    scene = draw_scene(job, asked, seed)
    grey = cv2.cvtColor(scene.pictures["front"], cv2.COLOR_BGR2GRAY)
    marks = [mark for mark in scene.truth["cameras"][0]["marks"] if mark["pixel"] is not None]
    return job, View(
        name="yard",
        job=job,
        camera=job.cameras[0],
        grey=jpeg(grey, asked.light),
        true_px={mark["id"]: np.array(mark["pixel"]) for mark in marks},
        due=frozenset(mark["id"] for mark in marks if mark["clear"] > 0.95),
    )


def test_few_marks_of_mixed_kinds_under_a_low_sun() -> None:
    light = Light(sun_elevation_rad=np.radians(32), sun_azimuth_rad=np.radians(150))
    tally = Tally()
    tally.judge(yard_view(Deviations(light=light))[1])
    assert tally.named == 1, tally.unnamed
    assert not tally.wrong
    assert tally.used >= 0.95 * tally.due


def test_a_missing_mark_has_its_reason() -> None:
    job = read_job(CLEAR_DAY)[0]
    job = dataclasses.replace(job, cameras=job.cameras[:1])
    damages = {
        MarkId("front", 2): Damage(covered=1.0),
        MarkId("front", 4): Damage(torn=0.5),
        MarkId("front", 6): Damage(smeared=1.0, leaves=2),
    }
    scene = draw_scene(job, Deviations(damages=damages), 2)
    camera = job.cameras[0]
    grey = cv2.cvtColor(scene.pictures[camera.name], cv2.COLOR_BGR2GRAY)
    prior = lens_prior(job.lens_of(camera), grey.shape[1], grey.shape[0])
    outcome = identify(job, planned_layout(job), camera, prior, grey)
    assert isinstance(outcome, Identified)
    told = {str(each.id): each for each in outcome.sightings}
    assert told["front/2"].status in {"rejected", "not-found"}
    assert told["front/2"].reason.code in COVERED
    # Half a cross that is left is enough, and its other half is no reason for a wrong centre.
    true_px = {mark["id"]: mark["pixel"] for mark in scene.truth["cameras"][0]["marks"]}
    for name in ("front/4", "front/6"):
        found = told[name]
        if found.status == "used":
            assert found.measured is not None
            assert np.hypot(*(found.measured.pixel_px - true_px[name])) < 0.3
        else:
            assert found.reason.code in COVERED
    assert told["front/1"].status == "used"
    hidden = [each for each in outcome.sightings if each.status == "hidden"]
    assert hidden
    assert {each.reason for each in hidden} == {Reason("behind-body")}
    for each in outcome.sightings:
        assert (each.status == "used") == (each.reason is None), each.id


def test_no_marks_where_there_are_none() -> None:
    job = read_job(CLEAR_DAY)[0]
    one = dataclasses.replace(job, cameras=job.cameras[:1])
    shown = list(drawn(one, 2, seed=3, width=800))
    data = Path(skimage.__file__).parent / "data"
    for name in ("gravel.png", "brick.png"):
        grey = cv2.imread(str(data / name), cv2.IMREAD_GRAYSCALE)
        shown.append((name, cv2.resize(np.asarray(grey), (800, 800))))
    for name, grey in shown:
        assert alarms(one, grey) == [], name


@pytest.mark.parametrize("sigma", [1.0, 3.0, 10.0])
def test_the_noise_of_a_picture(sigma: float) -> None:
    rng = np.random.default_rng(5)
    v, u = np.indices((400, 600))
    clean = 90 + 0.1 * u + 40 * (u > 300) + 0.05 * v
    noisy = np.clip(clean + rng.normal(0, sigma, clean.shape), 0, 255)
    assert picture_noise(noisy.astype(np.float32)) == pytest.approx(sigma, rel=0.05)
    assert picture_noise(clean.astype(np.float32)) == SETTINGS.candidates.least_noise


def test_bands_of_a_picture_are_looked_at_as_the_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    blobs = np.random.default_rng(7).normal(0, 150, (300, 420)).astype(np.float32)
    grey = np.clip(110 + cv2.GaussianBlur(blobs, (0, 0), 1.5), 0, 255)
    looks: list[Look] = [("cross", "dark"), ("board", "dark")]
    banded = find_candidates(grey, looks, widest_line_px=20.0, noise=0.5)
    monkeypatch.setattr(candidates, "TUNED", dataclasses.replace(candidates.TUNED, band_rows=1000))
    whole = find_candidates(grey, looks, widest_line_px=20.0, noise=0.5)
    for one, other in zip(banded, whole, strict=True):
        assert len(one.strength) > 20
        np.testing.assert_array_equal(one.pixels_px, other.pixels_px)
        np.testing.assert_array_equal(one.strength, other.strength)


def test_noise_alone_gives_hardly_any_candidates() -> None:
    # 3.5 sigma is passed by chance now and then; without the floor it was a peak every 50 pixels.
    rng = np.random.default_rng(6)
    grey = np.clip(25 + rng.normal(0, 10, (360, 640)), 0, 255).astype(np.float32)
    for found in find_candidates(grey, [("cross", "dark"), ("saddle", "dark"), ("board", "dark")]):
        assert len(found.strength) < 60
