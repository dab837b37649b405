"""The wide-angle lens, on the axis, beyond 90 degrees and at its limit.

Proves the projection against OpenCV's `fisheye` module below 90 degrees (a general library as
judge), against a table of its closed form in 50 digits to 105 degrees, and against published
lenses; the derivatives against central differences from the axis to the edge of the field; the way
back by round trips; and that beyond a lens's limit the answer is NaN. Does not prove that a real
lens is of this kind.
"""

from __future__ import annotations

import json
from fractions import Fraction

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.data import kannala_brandt_table
from tests.paths import DATA
from vision.camera.lens import PARAMETERS, Lens
from vision.units.arrays import Array

TABLE = DATA / "kannala_brandt_table.json"
PUBLISHED = json.loads((DATA / "published_lenses.json").read_text())


def opencv_test_lens() -> Lens:
    """Parameters of the fisheye test in OpenCV's own calib3d test data."""
    fx, fy, cx, cy = PUBLISHED["opencv_fisheye"]["K"]
    k = np.array(PUBLISHED["opencv_fisheye"]["D"])
    return Lens(width=1280, height=800, fx=fx, fy=fy, cx=cx, cy=cy, k=k)


def tumvi_lens() -> Lens:
    """The Kannala-Brandt calibration of the first camera published with the TUM-VI data set."""
    published = PUBLISHED["tumvi_kb"]
    (fx, fy), (cx, cy) = published["f"], published["c"]
    return Lens(width=512, height=512, fx=fx, fy=fy, cx=cx, cy=cy, k=np.array(published["k"]))


def wide_lens() -> Lens:
    """A lens like those of the practice pictures, with every term at work."""
    k = np.array([-0.04, 0.0056, -0.001, 0.0001])
    return Lens(width=1280, height=720, fx=427.0, fy=425.5, cx=644.5, cy=363.5, k=k)


LENSES = pytest.mark.parametrize("lens", [opencv_test_lens(), tumvi_lens(), wide_lens()])


def rays(theta_rad: Array, phi_rad: Array) -> Array:
    """Unit directions (..., 3) at angles from the axis and round it."""
    sin = np.sin(theta_rad)
    return np.stack([sin * np.cos(phi_rad), sin * np.sin(phi_rad), np.cos(theta_rad)], axis=-1)


@LENSES
def test_projection_as_opencv_below_90_degrees(lens: Lens, rng: np.random.Generator) -> None:
    theta, phi = rng.uniform(1e-4, np.radians(89), 500), rng.uniform(-np.pi, np.pi, 500)
    points = rays(theta, phi) * rng.uniform(0.5, 8.0, (500, 1))
    K = np.array([[lens.fx, 0, lens.cx], [0, lens.fy, lens.cy], [0, 0, 1]])
    judged, _ = cv2.fisheye.projectPoints(
        points[None], np.zeros((3, 1)), np.zeros((3, 1)), K, np.array(lens.k).reshape(4, 1)
    )
    np.testing.assert_allclose(lens.project(points), judged.reshape(-1, 2), atol=1e-7)


def test_projection_as_in_high_precision() -> None:
    """To 105 degrees, by a script that shares nothing with the lens but the formula."""
    table = json.loads(TABLE.read_text("utf-8"))
    lens = Lens(
        **{name: table[name] for name in ("width", "height", "fx", "fy", "cx", "cy")},
        k=np.array(table["k"]),
    )
    points, pixels = (np.array(each) for each in zip(*table["point_camera_m__pixel"], strict=True))
    theta = np.degrees(np.arctan2(np.hypot(*points.T[:2]), points[:, 2]))
    assert theta.max() > 104.9
    np.testing.assert_allclose(lens.project(points), pixels, rtol=0, atol=1e-11)
    unit = points / np.linalg.norm(points, axis=1)[:, None]
    np.testing.assert_allclose(lens.unproject(pixels), unit, atol=1e-12)


def test_the_table_is_what_its_script_makes() -> None:
    assert json.loads(TABLE.read_text("utf-8")) == kannala_brandt_table.table()


def test_published_opencv_lens() -> None:
    """Parameters from OpenCV's fisheye tests; pixels and radii printed to the digits compared."""
    published, lens = PUBLISHED["opencv_fisheye"], opencv_test_lens()
    for point, pixel in published["proj"]:
        np.testing.assert_allclose(lens.project(np.array(point)), pixel, atol=6e-7)
    radii = lens.radius(np.radians([30.0, 60.0, 90.0]))
    np.testing.assert_allclose(radii, published["theta_d_30_60_90"], atol=6e-11)
    # Its polynomial turns over at 93.28 degrees: a lens that sees farther may not use it there. The
    # file's figure is some thousandths low: in exact fractions the radius still rises there.
    limit = np.degrees(lens.monotone_limit_rad)
    assert limit == pytest.approx(published["monotone_limit_deg"], abs=0.002)
    assert round(float(limit), 2) == 93.28
    slope = [
        slope_in_fractions(published["D"], degrees) for degrees in (limit - 1e-9, limit + 1e-9)
    ]
    assert slope[0] > 0 > slope[1]


def slope_in_fractions(k: list[float], theta_deg: float) -> float:
    """dr/dtheta without any rounding but that of the angle itself."""
    theta = Fraction(np.radians(theta_deg).item())
    terms = ((2 * i + 3) * Fraction(each) * theta ** (2 * i + 2) for i, each in enumerate(k))
    return float(1 + sum(terms))


def test_published_tumvi_lens() -> None:
    """Parameters published with the TUM-VI data set, camera 0, to 95 degrees."""
    published, lens = PUBLISHED["tumvi_kb"], tumvi_lens()
    pixel = lens.project(np.array([1.0, 2.0, 3.0]))
    np.testing.assert_allclose(pixel, published["proj_1_2_3"], atol=6e-7)
    for degrees, radius in published["theta_d"].items():
        assert lens.radius(np.radians(float(degrees))) == pytest.approx(radius, abs=6e-10)
    assert np.degrees(lens.monotone_limit_rad) > 95


def test_an_ideal_lens_in_closed_form() -> None:
    """Equidistant: the distance from the centre is f theta, at 90 degrees and beyond too."""
    lens = Lens(width=1280, height=720, fx=400.0, fy=300.0, cx=640.0, cy=360.0)
    points = np.array([[0, 0, 2.0], [3.0, 0, 0], [0, -1.0, 0], [1.0, 0, -1.0]])
    want = [
        [640, 360],
        [640 + 200 * np.pi, 360],
        [640, 360 - 150 * np.pi],
        [640 + 300 * np.pi, 360],
    ]
    np.testing.assert_allclose(lens.project(points), want, atol=1e-10)
    assert lens.monotone_limit_rad == np.pi
    assert np.isnan(lens.project(np.array([[0.0, 0.0, -1.0], [0.0, 0.0, 0.0]]))).all()


def central_differences(lens: Lens, point: Array) -> tuple[Array, Array]:
    by_point, by_lens = np.empty((2, 3)), np.empty((2, 8))
    for axis, step in enumerate(np.eye(3) * 1e-6 * np.linalg.norm(point)):
        change = lens.project(point + step) - lens.project(point - step)
        by_point[:, axis] = change / (2 * step[axis])
    vector = lens.as_vector()
    for index in range(len(PARAMETERS)):
        step = np.zeros(8)
        step[index] = 1e-5 if index < 4 else 1e-7
        ahead, behind = (lens.with_vector(vector + s).project(point) for s in (step, -step))
        by_lens[:, index] = (ahead - behind) / (2 * step[index])
    return by_point, by_lens


@LENSES
@pytest.mark.parametrize("theta_deg", [0.0, 1e-6, 1e-3, 0.5, 30.0, 60.0, 89.999, 90.0, 92.0, 93.2])
def test_derivatives(lens: Lens, theta_deg: float) -> None:
    """From the axis to the edge; 93.2 degrees is 0.08 before the limit of one of the lenses."""
    for phi in (0.0, 0.7, -2.5):
        point = 2.7 * rays(np.radians(theta_deg), np.array(phi))
        pixel, by_point, by_lens = lens.project_with_derivatives(point)
        np.testing.assert_allclose(pixel, lens.project(point), rtol=0, atol=1e-11)
        want_point, want_lens = central_differences(lens, point)
        np.testing.assert_allclose(by_point, want_point, atol=3e-6 * lens.fx)
        np.testing.assert_allclose(by_lens, want_lens, atol=3e-6 * lens.fx)
        # Length does not matter, so nothing changes along the ray.
        np.testing.assert_allclose(by_point @ point, 0, atol=1e-10 * lens.fx)


@LENSES
@given(share=st.floats(0.0, 0.9999), phi=st.floats(-np.pi, np.pi), length_m=st.floats(0.01, 1000.0))
def test_from_ray_to_pixel_and_back(lens: Lens, share: float, phi: float, length_m: float) -> None:
    """Towards the limit the radius hardly changes with the angle, and less of it comes back."""
    theta = share * min(lens.monotone_limit_rad, np.radians(110.0))
    direction = rays(np.array(theta), np.array(phi))
    back = lens.unproject(lens.project(length_m * direction))
    slope = float(lens.d_radius_d_theta(np.array(theta)))
    np.testing.assert_allclose(back, direction, atol=1e-12 + 1e-14 / slope)


@LENSES
@given(u=st.floats(-0.5, 1.0), v=st.floats(-0.5, 1.0))
def test_from_pixel_to_ray_and_back(lens: Lens, u: float, v: float) -> None:
    pixel = np.array([u * (lens.width - 0.5), v * (lens.height - 0.5)])
    direction = lens.unproject(pixel)
    if np.isnan(direction).any():
        r = np.hypot((pixel[0] - lens.cx) / lens.fx, (pixel[1] - lens.cy) / lens.fy)
        assert r > lens.radius(np.array(lens.monotone_limit_rad))
        return
    assert np.linalg.norm(direction) == pytest.approx(1.0, abs=1e-12)
    np.testing.assert_allclose(lens.project(direction), pixel, atol=1e-9)


def test_beyond_the_limit_there_is_no_answer() -> None:
    lens = opencv_test_lens()
    limit = lens.monotone_limit_rad
    before, after = rays(np.array([limit - 1e-6, limit + 1e-6]), np.array([0.3, 0.3]))
    assert np.isfinite(lens.project(before)).all()
    assert np.isnan(lens.project(after)).all()
    pixel, by_point, by_lens = lens.project_with_derivatives(after)
    assert np.isnan(pixel).all()
    assert np.isnan(by_point).all()
    assert np.isnan(by_lens[0, [0, 2, 4]]).all()
    rim = lens.fx * lens.radius(np.array(limit))
    assert np.isnan(lens.unproject(np.array([lens.cx + rim + 0.01, lens.cy]))).all()
    assert np.isfinite(lens.unproject(np.array([lens.cx + rim - 0.01, lens.cy]))).all()
    assert np.isnan(lens.theta(np.array([-0.1, 9.0]))).all()


def test_the_limit_is_where_the_radius_stops_rising(rng: np.random.Generator) -> None:
    """Against a fine table of the radius, for polynomials of every shape."""
    theta = np.linspace(0, np.pi, 40001)
    for k in rng.normal(0, [0.1, 0.05, 0.02, 0.01], (100, 4)):
        lens = Lens(width=1280, height=720, fx=427.0, fy=427.0, cx=640.0, cy=360.0, k=k)
        falls = np.flatnonzero(np.diff(lens.radius(theta)) <= 0)
        want = theta[falls[0]] if falls.size else np.pi
        assert lens.monotone_limit_rad == pytest.approx(want, abs=2e-4)


@pytest.mark.parametrize("shape", [(), (0,), (7,), (2, 3), (2, 1, 4)])
def test_arrays_of_any_leading_shape(shape: tuple[int, ...], rng: np.random.Generator) -> None:
    lens = wide_lens()
    points = rays(rng.uniform(0, 1.6, shape), rng.uniform(-3, 3, shape))
    pixels, by_point, by_lens = lens.project_with_derivatives(points)
    assert lens.project(points).shape == pixels.shape == (*shape, 2)
    assert by_point.shape == (*shape, 2, 3)
    assert by_lens.shape == (*shape, 2, 8)
    assert lens.unproject(pixels).shape == (*shape, 3)
    assert lens.contains(pixels).shape == shape
    np.testing.assert_allclose(lens.unproject(pixels), points, atol=1e-11)


def test_contains_out_to_the_edge_of_the_edge_pixels() -> None:
    pixels = [[-0.5, -0.5], [1279.5, 719.5], [-0.51, 3], [3, -0.51], [1279.51, 3], [3, 719.51]]
    assert wide_lens().contains(np.array(pixels)).tolist() == [True, True, *[False] * 4]
    assert not wide_lens().contains(np.array([np.nan, 3.0]))


def test_vector_and_faults() -> None:
    lens = wide_lens()
    assert lens.with_vector(lens.as_vector()).as_vector().tolist() == lens.as_vector().tolist()
    assert len(lens.as_vector()) == len(PARAMETERS)
    good = {"width": 1280, "height": 720, "fx": 427.0, "fy": 427.0, "cx": 640.0, "cy": 360.0}
    for change, message in (
        ({"fx": 0.0}, "fx, fy: expected above 0"),
        ({"width": 0}, "width, height: expected above 0"),
        ({"cx": np.nan}, "expected finite numbers"),
        ({"k": np.zeros(3)}, r"k: expected shape \(4,\), found \(3,\)"),
    ):
        with pytest.raises(ValueError, match=message):
            Lens(**{**good, **change})


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20)
