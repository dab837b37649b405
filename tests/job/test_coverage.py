"""What a mark and its tape look like under a blur.

Proves the derivatives by place and blur against central differences, that no blur makes or loses
ink, that a cross is the same seen from either side and the others after half a turn, and that a
hardly blurred mark is the drawing itself. Does not prove that the picture's blur is a Gaussian.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter
from scipy.special import ndtr

from vision.job.coverage import Blurred, Drawn, rough_normal_integral
from vision.job.kinds.board import Board, BoardCorner
from vision.job.kinds.cross import Cross
from vision.job.kinds.quadrant import Quadrant

CROSS = Cross(arm_along_m=0.12, arm_across_m=0.08, line_m=0.025)
QUADRANT = Quadrant(radius_m=0.06)
BOARD = Board(square_m=0.06, corners_along=4, corners_across=3)
CORNER = BoardCorner(square_m=0.06, ahead_left=False)
STEP = 1e-6


def at(s, q, blur_px=0.9, per_px=(0.006, 0.009), slant=0.0) -> Blurred:
    s, q = np.broadcast_arrays(np.atleast_1d(np.asarray(s, float)), np.asarray(q, float))
    return Blurred(
        s=s,
        q=q,
        m_per_px_s=np.full(s.shape, per_px[0]),
        m_per_px_q=np.full(s.shape, per_px[1]),
        skew=np.full(s.shape, slant * per_px[0] * per_px[1]),
        blur_px=blur_px,
    )


def check_derivatives(drawn, s, q, blur_px, slant=0.4) -> None:
    got: Drawn = drawn(at(s, q, blur_px, slant=slant))

    def change(ds=0.0, dq=0.0, db=0.0):
        ahead = drawn(at(s + ds, q + dq, blur_px + db, slant=slant)).value
        behind = drawn(at(s - ds, q - dq, blur_px - db, slant=slant)).value
        return (ahead - behind) / (2 * (ds + dq + db))

    np.testing.assert_allclose(got.d_s, change(ds=STEP), atol=2e-5)
    np.testing.assert_allclose(got.d_q, change(dq=STEP), atol=2e-5)
    np.testing.assert_allclose(got.d_blur, change(db=STEP), atol=1e-8)


@pytest.mark.parametrize("blur_px", [0.4, 0.9, 3.0])
def test_derivatives(blur_px: float, rng: np.random.Generator) -> None:
    s, q = rng.uniform(-0.16, 0.16, 400), rng.uniform(-0.12, 0.12, 400)
    check_derivatives(lambda where: CROSS.ink(where), s, q, blur_px)
    check_derivatives(lambda where: where.drawn(where.band("q", 0.09, 0.004)), s, q, blur_px)
    check_derivatives(lambda where: where.drawn(where.band("s", 0.12)), s, q, blur_px)

    def mixed(where: Blurred) -> Drawn:
        corner = where.corner(where.band("s", 0.1), where.band("q", 0.05))
        return (corner * where.drawn(where.band("q", 0.09)) + corner).times(-0.5)

    check_derivatives(mixed, s, q, blur_px)


@pytest.mark.parametrize("shape", [BOARD, CORNER])
def test_derivatives_of_squares(shape, rng: np.random.Generator) -> None:
    s, q = rng.uniform(-0.16, 0.16, 400), rng.uniform(-0.12, 0.12, 400)
    check_derivatives(lambda where: shape.ink(where), s, q, 0.9)


def test_derivatives_of_a_disc(rng: np.random.Generator) -> None:
    """Exact where the blur is as wide along the tape as across it."""

    def drawn(where: Blurred) -> Drawn:
        return at(where.s, where.q, where.blur_px, per_px=(0.007, 0.007)).disc(0.06)

    check_derivatives(drawn, rng.uniform(-0.1, 0.1, 400), rng.uniform(-0.1, 0.1, 400), 0.9)


def test_derivatives_of_a_quadrant(rng: np.random.Generator) -> None:
    """Within some hundredths: what the blur adds where disc and sectors meet is not followed."""
    s, q = rng.uniform(-0.1, 0.1, 400), rng.uniform(-0.1, 0.1, 400)
    got = QUADRANT.ink(at(s, q, 0.9))
    for name, ds, dq, db in (("d_s", STEP, 0, 0), ("d_q", 0, STEP, 0), ("d_blur", 0, 0, STEP)):
        ahead = QUADRANT.ink(at(s + ds, q + dq, 0.9 + db)).value
        change = (ahead - QUADRANT.ink(at(s - ds, q - dq, 0.9 - db)).value) / (2 * STEP)
        np.testing.assert_allclose(getattr(got, name), change, atol=0.12 * np.abs(change).max())


def test_hardly_blurred_sectors_and_squares() -> None:
    """The dark sectors are ahead-left and behind-right; a board's behind-right square is dark."""
    places = np.array([[0.02, 0.02], [-0.02, -0.02], [0.02, -0.02], [-0.02, 0.02], [0.05, 0.05]])
    ink = QUADRANT.ink(at(*places.T, blur_px=0.1)).value
    np.testing.assert_allclose(ink, [1, 1, 0, 0, 0], atol=1e-6)
    ink = CORNER.ink(at(*places.T, blur_px=0.1)).value
    np.testing.assert_allclose(ink, [0, 0, 1, 1, 0], atol=1e-6)
    # Five by four squares: the first, then along and across from it, and beyond the board.
    places = np.array([[-0.12, -0.09], [-0.06, -0.09], [-0.12, -0.03], [-0.06, -0.03], [-0.17, 0]])
    ink = BOARD.ink(at(*places.T, blur_px=0.1)).value
    np.testing.assert_allclose(ink, [1, 0, 0, 1, 0], atol=1e-6)


@pytest.mark.parametrize("blur_px", [0.4, 0.9, 3.0, 8.0])
def test_no_blur_makes_or_loses_ink(blur_px: float) -> None:
    """The area of two crossing lines, their common square counted once."""
    step = 0.002
    s, q = np.meshgrid(np.arange(-0.6, 0.6, step), np.arange(-0.6, 0.6, step))
    where = at(s.ravel(), q.ravel(), blur_px)
    total = CROSS.ink(where).value.sum() * step**2
    area = 0.025 * (2 * 0.12 + 2 * 0.08) - 0.025**2
    assert total == pytest.approx(area, rel=1e-6)


@given(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2), st.floats(0.35, 8.0))
def test_alike_from_either_side(s: float, q: float, blur_px: float) -> None:
    here = CROSS.ink(at(s, q, blur_px))
    for turned_s, turned_q in ((-s, q), (s, -q), (-s, -q)):
        there = CROSS.ink(at(turned_s, turned_q, blur_px))
        np.testing.assert_allclose(there.value, here.value, atol=1e-12)
    assert -1e-12 <= here.value[0] <= 1 + 1e-12
    for shape in (QUADRANT, CORNER):
        one, other = (shape.ink(at(k * s, k * q, blur_px)).value for k in (1, -1))
        np.testing.assert_allclose(one, other, atol=1e-12)


def test_the_rough_normal_integral() -> None:
    """Against scipy's, as far as its docstring says; in 24 bits too."""
    x = np.linspace(-9, 9, 20_001)
    for kind in (np.float64, np.float32):
        rough = rough_normal_integral(x.astype(kind))
        assert rough.dtype == kind
        np.testing.assert_allclose(rough, ndtr(x), atol=2e-4)


@pytest.mark.parametrize("shape", [CROSS, QUADRANT, CORNER, BOARD])
def test_24_bits_do(shape, rng: np.random.Generator) -> None:  # type: ignore[no-untyped-def]
    """A millionth of the contrast, where a picture's noise is a hundredth."""
    s, q = rng.uniform(-0.16, 0.16, 2000), rng.uniform(-0.12, 0.12, 2000)
    exact = at(s, q, slant=0.4)
    names = ("s", "q", "m_per_px_s", "m_per_px_q", "skew")
    light = replace(exact, **{name: getattr(exact, name).astype(np.float32) for name in names})
    got, wanted = shape.ink(light), shape.ink(exact)
    for name, unit in (("value", 1.0), ("d_s", 0.006), ("d_q", 0.009), ("d_blur", 1.0)):
        values = getattr(got, name)
        assert values.dtype == np.float32
        # Places in 24 bits are off by millionths of a pixel.
        np.testing.assert_allclose(values * unit, getattr(wanted, name) * unit, atol=2e-5)


def test_hardly_blurred_it_is_the_drawing() -> None:
    places = np.array([[0, 0], [0.11, 0], [0, -0.07], [0.13, 0], [0, 0.09], [0.03, 0.03]])
    ink = CROSS.ink(at(*places.T, blur_px=0.1)).value
    np.testing.assert_allclose(ink, [1, 1, 1, 0, 0, 0], atol=1e-6)
    band = at(0.0, np.array([0.0, 0.08, -0.1]), blur_px=0.1).band("q", 0.09, -0.02).d[0]
    np.testing.assert_allclose(band, [1, 0, 1], atol=1e-6)


@pytest.mark.parametrize("shape", [CROSS, CORNER, BOARD])
@pytest.mark.parametrize(("slant", "within"), [(0.0, 0.01), (0.4, 0.012), (-0.65, 0.02)])
def test_a_slanted_blur_is_that_of_the_picture(shape, slant: float, within: float) -> None:
    """Against the sharp drawing blurred in picture pixels by scipy's Gaussian filter."""
    fine = 20  # samples per pixel each way
    v, u = (np.indices((36 * fine, 36 * fine)) + 0.5) / fine - 18
    # Rows are the gradients of s and q: of the lengths and the scalar product of `at`.
    lengths = np.array([0.006, 0.009])
    gradients = lengths[:, None] * [[1.0, 0.0], [slant, np.sqrt(1 - slant**2)]]
    s, q = (gradient[0] * u + gradient[1] * v for gradient in gradients)
    sharp = shape.ink(at(s.ravel(), q.ravel(), blur_px=1e-3)).value.reshape(s.shape)
    inner = (slice(4 * fine, -4 * fine, fine),) * 2
    truth = gaussian_filter(sharp, 0.9 * fine)[inner]
    drawn = shape.ink(at(s[inner].ravel(), q[inner].ravel(), slant=slant)).value
    # Mehler's series ends after two terms, and samples stand for areas.
    np.testing.assert_allclose(drawn, truth.ravel(), atol=within)


def test_half_of_the_light_at_an_edge() -> None:
    assert at(0.1, 0.0).band("s", 0.1).d[0, 0] == pytest.approx(0.5, abs=1e-9)


def test_extent() -> None:
    assert CROSS.half_extent_m == (0.12, 0.08)
    assert QUADRANT.half_extent_m == (0.06, 0.06)
    np.testing.assert_allclose(BOARD.half_extent_m, (0.15, 0.12))


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(3)
