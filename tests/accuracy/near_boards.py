"""Print how far off corners of near, steep, soft and shaded boards are.

    python -m tests.accuracy.near_boards [--pictures 400] [--first 0]

Boards of 9 x 6 corners so near to a lens of 190 degrees that their squares shrink by half from one
line to the next; every second picture soft, every third with a hard shadow's edge across the board.
A corner over a pixel off must not be: it would be measured where it is not.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from tests.board_pictures import BIG, near_picture
from vision.calibration.board_corners.find import find_board
from vision.camera.solver import NoFit

WRONG_PX = 1.0


def main() -> None:
    """Print what was found of how many, and the worst."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=int, default=400)
    parser.add_argument("--first", type=int, default=0)
    given = parser.parse_args()
    off: list[np.ndarray] = []
    missed, seconds = 0, 0.0
    for seed in range(given.first, given.first + given.pictures):
        grey, truth = near_picture(seed)
        start = time.process_time()
        view = find_board(grey, BIG, "p")
        seconds += time.process_time() - start
        if isinstance(view, NoFit):
            missed += 1
            continue
        away = np.linalg.norm(view.pixels_px[:, None] - truth, axis=-1).min(axis=1)
        off.append(away)
        if (away > WRONG_PX).any():
            print(f"  picture {seed}: {np.round(away[away > WRONG_PX], 1)} px", flush=True)
    corners = np.concatenate(off)
    due = BIG.columns * BIG.rows * len(off)
    print(
        f"{len(off)} of {given.pictures} boards, {len(corners)} of {due} corners, "
        f"{(corners > WRONG_PX).sum()} over {WRONG_PX:.0f} px off, RMS "
        f"{np.sqrt(np.square(corners).mean()):.3f}, worst {corners.max():.2f} px, "
        f"{1e3 * seconds / given.pictures:.0f} ms each"
    )


if __name__ == "__main__":
    main()
