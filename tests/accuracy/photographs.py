"""Print how boards are found and measured in real photographs, beside two general finders.

    python -m tests.accuracy.photographs FOLDER

FOLDER holds left01.jpg to left14.jpg and right01.jpg to right14.jpg (26 of them, number 10 is
missing) of Debian's opencv-doc package: 640x480, 9 x 6 inner corners; `apt-get download opencv-doc`
and `dpkg-deb -x` unpack them to usr/share/doc/opencv-doc/examples/data. The truth is not known. Per
picture: corners found, and the median distance of corners from the nearest ones of OpenCV's
findChessboardCorners with cornerSubPix and of its sector-based finder, exhaustive and accurate;
then the same between those two. Last, a free check on each finder alone: how far corners lie off a
plane seen through one lens, by OpenCV's own calibration of the left and of the right camera.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import cv2
import numpy as np

from vision.calibration.board import Board, BoardView
from vision.calibration.board_corners.find import find_board

Array = np.ndarray
COLUMNS, ROWS = 9, 6
WINDOW_PX = 5


def ours(grey: Array) -> Array | None:
    """The finder under test."""
    board = Board(columns=COLUMNS, rows=ROWS, square_m=0.025)
    view = find_board(grey.astype(np.float32), board, "photograph")
    return view.pixels_px if isinstance(view, BoardView) else None


def classic(grey: Array) -> Array | None:
    """OpenCV's first finder and cornerSubPix."""
    found, corners = cv2.findChessboardCorners(grey, (COLUMNS, ROWS))
    if not found:
        return None
    done = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 1e-3)
    cv2.cornerSubPix(grey, corners, (WINDOW_PX, WINDOW_PX), (-1, -1), done)
    return np.asarray(corners.reshape(-1, 2), dtype=np.float64)


def sector_based(grey: Array) -> Array | None:
    """OpenCV's second finder."""
    flags = cv2.CALIB_CB_EXHAUSTIVE | cv2.CALIB_CB_ACCURACY
    found, corners = cv2.findChessboardCornersSB(grey, (COLUMNS, ROWS), flags=flags)
    return np.asarray(corners.reshape(-1, 2), dtype=np.float64) if found else None


FINDERS = {"ours": ours, "classic": classic, "sector": sector_based}


def in_order(corners: Array) -> Array:
    """The same order for every finder: rows downwards, columns to the right."""
    grid = corners.reshape(ROWS, COLUMNS, 2)
    across, down = grid[0, -1] - grid[0, 0], grid[-1, 0] - grid[0, 0]
    if across[0] * down[1] - across[1] * down[0] < 0:
        grid = grid[:, ::-1]
    if (grid[0, -1] - grid[0, 0])[np.abs(grid[0, -1] - grid[0, 0]).argmax()] < 0:
        grid = grid[::-1, ::-1]
    return grid.reshape(-1, 2)


def apart(a: Array | None, b: Array | None) -> Array:
    """Distances of corners, (n,) px; none where a finder has not found them all."""
    if a is None or b is None or len(a) != COLUMNS * ROWS or len(b) != COLUMNS * ROWS:
        return np.array([])
    return np.asarray(np.linalg.norm(a[:, None] - b[None], axis=-1).min(axis=1))


def off_plane_px(pictures: list[Array], size: tuple[int, int]) -> float:
    """RMS of OpenCV's calibration, pinhole with five terms of distortion, of one finder's corners.

    It carries what the board's print and flatness leave, the same for every finder.
    """
    y, x = np.mgrid[:ROWS, :COLUMNS]
    board = np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=-1).astype(np.float32)
    points = [each.astype(np.float32)[None] for each in pictures]
    boards = [board[None] for _ in pictures]
    return float(cv2.calibrateCamera(boards, points, size, None, None)[0])


def median(values: Array) -> str:
    """A median as text."""
    return f"{np.median(values):.3f}" if values.size else "-"


def main() -> None:
    """Print one line per photograph and the summary."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args().folder
    cv2.setNumThreads(1)
    files = sorted(p for side in ("left", "right") for p in folder.glob(f"{side}[0-9][0-9].jpg"))
    if not files:
        parser.error(f"{folder}: expected left01.jpg to right14.jpg, found none")
    found: dict[str, dict[str, Array | None]] = {}
    seconds = dict.fromkeys(FINDERS, 0.0)
    print("| photograph | corners | to classic | to sector | classic to sector |")
    print("| --- | --- | --- | --- | --- |")
    for file in files:
        grey = cv2.imread(str(file), cv2.IMREAD_GRAYSCALE)
        found[file.stem] = each = {}
        for name, find in FINDERS.items():
            start = time.process_time()
            each[name] = find(grey)
            seconds[name] += time.process_time() - start
        corners = 0 if each["ours"] is None else len(each["ours"])
        pairs = (("ours", "classic"), ("ours", "sector"), ("classic", "sector"))
        texts = [median(apart(each[a], each[b])) for a, b in pairs]
        print(f"| {file.stem} | {corners} | " + " | ".join(texts) + " |")
    whole = sum(e["ours"] is not None and len(e["ours"]) == COLUMNS * ROWS for e in found.values())
    print(f"\n{whole} of {len(files)} photographs with every corner")
    for a, b in (("ours", "classic"), ("ours", "sector"), ("classic", "sector")):
        distances = [apart(e[a], e[b]) for e in found.values()]
        print(
            f"{a} to {b}: {sum(d.size > 0 for d in distances)} photographs, median "
            f"{median(np.concatenate(distances))} px, worst photograph's median "
            f"{max((np.median(d) for d in distances if d.size), default=np.nan):.3f} px"
        )
    for side in ("left", "right"):
        shown = [e for stem, e in found.items() if stem.startswith(side)]
        both = [
            e for e in shown if all(c is not None and len(c) == COLUMNS * ROWS for c in e.values())
        ]
        texts = [
            f"{name} {off_plane_px([in_order(e[name]) for e in both], (640, 480)):.3f}"
            for name in FINDERS
        ]
        print(f"off the plane, {side}, {len(both)} photographs, RMS px: " + ", ".join(texts))
    print(
        "processor time a photograph, ms: "
        + ", ".join(f"{name} {1e3 * s / len(files):.0f}" for name, s in seconds.items())
    )


if __name__ == "__main__":
    main()
