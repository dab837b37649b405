"""The only disk access: job files, lens files and pictures in, results out."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from vision.files import pictures
from vision.files.pane_input import cut_panes
from vision.files.picture_files import nearest_file, picture_path, shot_paths
from vision.files.screen_input import of_screens
from vision.files.stills import still
from vision.job.job import Job
from vision.job.job_file import NamedPictures, job_from_text, named_files
from vision.marks.picture import Picture
from vision.marks.picture_header import FORMATS
from vision.marks.sources.bars import without_bars
from vision.units.errors import BadInputError, Fault, bad_input, fault_of
from vision.units.toml_places import placed
from vision.units.toml_text import LARGEST_BYTES

# -------------------------------------------------------------------------------------------- in


def read_job(path: Path | str, *, planning: bool = False) -> tuple[Job, Path]:
    """Read a job file and the lens files it names; with `planning`, one that is only planned.

    Returns the job and the directory that its file names are relative to. Raises BadInputError with
    every fault.
    """
    path = Path(path)
    text = _job_text(path)
    others = _other_texts(text, path.parent)
    return job_from_text(text, path.name, others, planning=planning), path.parent


def read_job_texts(path: Path | str) -> tuple[bytes, dict[str, bytes]]:
    """Read a job file as it is, and each lens file and layout it names that is there, by name."""
    path = Path(path)
    text = _job_text(path)
    others = _other_texts(text, path.parent)
    return text, {name: each for name, each in others.items() if each is not None}


def read_inspection_input(path: Path | str) -> tuple[Job, tuple[Picture, ...]]:
    """Read a job with its pictures, in the order of the job's cameras.

    Raises
    ------
    BadInputError
        With the faults of the job, its lens files and its pictures together.
    """
    path = Path(path)
    text = _job_text(path)
    faults: list[Fault] = []
    job = None
    try:
        job = job_from_text(text, path.name, _other_texts(text, path.parent))
    except BadInputError as error:
        faults.extend(error.faults)
    stills = []
    named = named_files(text).pictures
    cameras = [each.camera for each in named]
    for each in named:
        try:
            stills.append(read_named(path.parent, each, cameras, job_file=path.name))
        except BadInputError as error:
            faults.extend(error.faults)
    pictures_read = tuple(stills)
    if job is not None:
        job, straight, poor = of_screens(job, stills, path.name)
        pictures_read, wrong = cut_panes(job, straight, path.name)
        faults.extend(poor)
        pictures_read = without_bars(pictures_read)
        faults.extend(wrong or lens_size_faults(job, pictures_read, path.name))
    if faults or job is None:
        raise BadInputError(placed(faults, {path.name: text}))
    return job, pictures_read


def read_named(
    directory: Path, named: NamedPictures, cameras: Sequence[str], job_file: str = ""
) -> Picture:
    """Read what a job names as a camera's picture, one or several; BadInputError."""
    camera, picture, mirrored, shots = named
    if shots:
        return read_shots(directory, shots, camera, mirrored=mirrored, job_file=job_file)
    return read_picture(
        directory, picture, camera, mirrored=mirrored, job_file=job_file, cameras=cameras
    )


def read_picture(
    directory: Path,
    picture: str | None,
    camera: str,
    *,
    mirrored: bool = False,
    job_file: str = "",
    cameras: Sequence[str] = (),
) -> Picture:
    """Read the picture called `picture`, or the newest that matches it, beside the job file.

    None takes the newest that is named after the camera and after none of the other `cameras`.
    Decoded to 8 bits a channel with alpha dropped, and turned as its orientation tag says. Raises
    BadInputError.
    """
    path = picture_path(directory, picture, camera, cameras or (camera,), job_file)
    return _still(path, camera, mirrored=mirrored, key=f"camera.{camera}.picture")


def read_shots(
    directory: Path,
    shots: Sequence[str],
    camera: str,
    *,
    mirrored: bool = False,
    job_file: str = "",
) -> Picture:
    """Read every file that the names or patterns of `shots` stand for, in the order taken.

    The first is the picture, the others its further ones; copies are left out. Raises BadInputError
    with the faults of all of them.
    """
    faults: list[Fault] = []
    found: dict[str, Picture] = {}
    key = f"camera.{camera}.pictures"
    for path in shot_paths(directory, shots, camera, job_file):
        try:
            one = _still(path, camera, mirrored=mirrored, key=key)
        except BadInputError as error:
            faults.extend(error.faults)
            continue
        first = next(iter(found.values()), one)
        if (one.width, one.height) != (first.width, first.height):
            fault = fault_of(
                "picture-sizes-differ",
                one.file,
                f"{one.width} x {one.height} px",
                f"{first.width} x {first.height} px as {first.file}",
                "take all pictures of a camera at one size",
                key=key,
            )
            faults.append(fault)
        found.setdefault(one.sha256, one)
    if faults:
        raise BadInputError(faults)
    first, *further = found.values()
    return first.with_further(further)


def _still(path: Path, camera: str, *, mirrored: bool, key: str) -> Picture:
    try:
        data = read_bytes(path, FORMATS, pictures.STEP, pictures.LARGEST_BYTES)
        return still(data, path.name, camera, mirrored=mirrored)
    except BadInputError as error:
        raise BadInputError(replace(fault, key=key) for fault in error.faults) from None


def read_bytes(
    path: Path | str, expected: str, next_step: str, limit: int = LARGEST_BYTES
) -> bytes:
    """Contents of a file; BadInputError where there is none.

    No more than a byte above the limit is read: whoever parses it refuses that.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise bad_input("folder", path.name or str(path), "a folder", expected, next_step)
        if path.exists() and not path.is_file():
            raise bad_input("not-a-file", path.name, "no ordinary file", expected, next_step)
        with path.open("rb") as stream:
            return stream.read(limit + 1)
    except FileNotFoundError:
        near = nearest_file(path)
        step = f"did you mean `{near}`?" if near else next_step
        raise bad_input("no-such-file", path.name, "no such file", expected, step) from None
    except (OSError, ValueError) as error:
        found = f"a file that cannot be read ({_trouble(error)})"
        raise bad_input("unreadable", path.name, found, expected, next_step) from None


def _trouble(error: OSError | ValueError) -> str:
    return getattr(error, "strerror", None) or str(error)


def _job_text(path: Path) -> bytes:
    return read_bytes(path, "a job file in TOML", "name the job file")


def _other_texts(text: bytes, directory: Path) -> dict[str, bytes | None]:
    """The texts of lens files and of the layout; None for one that cannot be read."""
    texts: dict[str, bytes | None] = {}
    for name in named_files(text).texts:
        try:
            texts[name] = read_bytes(directory / name, "", "")
        except BadInputError:
            texts[name] = None
    return texts


def lens_size_faults(job: Job, pictures: Sequence[Picture], file: str) -> Iterator[Fault]:
    """Pictures of another size than that for which their camera's lens was fitted."""
    sizes = {picture.name: (picture.width, picture.height) for picture in pictures}
    for camera in job.cameras:
        fitted = job.lens_of(camera).fitted
        size = sizes.get(camera.name)
        if fitted is not None and size is not None and size != (fitted.width, fitted.height):
            key, found = f"camera.{camera.name}.picture", f"a picture of {size[0]} x {size[1]} px"
            expected = f"{fitted.width} x {fitted.height} px, for which its lens was fitted"
            step = "save the snapshot at that size, or fit the lens at this one"
            yield fault_of("lens-size", file, found, expected, step, key=key)


# ------------------------------------------------------------------------------------------- out


def folder_ready(folder: Path | str) -> None:
    """Raise BadInputError where nothing could be written: told before anybody waits for results."""
    nearest = Path(folder)
    with contextlib.suppress(OSError):
        while not nearest.exists() and nearest != nearest.parent:
            nearest = nearest.parent
        if not nearest.is_dir():
            found = f"a file, {nearest.name}, in the way"
        elif not os.access(nearest, os.W_OK | os.X_OK):
            found = f"no right to write in {nearest}"
        else:
            return
        expected = "a folder that can be made and written to"
        raise bad_input("folder-not-made", str(folder), found, expected, "choose another folder")


def write_all(folder: Path | str, files: Mapping[str, bytes | str]) -> None:
    """Write every file of `files` (plain name to contents) into `folder`, which is made if needed.

    All are written under temporary names and reach the disk before the first takes its place, so
    that an interrupted run leaves the old file or the new, never half of one. Text is written in
    UTF-8, its line ends as they are. Raises BadInputError when the folder cannot be made or written
    to; temporaries are then removed.
    """
    folder = Path(folder)
    for name in files:
        if Path(name).name != name:
            raise ValueError(f"files: expected plain file names, found {name!r}")
    every = {
        name: contents.encode("utf-8") if isinstance(contents, str) else contents
        for name, contents in files.items()
    }
    waiting: list[tuple[str, Path]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in every.items():
            if (folder / name).is_dir():
                raise bad_input(
                    "folder", str(folder / name), "a folder", "a file or nothing", "move it away"
                )
            waiting.append((_temporary(folder, data), folder / name))
        while waiting:
            os.replace(*waiting[0])
            waiting.pop(0)
        sync_folder(folder)
    except (OSError, ValueError) as error:
        expected = "a folder that can be made and written to"
        raise bad_input(
            "folder-not-made", str(folder), _trouble(error), expected, "choose another folder"
        ) from None
    finally:
        for temporary, _ in waiting:
            with contextlib.suppress(OSError):
                os.unlink(temporary)


def write_tree(folder: Path | str, files: Mapping[str, bytes | str]) -> None:
    """Write files whose names may have folders of their own, each folder as `write_all` does."""
    below: dict[Path, dict[str, bytes | str]] = {}
    for name, contents in files.items():
        place = Path(folder) / name
        below.setdefault(place.parent, {})[place.name] = contents
    for parent, contents_of in below.items():
        write_all(parent, contents_of)


def _temporary(folder: Path, contents: bytes) -> str:
    handle, name = tempfile.mkstemp(dir=folder, prefix=".", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(contents)
            stream.flush()
            os.fsync(stream.fileno())
        # mkstemp makes the file private; a report is as readable as any other new file.
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(name, 0o666 & ~mask)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)
        raise
    return name


def sync_folder(folder: Path) -> None:
    """Have the disk keep the names in a folder, where it can say so."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
