"""What `seamtrue lens` is given: the board's options and the pictures, all faults at once."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from vision.calibration.board import FEWEST_SIDE, Board
from vision.files import disk
from vision.marks.picture import Picture
from vision.units.errors import BadInputError, Fault, fault_of
from vision.units.lengths import LengthError, parse_length


def read_lens_input(corners: str, square: str, paths: list[Path]) -> tuple[Board, list[Picture]]:
    """Read the board and the pictures, or raise BadInputError with the faults of both."""
    faults: list[Fault] = []
    shown = _board(corners, square, faults)
    stills = _pictures(paths, faults)
    if faults or shown is None:
        raise BadInputError(faults)
    return shown, stills


def _board(corners: str, square: str, faults: list[Fault]) -> Board | None:
    """Board of the two options; None after adding to `faults`."""
    before = len(faults)
    sides = re.fullmatch(r"\s*(\d{1,3})\s*[xX×]\s*(\d{1,3})\s*", corners)  # noqa: RUF001
    if sides is None or min(int(sides[1]), int(sides[2])) < FEWEST_SIDE:
        expected = f"inner corners along and across such as 9x6, each {FEWEST_SIDE} or more"
        faults.append(
            fault_of(
                "board-size", "--board", repr(corners[:40]), expected, "count the inner corners"
            )
        )
    side = 0.0
    try:
        side = float(parse_length(square))
        if not side > 0:
            faults.append(
                fault_of(
                    "square-size",
                    "--square",
                    repr(square[:40]),
                    "a length above 0",
                    "measure a square",
                )
            )
    except LengthError as error:
        faults.append(
            fault_of("square-size", "--square", error.found, error.expected, error.next_step)
        )
    if len(faults) > before or sides is None:
        return None
    return Board(columns=int(sides[1]), rows=int(sides[2]), square_m=side)


def _pictures(paths: list[Path], faults: list[Fault]) -> list[Picture]:
    """Read all pictures, adding to `faults` those that cannot be read or differ in size."""
    stills: list[Picture] = []
    for path in paths:
        try:
            stills.append(disk.read_picture(path.parent, path.name, path.name))
        except BadInputError as error:
            faults.extend(replace(fault, key="") for fault in error.faults)
    if stills:
        size = (stills[0].width, stills[0].height)
        for still in stills[1:]:
            if (still.width, still.height) != size:
                found = f"{still.width} x {still.height} px"
                expected = f"{size[0]} x {size[1]} px as {stills[0].file}"
                step = "take all pictures with one camera at one size"
                faults.append(fault_of("picture-sizes-differ", still.file, found, expected, step))
    return stills
