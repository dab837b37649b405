"""Proves what several pictures of one camera give: a mean, a smaller sigma, and who moved.

The pictures are those of a sample set with noise added, shifted or covered here. How errors and
sigmas compare is printed by `tests.accuracy.shots`; what a movement is called is shown in
`tests/inspection/test_movement.py`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.paths import CLEAR_DAY
from vision.camera.lens_prior import lens_prior
from vision.files.disk import read_inspection_input
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.identification.shots import Combined, with_shots
from vision.job.layout import planned_layout
from vision.marks.picture import Picture


@pytest.fixture(scope="module")
def seen():
    """A job, its front camera, that camera's picture, and its marks."""
    job, pictures = read_inspection_input(CLEAR_DAY)
    picture, camera = pictures[0], job.cameras[0]
    prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
    first = identify(job, planned_layout(job), camera, prior, picture.grey)
    assert isinstance(first, Identified)
    return job, camera, picture, first


def again(picture: Picture, seed: int, noise: float = 3.0) -> np.ndarray:
    """The same view with other noise."""
    rng = np.random.default_rng(seed)
    noisy = picture.bgr + rng.normal(0, noise, picture.bgr.shape)
    return np.clip(np.round(noisy), 0, 255).astype(np.uint8)


def combine(seen, *shots: np.ndarray) -> Combined:
    job, camera, picture, first = seen
    further = [replace(picture, bgr=bgr, sha256=str(i)) for i, bgr in enumerate(shots)]
    return with_shots(job, planned_layout(job), camera, first, picture.with_further(further))


def sigmas(found: Identified) -> np.ndarray:
    return np.sqrt(np.linalg.eigvalsh(found.fit.points.covariance_px2)[:, 1])


def test_one_picture_is_what_it_was(seen) -> None:
    found = combine(seen)
    assert found.outcome is seen[3]
    assert (found.steps, found.unlike) == ((), ())


def test_more_pictures_are_surer_but_never_past_what_they_share(seen) -> None:
    two = combine(seen, again(seen[2], 1, noise=10))
    eight = combine(seen, *(again(seen[2], seed, noise=10) for seed in range(1, 8)))
    assert not two.moved
    assert not eight.moved
    assert two.outcome.fit.points.ids == seen[3].fit.points.ids
    assert np.median(sigmas(two.outcome)) > np.median(sigmas(eight.outcome))
    # The set's own noise is in every one of them, and stays.
    assert np.median(sigmas(eight.outcome)) > 0.7 * np.median(sigmas(seen[3]))
    assert 0.1 < eight.own_share < 1.0


def test_a_copy_tells_nothing(seen) -> None:
    found = combine(seen, seen[2].bgr)
    assert found.own_share < 0.05
    assert sigmas(found.outcome) == pytest.approx(sigmas(seen[3]), rel=0.1)


def lifted(seen, seed: int) -> tuple[str, np.ndarray]:
    """A used mark, and the view with that mark moved by a pixel, as a lifted tape is."""
    mark = next(each for each in seen[3].sightings if each.status == "used")
    u, v = np.round(mark.measured.pixel_px).astype(int)
    bgr, half = again(seen[2], seed), 30
    rows = slice(v - half, v + half)
    bgr[rows, u - half : u + half] = bgr[rows, u - half - 1 : u + half - 1].copy()
    return mark.id, bgr


def fate(found: Combined, id_) -> tuple[str, str | None]:
    (one,) = (each for each in found.outcome.sightings if each.id == id_)
    return one.status, one.reason.code if one.reason else None


def test_a_mark_that_differs_between_two_pictures_is_refused(seen) -> None:
    id_, bgr = lifted(seen, 1)
    assert fate(combine(seen, bgr), id_) == ("rejected", "shots-disagree")


def test_of_three_pictures_two_outvote_one(seen) -> None:
    id_, bgr = lifted(seen, 1)
    assert fate(combine(seen, bgr, again(seen[2], 2)), id_) == ("used", None)


def test_a_picture_taken_after_the_camera_moved_is_not_combined(seen) -> None:
    moved = np.roll(again(seen[2], 1), 2, axis=1)
    found = combine(seen, again(seen[2], 2), moved)
    (step,) = found.moved
    assert step.shot == 2
    # Two pixels across, over a focal length of some 430, in the middle of the picture.
    assert step.shift_px == pytest.approx(2.0, abs=0.2)
    before = {each.id: each.measured for each in seen[3].sightings}
    for each in found.outcome.sightings:
        if each.status == "used":
            off = each.measured.pixel_px - before[each.id].pixel_px
            assert np.linalg.norm(off) < 0.5


def test_a_picture_of_something_else_is_left_out(seen) -> None:
    other = np.full_like(seen[2].bgr, 90)
    found = combine(seen, other)
    assert found.unlike == (1,)
    assert found.outcome is seen[3]
