"""Proves that the texture's shift is the seam gap, with its sign, and that poor ground is refused.

Ground with a known texture is drawn here, by this file's own few lines, through two cameras whose
plan fits are a known turn off. Does not prove the stated sigma on real ground: that is printed by
`python -m tests.accuracy.texture` on sets that another renderer made.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.conftest import PLACES, hand_made_inspection, hand_made_job
from tests.fits import perfect_fit
from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.documents.check_words.words import say_texture
from vision.documents.result import result_of, validate
from vision.marks.picture import Picture
from vision.units.reason import Reason
from vision.views.ground import ground_map
from vision.views.seams.gaps import SeamGap
from vision.views.seams.lines import seam_lines
from vision.views.texture import match
from vision.views.texture.rectified import band_of, rectified, unfit
from vision.views.texture.registration import texture_shift
from vision.views.texture.shift import NoTexture, TextureShift, texture_agreement

LENS = Lens(width=960, height=540, fx=320.0, fy=320.0, cx=479.5, cy=269.5)
CELL_M, REACH_M = 0.02, 12.0
TURN = np.array([0.012, -0.006, 0.008])


def pose_of(name):
    x, y, z, pan = PLACES[name]
    return Pose.at(np.array([x, y, z]), Aim.from_degrees(pan, 45, 0).rotation())


def grainy_ground(rng):
    """Ground (rows by x, columns by y) of stains and grain, in levels."""
    side = round(2 * REACH_M / CELL_M)
    grain = cv2.GaussianBlur(rng.normal(size=(side, side)), (0, 0), 2.0)
    stains = cv2.GaussianBlur(rng.normal(size=(side, side)), (0, 0), 6.0)
    return 110 + 12 * grain / grain.std() + 12 * stains / stains.std()


def photographed(name, ground, rng, gain=1.0):
    """The picture that a camera takes of a ground, with noise; black where it sees none."""
    u, v = np.meshgrid(np.arange(LENS.width), np.arange(LENS.height))
    places = ground_map(pose_of(name), LENS).ground_from_pixel(np.stack([u, v], axis=-1))
    cells = ((np.nan_to_num(places, nan=1e3) + REACH_M) / CELL_M).astype(np.float32)
    taken = cv2.remap(ground, cells[..., 1], cells[..., 0], cv2.INTER_LINEAR)
    taken = gain * taken + rng.normal(size=taken.shape) * 1.5
    bgr = np.repeat(np.clip(taken, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    return Picture.from_delivered(
        name=name, file=f"{name}.png", sha256="0" * 64, mirrored=False, bgr=bgr
    )


def seam_of(job, fits):
    """The front-left seam with its true gap: what the plan fits make of the true pixels."""
    line = next(each for each in seam_lines(job) if set(each.between) == {"front", "left"})
    points = line.points_m()
    drawn = [
        ground_map(fits[name].pose, LENS).ground_from_pixel(
            ground_map(pose_of(name), LENS).pixel_from_ground(points)
        )
        for name in line.between
    ]
    gaps = drawn[0] - drawn[1]
    return SeamGap(
        between=line.between,
        start_m=line.start_m,
        end_m=line.end_m,
        shared_marks=0,
        points_m=points,
        gaps_m=gaps,
        covariances_m2=np.broadcast_to(np.eye(2) * 1e-6, (len(points), 2, 2)),
        mark_ids=(),
        mark_at_m=np.zeros((0, 2)),
        mark_gaps_m=np.zeros((0, 2)),
        mark_covariances_m2=np.zeros((0, 2, 2)),
        worst_gap_m=None,
        worst_gap_sigma_m=None,
        rms_gap_m=None,
        uncovered_m=0.0,
        overlap_m=None,
        overlap_sigma_m=None,
    )


@pytest.fixture(scope="module")
def fits():
    turned = pose_of("front").perturbed(np.concatenate([np.zeros(3), TURN]))
    return {"front": perfect_fit(turned, LENS), "left": perfect_fit(pose_of("left"), LENS)}


def shift_on(ground, fits, seed=5):
    rng = np.random.default_rng(seed)
    job = hand_made_job()
    gap = seam_of(job, fits)
    pictures = {name: photographed(name, ground, rng, 1.0 if name == "front" else 0.7)
                for name in ("front", "left")}  # fmt: skip
    return texture_shift(job, gap, fits, pictures), gap


@pytest.fixture(scope="module")
def found(fits):
    return shift_on(grainy_ground(np.random.default_rng(3)), fits)


def test_the_shift_is_the_gap_with_its_sign(found):
    shift, gap = found
    assert isinstance(shift, TextureShift)
    true = gap.gaps_m[len(gap.points_m) // 2]
    assert np.linalg.norm(true) > 0.02
    error = shift.shift_m - true
    assert np.linalg.norm(error) < 0.003
    assert error @ np.linalg.solve(shift.covariance_m2, error) < 9.2
    assert shift.sigma_m.max() < 0.01
    assert shift.correlation > 0.6


def test_agreement_is_told_from_difference(found):
    shift, gap = found
    assert texture_agreement(shift, gap).verdict == "agrees"
    moved = SeamGap(**{**_fields(gap), "gaps_m": gap.gaps_m + np.array([0.0, 0.06])})
    assert texture_agreement(shift, moved).verdict == "differs"
    unknown = SeamGap(**{**_fields(gap), "gaps_m": np.full_like(gap.gaps_m, np.nan)})
    assert texture_agreement(shift, unknown).verdict == "cannot-tell"


def _fields(gap):
    return {name: getattr(gap, name) for name in SeamGap.__dataclass_fields__}


def test_ground_without_texture_cannot_tell(fits):
    bare = np.full((1200, 1200), 110.0)
    shift, _ = shift_on(bare, fits)
    assert isinstance(shift, NoTexture)
    assert shift.code in ("poor-texture", "no-peak", "ambiguous")


def test_tape_alone_cannot_tell_since_marks_must_not_speak_twice(fits):
    """Two tapes that cross by the seam would tell any shift, if they were let."""
    rng = np.random.default_rng(5)
    job = hand_made_job()
    ahead = replace(job.strips[0], to_m=np.array([5.0, 3.0]), at_m=np.array([0.0, 4.0]))
    aside = replace(
        ahead, name="left", from_m=np.array([-3.0, 2.0]), to_m=np.array([5.5, 2.0]),
        at_m=np.array([0.0, 8.5]),
    )  # fmt: skip
    x = np.arange(1200) * CELL_M - REACH_M
    ground = np.full((1200, 1200), 110.0)
    reach = ahead.tape_width_m / 2
    ground[np.ix_(np.abs(x - 5.0) < reach, (x > -1.2) & (x < 3.2))] = 230
    ground[np.ix_((x > -3.2) & (x < 5.7), np.abs(x - 2.0) < reach)] = 230
    pictures = {name: photographed(name, ground, rng) for name in ("front", "left")}
    gap = seam_of(job, fits)
    told = replace(job, strips=(ahead, aside))
    assert isinstance(texture_shift(told, gap, fits, pictures), NoTexture)
    untold = replace(job, strips=())
    assert isinstance(texture_shift(untold, gap, fits, pictures), TextureShift)


def test_tape_is_left_out_where_it_was_found_too(fits):
    job = hand_made_job()
    band = band_of(seam_of(job, fits))
    strip = replace(job.strips[0], to_m=np.array([5.0, 3.0]), at_m=np.array([0.0, 4.0]))
    job = replace(job, strips=(strip,))
    ends = np.stack([strip.from_m, strip.to_m]) + np.array([0.3, 0.0])
    laid = replace(hand_made_inspection().strips[0].adjusted, name=strip.name, ends_m=ends)
    for where, strips, out in ((5.0, (), True), (5.3, (), False), (5.3, (laid,), True)):
        away = np.linalg.norm(band.points_m - [where, 2.0], axis=-1)
        place = np.unravel_index(int(np.argmin(away)), away.shape)
        assert away[place] < 0.02
        assert unfit(job, strips, fits["front"], band)[place] == out


def test_paving_that_repeats_is_ambiguous(fits):
    x = np.arange(1200) * CELL_M
    joints = 110 + 40 * (np.cos(2 * np.pi * x / 0.1)[:, None] * np.cos(2 * np.pi * x / 0.1)[None])
    shift, _ = shift_on(joints, fits)
    assert isinstance(shift, NoTexture)
    assert shift.code == "ambiguous"


def test_rows_are_the_derivative_of_the_difference(fits, monkeypatch):
    """The gradient rows against central differences of the residual, on average over the ground."""
    kept = {}
    compared = match._compared

    def watched(band, fields, masks, state):
        kept.update(band=band, fields=fields, masks=masks, state=state)
        return compared(band, fields, masks, state)

    monkeypatch.setattr(match, "_compared", watched)
    shift_on(grainy_ground(np.random.default_rng(3)), fits)
    steps = np.zeros((2, 6, 2))
    steps[0, 0, 0], steps[1, 1, 1] = 0.004, 0.004
    given = kept["band"], kept["fields"], kept["masks"]
    here = compared(*given, kept["state"])
    for step in steps:
        up, down = (compared(*given, kept["state"] + sign * step) for sign in (1, -1))
        common = up.shown & down.shown & here.shown
        numeric = (up.residual[common[up.shown]] - down.residual[common[down.shown]]) / 2
        analytic = here.rows[common[here.shown]] @ step.ravel()
        assert np.corrcoef(numeric, analytic)[0, 1] > 0.98
        assert numeric @ analytic / (analytic @ analytic) == pytest.approx(1, abs=0.06)


def test_rectified_shows_a_ground_point_where_the_grid_says():
    view = ground_map(pose_of("front"), LENS)
    target = np.array([5.6, -0.8])
    u, v = np.round(view.pixel_from_ground(target)).astype(int)
    pixels = np.zeros((LENS.height, LENS.width, 3), dtype=np.uint8)
    pixels[v - 1 : v + 2, u - 1 : u + 2] = 255
    grid = np.stack(np.meshgrid(np.linspace(5, 6, 101), np.linspace(-1, 0, 101), indexing="ij"), -1)
    taken, shown = rectified(pixels, view, grid)
    assert shown.all()
    spot = grid[taken[..., 0] > 128].mean(axis=0)
    assert np.allclose(spot, target, atol=0.02)


@pytest.fixture(scope="module")
def pictures():
    rng = np.random.default_rng(5)
    ground = grainy_ground(np.random.default_rng(3))
    return {name: photographed(name, ground, rng) for name in ("front", "left")}


def shift_along(fits, pictures, start_m, end_m):
    """What is said of a seam that lies elsewhere, on good ground."""
    job = hand_made_job()
    gap = seam_of(job, fits)
    moved = SeamGap(**{**_fields(gap), "start_m": np.array(start_m), "end_m": np.array(end_m)})
    return texture_shift(job, moved, fits, pictures)


def test_a_short_seam_is_measured_on_the_ground_round_it(fits, pictures):
    shift = shift_along(fits, pictures, [4.9, 2.1], [4.95, 2.15])
    assert isinstance(shift, TextureShift)
    assert np.allclose(shift.at_m, [4.925, 2.125])


@pytest.mark.parametrize(
    ("start", "end"),
    [
        ([-9.0, -9.0], [-10.0, -10.0]),  # behind the front camera
        ([40.0, 40.0], [60.0, 60.0]),  # near the horizon
        ([0.0, 0.0], [1.0, 0.5]),  # under the body
    ],
)
def test_ground_that_is_not_seen_well_cannot_tell(fits, pictures, start, end):
    assert isinstance(shift_along(fits, pictures, start, end), NoTexture)


def test_of_a_seam_far_longer_than_displays_show_the_near_part_is_taken(fits, pictures):
    shift = shift_along(fits, pictures, [4.2, 1.4], [104.2, 101.4])
    assert isinstance(shift, TextureShift)
    assert np.allclose(shift.at_m, np.array([4.2, 1.4]) + 3 / np.sqrt(2))


def test_the_result_tells_the_shift_or_why_there_is_none(found, fits):
    shift, gap = found
    made = hand_made_inspection()
    seam = replace(made.seams[0], gap=gap, texture=shift)
    blind = replace(seam, texture=NoTexture(reason=Reason("poor-texture", sigma_m=0.041)))
    result = result_of(replace(made, seams=(seam, blind)))
    validate(result)
    told, untold = result["seams"]
    assert told["texture_verdict"] == "agrees"
    assert np.allclose(told["texture_shift_m"], shift.shift_m, atol=1e-5)
    assert np.allclose(told["texture_sigma_m"], shift.sigma_m, atol=1e-5)
    assert np.allclose(told["texture_marks_gap_m"], gap.gaps_m[len(gap.points_m) // 2], atol=1e-3)
    assert untold["texture_verdict"] == "cannot-tell"
    assert untold["texture_shift_m"] is None
    assert untold["missing"]["texture_shift_m"] == say_texture()(blind.texture.reason)
