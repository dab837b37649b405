"""Which file is a camera's picture: the one that the job names, or the newest that fits."""

from __future__ import annotations

import difflib
import fnmatch
import os
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from vision.job.picture_names import camera_of_file, is_picture_name
from vision.marks.exif import HEAD_BYTES, noted_in
from vision.marks.picture_header import FORMATS
from vision.units.errors import BadInputError, bad_input

MOST_SHOTS = 32
"""Beyond this noise is a sixth of what it was, and what pictures share is all that is left."""


def picture_path(
    directory: Path, picture: str | None, camera: str, cameras: Sequence[str], job_file: str
) -> Path:
    """The file that `picture` names, the newest that matches it as a pattern, or by name.

    `picture` is None where the job leaves it out: then it is the newest picture that is named after
    the camera and after none of the other `cameras`. Raises BadInputError where none fits.
    """
    key = f"camera.{camera}.picture"

    def none_fits(found: str, expected: str, step: str) -> BadInputError:
        return bad_input(
            "no-such-file", job_file or picture or camera, found, expected, step, key=key
        )

    if picture is None:
        named = [each for each in _files(directory) if camera_of_file(each, cameras) == camera]
        fitting = [each for each in named if is_picture_name(each)]
        if fitting:
            return newest(directory, fitting)
        expected = f"{FORMATS} named after its camera, such as `{camera}.jpg`, beside the job file"
        found = f"only {', '.join(map(repr, named[:3]))}" if named else "no such file"
        step = f'save the snapshot there, or name it: `picture = "..."` in [camera.{camera}]'
        raise none_fits(found, expected, step)
    if "*" not in picture and "?" not in picture:
        path = directory / picture
        near = nearest_file(path)
        if near is None:
            return path
        expected = f"{picture!r} beside the job file"
        raise none_fits("no such file", expected, f"did you mean `{near}`?")
    folder, matching = _matching(directory, picture)
    if matching:
        return newest(folder, matching)
    raise none_fits(*_no_match(directory, picture))


def shot_paths(
    directory: Path, shots: Sequence[str], camera: str, job_file: str
) -> tuple[Path, ...]:
    """Every file that names and patterns stand for, once, in the order in which they were taken.

    In the order given, those of a pattern by name, where one does not note when. BadInputError
    where one stands for no file, or all of them for too many.
    """
    key = f"camera.{camera}.pictures"
    found: dict[Path, datetime | None] = {}
    for each in shots:
        if "*" not in each and "?" not in each:
            found[directory / each] = _taken(directory / each)
            continue
        folder, matching = _matching(directory, each)
        if not matching:
            raise bad_input("no-such-file", job_file or each, *_no_match(directory, each), key=key)
        found |= {folder / name: _taken(folder / name) for name in matching}
    if len(found) > MOST_SHOTS:
        expected = f"at most {MOST_SHOTS} pictures of one camera"
        raise bad_input(
            "too-many-pictures", job_file, f"{len(found)} files", expected, "name fewer", key=key
        )
    times = [taken for taken in found.values() if taken is not None]
    if len(times) < len(found):
        return tuple(found)
    return tuple(path for path, _ in sorted(found.items(), key=lambda item: item[1] or times[0]))


def _matching(directory: Path, pattern: str) -> tuple[Path, list[str]]:
    """The folder of a pattern, and the names of its files that match."""
    folder = (directory / pattern).parent
    plain = _pattern(pattern)
    names = _files(folder, hidden=plain.startswith("."))
    return folder, [each for each in names if fnmatch.fnmatchcase(each, plain)]


def _no_match(directory: Path, pattern: str) -> tuple[str, str, str]:
    """What was found, expected, and what to do, where no file matches."""
    lower = _pattern(pattern).lower()
    names = _files((directory / pattern).parent, hidden=lower.startswith("."))
    near = next((each for each in names if fnmatch.fnmatchcase(each.lower(), lower)), None)
    step = f"write it as `{near}` has it" if near else "save the snapshot there"
    return "no match", f"a file that matches {pattern!r} beside the job file", step


def _pattern(pattern: str) -> str:
    """Only * and ? are special: a bracket in a file name is a bracket."""
    return Path(pattern).name.replace("[", "[[]")


def newest(folder: Path, names: Sequence[str]) -> Path:
    """The newest of some pictures in a folder, by the time they were taken where all note one.

    Else by the time they were last changed: copying files keeps or breaks either, but a camera's
    clock is at least the same for its pictures. Ties go by name.
    """
    changed, taken = {}, {}
    for name in names:
        changed[name] = (folder / name).stat().st_mtime_ns
        taken[name] = _taken(folder / name)
    if None in taken.values():
        taken = dict.fromkeys(names, datetime.min)
    return folder / max(names, key=lambda name: (taken[name], changed[name], name))


def nearest_file(path: Path) -> str | None:
    """The name that was probably meant of a file that is not there; None where it is, or for none.

    First the same name in another case, which some systems tell apart and some do not.
    """
    names = [] if path.exists() else _files(path.parent)
    same = [each for each in names if each.casefold() == path.name.casefold()]
    near = same or difflib.get_close_matches(path.name, names, n=1, cutoff=0.8)
    return near[0] if near else None


def _taken(path: Path) -> datetime | None:
    try:
        with path.open("rb") as stream:
            return noted_in(stream.read(HEAD_BYTES)).taken
    except OSError:
        return None


def _files(folder: Path, *, hidden: bool = False) -> list[str]:
    """Names of ordinary files in a folder, sorted; none where it cannot be read."""
    try:
        entries = sorted(os.scandir(folder), key=lambda each: each.name)
    except (OSError, ValueError):
        return []
    return [each.name for each in entries if each.is_file() and (hidden or each.name[0] != ".")]
