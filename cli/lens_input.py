"""What `seamtrue lens` is given: options and pictures, all faults at once, looked at side by side.

Pictures are read and searched in processes of their own, as many as there are cores, and only what
was found comes back: two hundred pictures need not be held at once.
"""

from __future__ import annotations

import multiprocessing
import os
import re
import sys
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import typer

from vision.calibration.board import FEWEST_SIDE, Board, BoardView
from vision.calibration.board_corners.find import find_boards, seen_counts
from vision.camera.pixel_shape import NAMED, PixelShape, possible_shapes, shape_named
from vision.camera.solver import NoFit
from vision.files import disk
from vision.units.errors import BadInputError, Fault, fault_of
from vision.units.lengths import LengthError, parse_length
from vision.units.reason import Reason

FEWEST_APART = 5
"""Fewer pictures are searched here: another process takes a second to begin."""

ASPECTS = (0.3, 3.0)

SUFFIXES = ("jpg", "jpeg", "png", "bmp", "tif", "tiff", "webp", "avif", "heic", "heif")
"""Of a folder's files these are taken for pictures."""


Wanted = tuple[Path, str, Board | None]
"""A picture, what it is called, and the board to be found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What one picture shows: boards, or why none, and then the counts of what it does show."""

    name: str
    width: int
    height: int
    views: tuple[BoardView, ...] = ()
    reason: Reason | None = None
    counts: tuple[int, int] | None = None
    faults: tuple[Fault, ...] = ()


def look_at_pictures(
    corners: str, square: str, pixel_aspect: str | None, paths: list[Path]
) -> tuple[Board, tuple[PixelShape, ...], list[Look]]:
    """Find the board in the pictures, with the shapes that a pixel may have.

    Raises BadInputError with the faults of options and pictures together.
    """
    faults: list[Fault] = []
    shown = _board(corners, square, faults)
    stated = _shape(pixel_aspect, faults)
    files = _files(paths, faults)
    # A board that cannot be is no reason not to look whether the pictures can be read.
    twice = len({path.name for path in files}) < len(files)
    looks = _looks([(path, str(path) if twice else path.name, shown) for path in files])
    for look in looks:
        faults.extend(look.faults)
    read = [look for look in looks if not look.faults]
    faults.extend(_size_faults(read))
    if faults or shown is None:
        raise BadInputError(faults)
    groups = possible_shapes(read[0].width, read[0].height)
    either = tuple(shape for group in groups for shape in group)
    return shown, either if stated is None else (stated,), read


def _looks(given: list[Wanted]) -> list[Look]:
    """Look at every picture, in order, on all cores where there are many."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    workers = min(cores or 1, len(given))
    if len(given) < FEWEST_APART or workers < 2:
        return _counted(map(_look, given), len(given))
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, context, _alone) as pool:
        return _counted(pool.map(_look, given), len(given))


def _counted(looks: Iterable[Look], total: int) -> list[Look]:
    """The same, with a bar that counts where somebody watches."""
    if not sys.stderr.isatty():
        return list(looks)
    with typer.progressbar(
        looks, length=total, label="pictures", show_pos=True, file=sys.stderr
    ) as watched:
        return list(watched)


def _alone() -> None:
    """Leave the other cores to the other processes."""
    import cv2

    cv2.setNumThreads(1)


def _look(given: Wanted) -> Look:
    path, name, board = given
    try:
        still = disk.read_picture(path.parent, path.name, name)
    except BadInputError as error:
        faults = tuple(replace(fault, key="") for fault in error.faults)
        return Look(name=name, width=0, height=0, faults=faults)
    look = Look(name=name, width=still.width, height=still.height)
    if board is None:
        return look
    found = find_boards(still.grey, board, name)
    if isinstance(found, NoFit):
        return replace(look, reason=found.reason, counts=seen_counts(still.grey))
    return replace(look, views=found)


def _board(corners: str, square: str, faults: list[Fault]) -> Board | None:
    """Board of the two options; None after adding to `faults`."""
    before = len(faults)
    sides = re.fullmatch(r"\s*(\d{1,3})\s*[xX×]\s*(\d{1,3})\s*", corners)  # noqa: RUF001
    if sides is None or min(int(sides[1]), int(sides[2])) < FEWEST_SIDE:
        expected = f"inner corners along and across such as 9x6, each {FEWEST_SIDE} or more"
        step = "count the inner corners"
        faults.append(fault_of("board-size", "--board", repr(corners[:40]), expected, step))
    side = 0.0
    try:
        side = float(parse_length(square))
        if not side > 0:
            step = "measure a square"
            faults.append(
                fault_of("square-size", "--square", repr(square[:40]), "a length above 0", step)
            )
    except LengthError as error:
        faults.append(
            fault_of("square-size", "--square", error.found, error.expected, error.next_step)
        )
    if len(faults) > before or sides is None:
        return None
    return Board(columns=int(sides[1]), rows=int(sides[2]), square_m=side)


def _shape(text: str | None, faults: list[Fault]) -> PixelShape | None:
    """Shape of a pixel as stated; None where it is not, or after adding to `faults`."""
    if text is None:
        return None
    named = shape_named(text)
    if named is not None:
        return named
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if ASPECTS[0] <= value <= ASPECTS[1]:
        return PixelShape(aspect=value)
    expected = f"a number from {ASPECTS[0]} to {ASPECTS[1]}, or one of: {'; '.join(NAMED)}"
    faults.append(
        fault_of("pixel-shape", "--pixel-aspect", repr(text[:40]), expected, "correct the value")
    )
    return None


def _files(paths: list[Path], faults: list[Fault]) -> list[Path]:
    """The pictures meant: a folder stands for all pictures in it, by name."""
    files: list[Path] = []
    for path in paths:
        if not path.is_dir():
            files.append(path)
            continue
        inside = sorted(
            each
            for each in path.iterdir()
            if each.is_file() and each.suffix.lower().lstrip(".") in SUFFIXES
        )
        if not inside:
            step = "name a folder of board pictures, or the pictures"
            faults.append(
                fault_of("no-pictures", str(path), "a folder without pictures", "pictures", step)
            )
        files.extend(inside)
    return files


def _size_faults(looks: list[Look]) -> Iterator[Fault]:
    for look in looks[1:]:
        if (look.width, look.height) != (looks[0].width, looks[0].height):
            found = f"{look.width} x {look.height} px"
            expected = f"{looks[0].width} x {looks[0].height} px as {looks[0].name}"
            step = "take all pictures with one camera at one size"
            yield fault_of("picture-sizes-differ", look.name, found, expected, step)
