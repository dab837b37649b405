"""Print whether a fitted lens is as far off as it says, and whether cameras are told apart.

    python -m tests.accuracy.lens_sigmas [--lenses 200] [--pictures 1 2 4 8 16] [--mixes 50]

Corners only, no pictures: lenses of 100 to 200 degrees drawn from what is believed of any lens
(`vision.calibration.curve_prior`), a board of 9 x 6 corners of 25 mm that is bent by 0 to 2 mm over
its half length in a direction of its own, its print stretched and askew by 0.1 % (sigma), bent
anew in every picture by 0.05 to 0.2 mm (sigma), as boards go; corners off by 0.03 to 0.08 px as
stated. Errors over their stated sigmas, RMS over the lenses: of focal length, centre, and of where
rays at 30, 60 and 80 degrees fall where the lens has them in its picture.

Then mixes: five pictures of one lens and five of another, and one of another among eight.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence

import numpy as np

from tests.board_scenes import BOARD, HEIGHT, WIDTH, random_pose
from vision.calibration.board import BoardView
from vision.calibration.lens_quality import LensReport, lens_report
from vision.calibration.settings import LENS as TUNED
from vision.camera.lens import Lens
from vision.camera.solver import NoFit
from vision.units.arrays import Array

FIELDS_DEG = (100.0, 200.0)
BEND_M, OWN_BEND_M, STRETCH = 0.002, (0.00005, 0.0002), 0.001
SIGMA_PX = (0.03, 0.08)
NEAR_M, FAR_M = 0.14, 0.30
ANGLES_DEG = (30, 60, 80)
NAMES = ("fx", "fy", "cx", "cy", *(f"{each} degrees" for each in ANGLES_DEG))
LEAST_RISE = 0.15
DEGREES = np.array([2, 4, 6, 8])


def drawn_lens(rng: np.random.Generator) -> tuple[Lens, float]:
    """A lens of the prior that keeps rising to the picture's edge, and the angle there."""
    edge = float(np.radians(0.5 * rng.uniform(*FIELDS_DEG)))
    while True:
        terms = rng.normal(0.0, TUNED.term_sigma)
        rises = [((DEGREES + 1) * share**DEGREES) @ terms for share in TUNED.slope_shares]
        if rng.uniform() > np.exp(-0.5 * np.square(np.array(rises) / TUNED.slope_sigma).sum()):
            continue
        focal = 0.5 * WIDTH / (edge * (1 + terms.sum()))
        centre = rng.normal(0, TUNED.centre_share * WIDTH, 2)
        lens = Lens(
            width=WIDTH,
            height=HEIGHT,
            fx=focal,
            fy=focal * np.exp(rng.normal(0, TUNED.aspect_sigma)),
            cx=0.5 * (WIDTH - 1) + centre[0],
            cy=0.5 * (HEIGHT - 1) + centre[1],
            k=terms / edge**DEGREES,
        )
        if (
            lens.monotone_limit_rad > edge
            and lens.d_radius_d_theta(np.linspace(0, edge, 50)).min() > LEAST_RISE
        ):
            return lens, edge


def drawn_board(rng: np.random.Generator) -> Array:
    """Corners (n, 3) of a bent board whose print is stretched and askew."""
    points = BOARD.points_m.copy()
    points[:, 0] += points[:, :2] @ rng.normal(0, STRETCH, 2)
    return bent(points, rng.uniform(-BEND_M, BEND_M), rng)


def bent(points: Array, by_m: float, rng: np.random.Generator) -> Array:
    """The points bent by so much over the board's half length, in some direction."""
    angle = rng.uniform(0, np.pi)
    half = 0.5 * np.ptp(BOARD.points_m[:, 0])
    along = (points[:, 0] * np.cos(angle) + points[:, 1] * np.sin(angle)) / half
    out = points.copy()
    out[:, 2] += by_m * along**2
    return out


def drawn_views(
    rng: np.random.Generator, lens: Lens, edge: float, board: Array, count: int, name: str
) -> list[BoardView]:
    """Views of all corners, each board wholly in the picture."""
    views: list[BoardView] = []
    own_m = rng.uniform(*OWN_BEND_M)
    while len(views) < count:
        pose = random_pose(rng, 0.9 * edge, rng.uniform(NEAR_M, FAR_M))
        shape = bent(board, rng.normal(0, own_m), rng)
        pixels = lens.project(pose.transform(shape))
        if not (np.isfinite(pixels).all() and lens.contains(pixels).all()):
            continue
        sigma = rng.uniform(*SIGMA_PX)
        views.append(
            BoardView(
                name=f"{name}{len(views)}",
                board_m=BOARD.points_m,
                pixels_px=pixels + rng.normal(0, sigma, pixels.shape),
                covariance_px2=np.tile(sigma**2 * np.eye(2), (len(pixels), 1, 1)),
            )
        )
    return views


def scores(report: LensReport, lens: Lens, edge: float) -> Array:
    """Errors over sigmas, in the order of NAMES; NaN where the lens has no such angle."""
    fit = report.fit
    off = fit.lens.as_vector() - lens.as_vector()
    out = list(off[:4] / fit.sigma[:4])
    for theta in np.radians(ANGLES_DEG):
        J = np.zeros(8)
        J[0] = fit.lens.radius(theta)
        J[4:] = fit.lens.fx * theta ** (DEGREES + 1)
        error = fit.lens.fx * fit.lens.radius(theta) - lens.fx * lens.radius(theta)
        out.append(float(error / np.sqrt(J @ fit.covariance @ J)) if theta <= edge else np.nan)
    return np.array(out)


def column(count: int, lenses: int) -> None:
    """Print one row of the table: so many pictures each."""
    found, refused, seconds = [], 0, 0.0
    for seed in range(lenses):
        rng = np.random.default_rng([count, seed])
        lens, edge = drawn_lens(rng)
        views = drawn_views(rng, lens, edge, drawn_board(rng), count, "v")
        start = time.process_time()
        report = lens_report(views, WIDTH, HEIGHT)
        seconds += time.process_time() - start
        if isinstance(report, NoFit):
            refused += 1
        else:
            focal = report.fit.sigma[0] / report.fit.lens.fx
            found.append([*scores(report, lens, edge), focal])
    table = np.array(found)
    rms = np.sqrt(np.nanmean(np.square(table[:, :-1]), axis=0))
    cells = " | ".join(f"{each:.2f}" for each in rms)
    known = 100 * np.median(table[:, -1])
    each = 1e3 * seconds / lenses
    print(f"| {count} | {cells} | {known:.2f} % | {refused} | {each:.0f} ms |", flush=True)


def mixes(count: int, first: int = 0) -> None:
    """Print how often two lenses, and one picture of another, are told."""
    two, one, rest = 0, 0, []
    for seed in range(first, first + count):
        rng = np.random.default_rng([777, seed])
        (lens, edge), (other, other_edge) = drawn_lens(rng), drawn_lens(rng)
        board = drawn_board(rng)
        first = drawn_views(rng, lens, edge, board, 8, "a")
        second = drawn_views(rng, other, other_edge, board, 5, "b")
        two += _parted(lens_report([*first[:5], *second], WIDTH, HEIGHT), (first[:5], second))
        report = lens_report([*first[:4], second[0], *first[4:]], WIDTH, HEIGHT)
        if isinstance(report, NoFit):
            print(f"  foreign {seed}: {report.reason.code}", flush=True)
            continue
        named = {each.name for each in report.tests if each.finding}
        if named == {second[0].name}:
            one += 1
            rest.append(scores(report, lens, edge))
        else:
            print(f"  foreign {seed}: named {sorted(named)}", flush=True)
    rms = np.sqrt(np.nanmean(np.square(rest), axis=0))
    print(f"two lenses told {two} of {count}; one foreign picture named {one} of {count},")
    print(
        "errors of the rest: " + ", ".join(f"{n} {r:.2f}" for n, r in zip(NAMES, rms, strict=True))
    )


def _parted(report: LensReport | NoFit, groups: Sequence[Sequence[BoardView]]) -> bool:
    wanted = {frozenset(view.name for view in group) for group in groups}
    if isinstance(report, NoFit) and report.code == "two-lenses":
        told = {frozenset(report.reason.arguments[each]) for each in ("first", "second")}  # type: ignore[call-overload]
        if told == wanted:
            return True
        print(f"  mix: {sorted(map(sorted, told))}", flush=True)
        return False
    what = report.reason.code if isinstance(report, NoFit) else "fitted"
    print(f"  mix: {what}", flush=True)
    return False


def main() -> None:
    """Print the table and the mixes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lenses", type=int, default=200)
    parser.add_argument("--pictures", type=int, nargs="*", default=[1, 2, 4, 8, 16])
    parser.add_argument("--mixes", type=int, default=50)
    parser.add_argument("--first", type=int, default=0, help="mix, to count them in pieces")
    given = parser.parse_args()
    print("| pictures | " + " | ".join(NAMES) + " | sigma of fx | refused | time |")
    print("| --- " * (len(NAMES) + 4) + "|")
    for count in given.pictures:
        column(count, given.lenses)
    if given.mixes:
        mixes(given.mixes, given.first)


if __name__ == "__main__":
    main()
