"""Learn what is believed of a board's bends and print from boards that are drawn.

    python -m tests.accuracy.board_priors [--boards 20000]

Boards as `tests.accuracy.lens_sigmas` draws them: bent by 0 to 2 mm over a half length of 0.1 m in
a direction of its own, bent by 0.05 to 0.2 mm (sigma) anew in each picture, the print stretched and
askew by 0.1 % (sigma); these sizes are common practice, no source. Of each board its bends are
taken, in the network's own modes. They go into it as normal with one variance, which itself has a
scaled inverse chi-square prior; over boards they are then Student's t, and its scale and degrees of
freedom are what the settings hold (maximum likelihood). What a board bends anew shares its variance
over the pictures of one set, eight here. Of a stretch, whose variance no single board tells, it is
the root mean square.
"""

from __future__ import annotations

import argparse

import numpy as np
from scipy.optimize import minimize
from scipy.special import gammaln

from tests.accuracy.lens_sigmas import OWN_BEND_M, bent, drawn_board
from tests.board_scenes import BOARD
from vision.calibration.padded import BENDS, modes
from vision.calibration.settings import LENS as TUNED
from vision.units.arrays import Array

FEWEST_FREEDOM, MOST_FREEDOM = 0.5, 200.0
TOGETHER = 8


def shapes_of(boards: list[Array]) -> Array:
    """What each board (n, 3) moved its corners by, in the network's modes (boards, SHARED).

    What a turn or a move of the whole board explains is left to them.
    """
    flat = BOARD.points_m
    unit = modes(flat[None])[0]
    columns = [unit[..., each].ravel() for each in range(unit.shape[-1])]
    for axis in np.eye(3):
        columns.append(np.tile(axis, (len(flat), 1)).ravel())
        columns.append(np.cross(axis, flat).ravel())
    off = np.stack([(board - flat).ravel() for board in boards], axis=1)
    return np.linalg.lstsq(np.stack(columns, axis=1), off, rcond=None)[0][: unit.shape[-1]].T


def learned(bends: Array) -> tuple[float, float]:
    """Scale and degrees of freedom of Student's t of bends (sets, n) about zero."""
    square, n = np.square(bends).sum(axis=1), bends.shape[1]

    def unlikely(x: Array) -> float:
        scale2, say = np.exp(2 * x[0]), np.exp(x[1])
        one = (
            gammaln((say + n) / 2)
            - gammaln(say / 2)
            - 0.5 * n * np.log(say * np.pi * scale2)
            - 0.5 * (say + n) * np.log1p(square / (say * scale2))
        )
        return -float(one.mean())

    start = np.array([0.5 * np.log(square.mean() / n), np.log(5.0)])
    bounds = [(None, None), (np.log(FEWEST_FREEDOM), np.log(MOST_FREEDOM))]
    found = minimize(unlikely, start, bounds=bounds, method="L-BFGS-B").x
    return float(np.exp(found[0])), float(np.exp(found[1]))


def main() -> None:
    """Print what was learned beside what the settings hold."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boards", type=int, default=20000)
    count = parser.parse_args().boards
    rng = np.random.default_rng(11)
    good = shapes_of([drawn_board(rng) for _ in range(count)])
    flat = BOARD.points_m
    sizes = np.repeat(rng.uniform(*OWN_BEND_M, count // TOGETHER), TOGETHER)
    own = shapes_of([bent(flat, rng.normal(0, size), rng) for size in sizes])
    print("| of the half length | learned | stated |")
    print("| --- | --- | --- |")
    for name, bends, stated in (
        ("bend", good[:, :BENDS], (TUNED.bend, TUNED.bend_say)),
        (
            "own_bend",
            own[:, :BENDS].reshape(-1, TOGETHER * BENDS),
            (TUNED.own_bend, TUNED.own_bend_say),
        ),
    ):
        scale, say = learned(bends)
        print(f"| {name}, sigma | {scale:.5f} | {stated[0]:.5f} |")
        print(f"| {name}, worth | {say:.1f} bends | {stated[1]:.1f} bends |")
    stretch = np.sqrt(np.square(good[:, BENDS:]).mean())
    print(f"| stretch, sigma | {stretch:.5f} | {TUNED.stretch:.5f} |")


if __name__ == "__main__":
    main()
