"""What is said of lengths taped on the ground: the reading that is wrong, and what to tape yet."""

from __future__ import annotations

import json

import numpy as np

from vision.documents.check_words.saying import misread
from vision.planning.readings_wanted import Wanted
from vision.planning.setting_out.readings import PlannedReading
from vision.planning.tape_check import ReadLength
from vision.units.length_words import METRIC, LengthWords
from vision.units.lengths import feet_inches

WANTED = """\
# Lengths to tape, the most telling first. Put what the tape shows between the quotes, with its
# unit; take out the tables of what you did not tape. With all of them a shift of a whole strip is
# surely named from:
# {strips}.
"""


def what_words(reading: ReadLength) -> str:
    """Of what a reading is: `distance left/0 to left/16`."""
    return f"{reading.kind} {' to '.join(map(str, reading.between))}"


def doubt_words(reading: ReadLength, lengths: LengthWords = METRIC) -> str | None:
    """`reading 5 (diagonal ...) is an inch too long: read as ..., the rest says ...`."""
    if reading.doubt is None:
        return None
    says = "does not fit" if reading.doubt == "wrong" else "perhaps does not fit"
    what = says
    if reading.blunder_m is not None and reading.doubt == "wrong":
        what = f"is {misread(reading.blunder_m, lengths)}"
    if lengths.imperial:
        read = lengths.m(reading.read_m, spec=".3f")
        fits = lengths.m(reading.fits_m, reading.sigma_m, spec=".3f")
    else:
        # Somebody whose job is metric may have held a tape in inches.
        read, fits = (
            f"{each:.3f} m ({feet_inches(each, lengths.fraction).text})"
            for each in (reading.read_m, reading.fits_m)
        )
        fits += f" +-{lengths.doubt(reading.sigma_m)}"
    told = f"{reading.group} ({what_words(reading)}) {what}: read as {read}, the rest says {fits}"
    return f"{told}; tape it again"


def wanted_text(wanted: Wanted, lengths: LengthWords) -> str:
    """Tables to paste into the job once the values are filled in, with a word on what they tell."""
    strips = ", ".join(
        f"{name} {lengths.cm(size_m)}" if np.isfinite(size_m) else f"{name} none"
        for name, size_m in wanted.sure_m.items()
    )
    return WANTED.format(strips=strips) + "\n" + readings_text(wanted.readings, lengths)


def readings_text(readings: tuple[PlannedReading, ...], lengths: LengthWords) -> str:
    """Tables [[reading]] with the value left open, as TOML."""
    return "\n".join(_table(each, lengths) for each in readings)


def _table(reading: PlannedReading, lengths: LengthWords) -> str:
    names = ", ".join(json.dumps(str(name), ensure_ascii=False) for name in reading.between)
    places = f"of = {names}" if reading.kind == "offset" else f"between = [{names}]"
    planned = lengths.m(float(reading.length_m), spec=".3f")
    return f'[[reading]]\nkind = "{reading.kind}"\n{places}\nvalue = ""  # planned: {planned}\n'
