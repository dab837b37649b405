"""Sharpness measured on pictures drawn here, and on a scene from the tests' own renderer.

Proves: blur, its map, motion with its direction, noise and light come out as they were drawn, each
within its sigma; the edge model's derivatives; a mark behind a drop is found soft, and none
without. Does not prove it on photographs. The pictures are polygons with exact anti-aliasing by
supersampling; their blur is OpenCV's.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.accuracy.sharpness import degraded, moved, softening
from tests.paths import FRAMES
from tests.scenes import Eye, Light, Tape, draw
from vision.camera.lens_prior import lens_prior
from vision.files.disk import read_inspection_input
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.inspection.verdict.pictures import judge_picture
from vision.job.job import Tolerances
from vision.job.layout import Layout, planned_layout
from vision.marks.edge_fit import edge_basis
from vision.marks.picture import Picture, Rows
from vision.views.sharpness.blur_map import fit_blur_map
from vision.views.sharpness.edges import measure_edges
from vision.views.sharpness.light import measure_light, noise_of
from vision.views.sharpness.measurement import measure_sharpness

WIDTH, HEIGHT, FINE = 960, 540, 4
PIXEL_BLUR_PX = np.sqrt(1 / 12)
"""What the pixel's own square adds to a blur."""


def tiles(seed: int = 3, contrast: float = 1.0) -> np.ndarray:
    """A grey picture (540, 960) full of straight edges in every direction, no blur but pixels'."""
    rng = np.random.default_rng(seed)
    fine = np.full((HEIGHT * FINE, WIDTH * FINE), 90, dtype=np.uint8)
    for v in range(40, HEIGHT, 80):
        for u in range(40, WIDTH, 80):
            size, turn = rng.uniform(40, 56), rng.uniform(0, 180)
            corners = cv2.boxPoints(((u * FINE, v * FINE), (size * FINE, size * FINE), turn))
            cv2.fillPoly(fine, [np.int32(corners)], float(rng.choice([30, 160, 200])))
    grey = fine.reshape(HEIGHT, FINE, WIDTH, FINE).mean(axis=(1, 3))
    return np.asarray(contrast * grey)


def noisy(grey: np.ndarray, sigma: float = 1.5, seed: int = 5) -> np.ndarray:
    noise = np.random.default_rng(seed).normal(0, sigma, grey.shape)
    return np.clip(np.round(grey + noise), 0, 255).astype(np.float32)


def blurred(grey: np.ndarray, sigma_px: float) -> np.ndarray:
    return cv2.GaussianBlur(grey, (0, 0), sigma_px)


def test_edge_model_derivatives_match_central_differences() -> None:
    rng = np.random.default_rng(1)
    across, along = rng.uniform(-5, 5, (2, 4, 30))
    state = np.stack([rng.uniform(-1, 1, 4), rng.uniform(-0.2, 0.2, 4), [0.4, 0.9, 2, 5]], axis=1)
    _, slopes = edge_basis(across, along, state)
    for parameter in range(3):
        step = np.zeros(3)
        step[parameter] = 1e-6
        up, down = (edge_basis(across, along, state + sign * step)[0] for sign in (1, -1))
        np.testing.assert_allclose(slopes[:, parameter], (up - down) / 2e-6, atol=1e-8)


@pytest.mark.parametrize("sigma_px", [0.6, 1.2, 2.0, 3.5])
def test_an_even_blur_comes_out(sigma_px: float) -> None:
    edges = measure_edges(noisy(blurred(tiles(), sigma_px)))
    fitted = fit_blur_map(edges, WIDTH, HEIGHT)
    assert fitted is not None
    found = fitted.blur(edges.pixels_px)
    assert found.blur_px == pytest.approx(
        np.hypot(sigma_px, PIXEL_BLUR_PX), abs=0.08 * sigma_px + 3 * found.sigma_px
    )
    assert found.sigma_px < 0.1 * sigma_px
    assert fitted.motion.length_px - 3 * fitted.motion.sigma_px < 2.5


def test_a_very_soft_picture_is_measured_at_half_its_size() -> None:
    grey = cv2.resize(tiles(), (WIDTH * 2, HEIGHT * 2), interpolation=cv2.INTER_CUBIC)
    edges = measure_edges(noisy(blurred(grey, 8.0)))
    fitted = fit_blur_map(edges, WIDTH * 2, HEIGHT * 2)
    assert fitted is not None
    assert fitted.blur(edges.pixels_px).blur_px == pytest.approx(8.0, rel=0.15)


@pytest.mark.parametrize(("length_px", "degrees"), [(6.0, 30.0), (9.0, -70.0), (12.0, 90.0)])
def test_motion_comes_out_with_its_direction(length_px: float, degrees: float) -> None:
    edges = measure_edges(noisy(moved(blurred(tiles(), 0.6), length_px, degrees)))
    fitted = fit_blur_map(edges, WIDTH, HEIGHT)
    assert fitted is not None
    motion = fitted.motion
    assert motion.length_px == pytest.approx(length_px, abs=3 * motion.sigma_px)
    away = (np.degrees(motion.direction_rad) - degrees + 90) % 180 - 90
    assert abs(away) < 2 + 3 * np.degrees(motion.direction_sigma_rad)
    assert fitted.blur(edges.pixels_px, -1.0).blur_px < 1.2


def test_a_blur_that_grows_to_one_side_is_mapped() -> None:
    colours = np.repeat(tiles()[..., None], 3, axis=2)
    edges = measure_edges(noisy(softening(colours, 3.0)[..., 0]))
    fitted = fit_blur_map(edges, WIDTH, HEIGHT)
    assert fitted is not None
    for share in (0.2, 0.5, 0.85):
        place = np.array([[share * WIDTH, HEIGHT / 2]])
        found = fitted.blur(place)
        assert found.blur_px == pytest.approx(3.0 * share, abs=0.25 + 3 * found.sigma_px)


@pytest.mark.parametrize("sigma", [1.0, 4.0, 10.0])
def test_noise_is_measured_between_the_edges(sigma: float) -> None:
    assert noise_of(noisy(blurred(tiles(), 0.8), sigma)) == pytest.approx(sigma, rel=0.08)


def test_little_light_shows_in_signal_to_noise_and_is_still_measured() -> None:
    dark = noisy(blurred(tiles(contrast=0.25), 0.8), 8.0)
    assert measure_light(dark).signal_to_noise < 8
    edges = measure_edges(dark)
    fitted = fit_blur_map(edges, WIDTH, HEIGHT)
    assert fitted is None or fitted.blur(edges.pixels_px).blur_px < 1.6


def test_an_even_picture_has_no_edges_and_no_map() -> None:
    even = noisy(np.full((HEIGHT, WIDTH), 120.0))
    edges = measure_edges(even)
    assert len(edges) < 10
    assert fit_blur_map(edges, WIDTH, HEIGHT) is None


def test_a_mirrored_picture_is_told_as_delivered() -> None:
    colours = np.repeat(moved(blurred(tiles(), 0.6), 9.0, 30.0)[..., None], 3, axis=2)
    bgr = np.clip(np.round(colours), 0, 255).astype(np.uint8)
    for mirrored in (False, True):
        picture = Picture.from_delivered(
            name="rear", file="rear.jpg", sha256="0", mirrored=mirrored, bgr=bgr
        )
        sharp = measure_sharpness(picture, Layout(marks=()))
        assert sharp.motion is not None
        assert np.degrees(sharp.motion.direction_rad) == pytest.approx(30, abs=4)
        assert sharp.patches is None


def yard() -> np.ndarray:
    """Tape with crosses, ground and one hard shadow, from the tests' own renderer; no noise."""
    eye = Eye(place_m=(0.0, 1.25, 2.45), aim_deg=(90.0, 45.0, 2.0))
    at = tuple(np.arange(0, 9.7, 0.6))
    tapes = (
        Tape(start_m=(-4.8, 1.9), heading_deg=0.0, at_m=at),
        Tape(start_m=(-3.5, 1.4), heading_deg=90.0, at_m=(0.0, 0.6, 1.2)),
        Tape(start_m=(3.5, 1.4), heading_deg=90.0, at_m=(0.0, 0.6, 1.2)),
    )
    light = Light(blur_px=0.6, noise=0.0, shadow=(0.4, 1.0, 0.5))
    return draw(eye, tapes, np.random.default_rng(0), light).astype(np.float64)


@pytest.mark.parametrize("rows", ["all", "even"])
def test_a_sharp_picture_of_wide_pixels_is_not_in_motion(rows: Rows) -> None:
    """Columns are pressed together by 1.5: rows then look half as blurred again as columns."""
    drawn = cv2.resize(blurred(tiles(), 1.8), (640, 540), interpolation=cv2.INTER_AREA)
    bgr = np.repeat(noisy(drawn).astype(np.uint8)[..., None], 3, axis=2)
    picture = Picture(name="a", file="a.png", sha256="0" * 64, mirrored=False, bgr=bgr, rows=rows)
    sharp = measure_sharpness(picture, Layout(marks=()), pixel_aspect=1.5)
    assert sharp.most is not None
    assert sharp.least is not None
    assert sharp.most.blur_px / sharp.least.blur_px < 1.2
    assert sharp.most.blur_px == pytest.approx(1.8 / 1.5, rel=0.15)
    plain = measure_sharpness(picture, Layout(marks=()))
    assert plain.most is not None
    assert plain.least is not None
    assert plain.most.blur_px / plain.least.blur_px > 1.3


def test_a_yard_is_told_sharp_soft_and_moved() -> None:
    clear = yard()
    changes = {
        (): clear,
        ("soft",): blurred(clear, 3.5),
        ("motion",): moved(clear, 9.0, 40.0),
        ("soft-side",): softening(np.repeat(clear[..., None], 3, axis=2), 3.4)[..., 0],
    }
    for expected, grey in changes.items():
        bgr = np.repeat(noisy(grey)[..., None], 3, axis=2).astype(np.uint8)
        picture = Picture.from_delivered(
            name="left", file="left.jpg", sha256="0", mirrored=False, bgr=bgr
        )
        sharp = measure_sharpness(picture, Layout(marks=()))
        verdict = judge_picture("left", sharp, Tolerances(), identified=False)
        assert verdict.faults == expected, verdict.answers


def test_half_a_mark_beside_the_body_is_no_drop() -> None:
    """Half hidden by the body's edge a mark is drawn soft, and badly: nothing is on the glass."""
    job, pictures = read_inspection_input(FRAMES / "after_rain" / "job.toml")
    layout, camera = planned_layout(job), job.cameras[0]
    rng = np.random.default_rng(1)
    picture = degraded(pictures[0], lambda p: cv2.GaussianBlur(p, (0, 0), 1.0), 1.0, rng)
    prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
    seen = identify(job, layout, camera, prior, picture.grey)
    assert isinstance(seen, Identified)
    sharpness = measure_sharpness(picture, layout, seen)
    assert sharpness.patches == ()
