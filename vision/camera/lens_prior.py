"""What is known of a lens before its marks are seen, as whitened residuals on its parameters.

The curve is written against an ideal equidistant lens of the same field: r_px(theta) = f0 theta
m(s) with s = theta / theta_e, theta_e the angle at the picture's edge, and m(s) = a0 + a1 s^2 +
a2 s^4 + a3 s^6 + a4 s^8. The rows constrain m itself at the edge and at mid-field, and the a's,
which are each term's share at the edge. Independent sigmas on the bare k's would not do: 0.01 on
k4 is 50 % of the radius at 95 degrees and lets the curve turn over there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from vision.camera.lens import Lens
from vision.camera.pixel_shape import SQUARE
from vision.camera.settings import SETTINGS
from vision.camera.stated_lens import StatedLens, ThroughScreen
from vision.units.arrays import Array

USUAL_SIZE_PX = (1280, 720)
"""Of a picture that nobody took, where no fitted lens says another; common practice, no source."""


POWERS, TERMS = np.arange(0, 10, 2), np.arange(1, 5)
"""Of the angle, in m; and which of its terms have a k."""


def _curve_rows(edge: float, middle: float, terms: tuple[float, ...]) -> Array:
    """Whitened rows (6, 5) on a0 to a4: m(1), m(1/2) and the four terms."""
    rows = np.zeros((6, 5))
    rows[0] = 1 / edge
    rows[1] = 0.25 ** np.arange(5) / middle
    rows[[2, 3, 4, 5], [1, 2, 3, 4]] = 1 / np.array(terms)
    return rows


_FOCAL_ROW = np.array([[1 / SETTINGS.fitted_sigma, 0.0, 0.0, 0.0, 0.0]])
_FITTED_ROWS = _curve_rows(SETTINGS.fitted_sigma, SETTINGS.fitted_sigma, SETTINGS.fitted_term_sigma)
SAME_TYPE_ROWS = np.concatenate([_FITTED_ROWS, _FOCAL_ROW])
"""A fitted lens, or one lens against another of its type, (7, 5)."""


def centre_sigma_px(width: int) -> float:
    """Sigma of the optical centre of a lens that is only stated, in pictures of this width."""
    return SETTINGS.centre_sigma * width


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LensPrior:
    """A guess of the lens and how sure it is; see `lens_prior`.

    Either `whitening` (8, 8) is given, and the rows are whitening @ (vector - guess's vector), or
    the rows are `curve_rows` (m, 5) on the differences of a0 to a4, then the aspect (sigma
    `aspect_sigma` of its logarithm), then the centre (sigma `centre_sigma_px` across, and as much
    on the sensor down), with `edge_rad` the theta_e of the curve.
    `point_sigma_px` is what each place in the picture may be off beside the lens.
    """

    guess: Lens
    whitening: Array | None = None
    edge_rad: float = np.pi / 2
    curve_rows: Array | None = None
    centre_sigma_px: float
    aspect_sigma: float = SETTINGS.aspect_sigma
    fitted: bool = False
    point_sigma_px: float = 0.0

    @property
    def scale_sigma(self) -> float:
        """How well the size of the picture is known, as a share: at the edge, or on the axis."""
        if self.whitening is not None:
            covariance = np.linalg.inv(self.whitening.T @ self.whitening)
            return float(np.sqrt(covariance[0, 0])) / self.guess.fx
        if self.curve_rows is None:
            raise ValueError("a LensPrior needs whitening or curve_rows")
        return 1 / float(self.curve_rows[0, 0])

    def with_rows(self, scale: float, height: int) -> LensPrior:
        """The same prior in a picture of other rows; see `with_rows`."""
        whitening = self.whitening
        if whitening is not None:
            whitening = whitening / np.array([1, scale, 1, scale, 1, 1, 1, 1])
        return replace(self, guess=with_rows(self.guess, scale, height), whitening=whitening)

    def residuals(self, lens: Lens) -> tuple[Array, Array]:
        """Whitened residuals (m,) and their derivative by the eight lens parameters (m, 8)."""
        return self.rows(lens.as_vector())

    def rows(self, vector: Array) -> tuple[Array, Array]:
        """`residuals` of a lens given by its vector (8,)."""
        guess = self.guess.as_vector()
        if self.whitening is not None:
            return self.whitening @ (vector - guess), self.whitening
        if self.curve_rows is None:
            raise ValueError("a LensPrior needs whitening or curve_rows")
        return self._curve_residuals(self.curve_rows, vector, guess)

    def rows_against(self, vector: Array, shared: Array) -> tuple[Array, Array, Array]:
        """Whitened residuals (m,) of one lens against the type that it shares with others.

        With their derivatives by the lens and by the type (m, 8). A lens keeps the type's curve to
        what a fitted lens is known to; its centre is a matter of its own camera, and has the sigma
        that this prior gives it.
        """
        r, by_own = self._curve_residuals(SAME_TYPE_ROWS, vector, shared)
        _, by_shared = self._curve_residuals(SAME_TYPE_ROWS, shared, shared)
        r[-2:] = (vector[2:4] - self.guess.as_vector()[2:4]) / self._centre_sigmas_px
        by_shared[-2:] = 0.0
        return r, by_own, -by_shared

    def _curve_residuals(self, curve: Array, vector: Array, against: Array) -> tuple[Array, Array]:
        """Rows on the terms, the aspect and the centre of a lens against another."""
        terms, d_terms = self._terms(vector)
        other = self._scale(against) * self._shape(against)
        aspect = np.log(vector[0] / vector[1]) - np.log(against[0] / against[1])
        rows = np.zeros((3, 8))
        rows[0, 0] = 1 / vector[0] / self.aspect_sigma
        rows[0, 1] = -1 / vector[1] / self.aspect_sigma
        rows[1, 2], rows[2, 3] = 1 / self._centre_sigmas_px
        residuals = [
            curve @ (terms - other),
            np.array([aspect / self.aspect_sigma]),
            (vector[2:4] - against[2:4]) / self._centre_sigmas_px,
        ]
        return np.concatenate(residuals), np.concatenate([curve @ d_terms, rows])

    @property
    def _centre_sigmas_px(self) -> Array:
        """Sigma of the centre across and down, (2,): alike on the sensor, whatever its pixels."""
        return self.centre_sigma_px * np.array([1.0, self.guess.fy / self.guess.fx])

    def curve(self, lens: Lens, share: Array) -> Array:
        """m(s) of `lens` at `share` (...) of the edge angle: its radius over the ideal one."""
        terms, _ = self._terms(lens.as_vector())
        s2 = np.square(share)[..., None]
        values: Array = (s2 ** np.arange(5)) @ terms
        return values

    def _terms(self, vector: Array) -> tuple[Array, Array]:
        """a0 to a4 (5,) and their derivative by the lens parameters (5, 8)."""
        a0, shape = self._scale(vector), self._shape(vector)
        derivative = np.zeros((5, 8))
        derivative[:, 0] = 0.5 * a0 / vector[0] * shape
        derivative[:, 1] = 0.5 * a0 / vector[1] * shape
        derivative[TERMS, TERMS + 3] = a0 * self.edge_rad ** POWERS[1:]
        return a0 * shape, derivative

    def _scale(self, vector: Array) -> float:
        """a0: the focal length over the guess's."""
        return math.sqrt(float(vector[0] * vector[1]) / (self.guess.fx * self.guess.fy))

    def _shape(self, vector: Array) -> Array:
        """a0 to a4 (5,) over a0."""
        shape = np.asarray(self.edge_rad**POWERS, dtype=np.float64)
        shape[1:] *= vector[4:]
        return shape


def lens_prior(stated: StatedLens, width: int, height: int) -> LensPrior:
    """Make the prior that a stated lens gives for pictures of `width` x `height` pixels.

    A field of view only gives the equidistant lens of that field with a loose curve; a fitted lens
    gives itself, brought to the picture's size, with its covariance or, where its file states
    none, 0.5 % on focal length and curve and 2 px on the centre.
    """
    prior = _plain_prior(stated, width, height)
    return prior if stated.through is None else _through_screen(prior, stated.through)


def _through_screen(prior: LensPrior, through: ThroughScreen) -> LensPrior:
    """The prior of a picture that came by way of a screen: as sure as that leaves it."""
    guess = prior.guess
    whitening, curve_rows = prior.whitening, prior.curve_rows
    centre = np.array([1.0, guess.height / guess.width]) * through.centre_sigma * guess.width
    if whitening is not None:
        covariance = np.asarray(np.linalg.inv(whitening.T @ whitening), dtype=np.float64)
        focal = np.array([guess.fx, guess.fy])
        covariance[:2, :2] += np.outer(focal, focal) * through.scale_sigma**2
        covariance[0, 0] += (focal[0] * through.aspect_sigma) ** 2
        covariance[[2, 3], [2, 3]] += centre**2
        whitening = _whitening(covariance)
    elif curve_rows is not None:
        # The scale's own sigma is the first row's; the shape of the curve is the lens's alone.
        curve_rows = curve_rows.copy()
        sigmas = 1 / curve_rows[[0, 1], 0]
        curve_rows[[0, 1]] *= (sigmas / np.hypot(sigmas, through.scale_sigma))[:, None]
        if len(curve_rows) == len(SAME_TYPE_ROWS):
            sigma = 1 / curve_rows[-1, 0]
            curve_rows[-1] *= sigma / np.hypot(sigma, through.scale_sigma)
    return replace(
        prior,
        whitening=whitening,
        curve_rows=curve_rows,
        centre_sigma_px=math.hypot(prior.centre_sigma_px, centre[0]),
        aspect_sigma=math.hypot(prior.aspect_sigma, through.aspect_sigma),
        point_sigma_px=through.point_sigma_px,
    )


def _plain_prior(stated: StatedLens, width: int, height: int) -> LensPrior:
    """The prior of a picture as its camera gave it."""
    if stated.fitted is not None:
        return _from_fitted(stated.fitted, stated.covariance, width, height)
    if stated.field_of_view_rad is None:
        raise ValueError(f"lens {stated.name}: expected a field of view or a fitted lens")
    edge = 0.5 * stated.field_of_view_rad
    # The rays of a stated field run through the picture's outer edges, w / 2 from its centre.
    focal, pixels = 0.5 * width / edge, stated.pixels or SQUARE
    guess = Lens(
        width=width,
        height=height,
        fx=focal,
        fy=focal * pixels.aspect,
        cx=0.5 * (width - 1),
        cy=0.5 * (height - 1),
    )
    return LensPrior(
        guess=guess,
        edge_rad=edge,
        curve_rows=_curve_rows(SETTINGS.edge_sigma, SETTINGS.middle_sigma, SETTINGS.term_sigma),
        centre_sigma_px=centre_sigma_px(width),
        aspect_sigma=pixels.sigma,
    )


def resized(lens: Lens, width: int, height: int) -> Lens:
    """Give the same lens for pictures scaled to another size; whole numbers stay pixel centres."""
    if (width, height) == (lens.width, lens.height):
        return lens
    across, down = width / lens.width, height / lens.height
    return Lens(
        width=width,
        height=height,
        fx=lens.fx * across,
        fy=lens.fy * down,
        cx=(lens.cx + 0.5) * across - 0.5,
        cy=(lens.cy + 0.5) * down - 0.5,
        k=lens.k,
    )


def with_rows(lens: Lens, scale: float, height: int) -> Lens:
    """Give the lens in a picture of other rows, `height` of them: row v becomes `scale` v.

    With one half the picture of every second row from the first on; with two the whole one again.
    """
    return Lens(
        width=lens.width,
        height=height,
        fx=lens.fx,
        fy=lens.fy * scale,
        cx=lens.cx,
        cy=lens.cy * scale,
        k=lens.k,
    )


def stepped(lens: Lens, step: Array) -> Lens:
    """Give the lens moved by `step` (8,); a focal length is never more than halved at once.

    A wild trial step of a solver could otherwise ask for a lens that cannot exist.
    """
    vector = lens.as_vector() + step
    vector[:2] = np.maximum(vector[:2], 0.5 * np.array([lens.fx, lens.fy]))
    return lens.with_vector(vector)


def _from_fitted(fitted: Lens, covariance: Array | None, width: int, height: int) -> LensPrior:
    guess = resized(fitted, width, height)
    across, down = width / fitted.width, height / fitted.height
    edge = float(guess.theta(np.asarray(0.5 * width / guess.fx)))
    if not np.isfinite(edge):
        edge = guess.monotone_limit_rad
    whitening = None
    if covariance is not None:
        unit = np.array([across, down, across, down, 1, 1, 1, 1])
        whitening = _whitening(np.asarray(covariance, dtype=np.float64) * np.outer(unit, unit))
    return LensPrior(
        guess=guess,
        whitening=whitening,
        edge_rad=edge,
        curve_rows=SAME_TYPE_ROWS if whitening is None else None,
        centre_sigma_px=SETTINGS.fitted_centre_sigma_px * across,
        fitted=True,
    )


def _whitening(covariance: Array) -> Array:
    """W with W^T W the inverse of `covariance` (8, 8), whose diagonal is above 0."""
    sigma = np.sqrt(np.diag(covariance))
    if not (sigma > 0).all():
        raise ValueError(f"covariance: expected variances above 0, found {np.diag(covariance)}")
    values, vectors = np.linalg.eigh(covariance / np.outer(sigma, sigma))
    values = np.maximum(values, 0.0) + SETTINGS.covariance_floor
    whitening: Array = (vectors / np.sqrt(values)).T / sigma
    return whitening
