"""The only disk access: job files, lens files and pictures in, results out, checks kept."""

from __future__ import annotations

import contextlib
import fnmatch
import hashlib
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np

from vision.job.job import Job
from vision.job.job_file import job_from_text, named_files
from vision.marks.picture import Picture, Pixels
from vision.marks.picture_header import FORMATS, Header, read_header
from vision.units.errors import BadInputError, Fault, bad_input
from vision.units.toml_text import LARGEST_BYTES

LARGEST_PICTURE_PX = 100_000_000
SMALLEST_SIDE_PX = 64
LARGEST_PICTURE_BYTES = 400_000_000
"""A picture of the largest size, uncompressed with an alpha channel."""

_PICTURE_STEP = "save the snapshot again and name it in the job"


# -------------------------------------------------------------------------------------------- in


def read_job(path: Path | str, *, planning: bool = False) -> tuple[Job, Path]:
    """Read a job file and the lens files it names; with `planning`, one that is only planned.

    Returns the job and the directory that its file names are relative to. Raises BadInputError with
    every fault.
    """
    path = Path(path)
    text = _job_text(path)
    lens_texts = _lens_texts(text, path.parent)
    return job_from_text(text, path.name, lens_texts, planning=planning), path.parent


def read_job_texts(path: Path | str) -> tuple[bytes, dict[str, bytes]]:
    """Read a job file as it is, and each lens file it names that is there, by name."""
    path = Path(path)
    text = _job_text(path)
    lenses = _lens_texts(text, path.parent)
    return text, {name: each for name, each in lenses.items() if each is not None}


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
        job = job_from_text(text, path.name, _lens_texts(text, path.parent))
    except BadInputError as error:
        faults.extend(error.faults)
    pictures = []
    for camera, picture, mirrored in named_files(text).pictures:
        try:
            pictures.append(
                read_picture(path.parent, picture, camera, mirrored=mirrored, job_file=path.name)
            )
        except BadInputError as error:
            faults.extend(error.faults)
    if job is not None:
        faults.extend(_lens_size_faults(job, pictures, path.name))
    if faults or job is None:
        raise BadInputError(faults)
    return job, tuple(pictures)


def read_picture(
    directory: Path, picture: str, camera: str, *, mirrored: bool = False, job_file: str = ""
) -> Picture:
    """Read the picture called `picture`, or the newest that matches it, beside the job file.

    Decoded to 8 bits a channel with alpha dropped; pixels as stored, whatever orientation the
    camera noted. Raises BadInputError.
    """
    path = _picture_path(directory, picture, camera, job_file)
    try:
        data = _read_bytes(path, LARGEST_PICTURE_BYTES, FORMATS, _PICTURE_STEP)
        bgr = decode_picture(data, path.name)
    except BadInputError as error:
        key = f"camera.{camera}.picture"
        raise BadInputError(replace(fault, key=key) for fault in error.faults) from None
    return Picture.from_delivered(
        name=camera,
        file=path.name,
        sha256=hashlib.sha256(data).hexdigest(),
        mirrored=mirrored,
        bgr=bgr,
    )


def decode_picture(data: bytes, file: str) -> Pixels:
    """Pixels (H, W, 3) uint8, blue green red, as delivered; BadInputError for anything less."""
    header = read_header(data)
    problem = _header_problem(data, header)
    if problem is not None:
        raise bad_input(file, *problem)
    assert header is not None
    cv2 = import_cv2()
    pixels, complaints = None, ""
    try:
        with _quiet_decoder() as heard:
            pixels = cv2.imdecode(
                np.frombuffer(data, dtype=np.uint8),
                cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION,
            )
            complaints = heard()
    except (cv2.error, MemoryError):
        pixels = None
    if pixels is None or pixels.shape != (header.height, header.width, 3):
        raise bad_input(file, f"a {header.format} that cannot be decoded", FORMATS, _PICTURE_STEP)
    if "orrupt" in complaints or "remature" in complaints:
        raise bad_input(file, f"a damaged {header.format}", "an undamaged picture", _PICTURE_STEP)
    return pixels  # type: ignore[no-any-return]


def import_cv2() -> ModuleType:
    """OpenCV, or a clear message: its usual build needs libraries that a slim system lacks."""
    try:
        import cv2
    except ImportError as error:
        missing = "lib" in str(error) and ".so" in str(error)
        step = "apt-get install libgl1 libglib2.0-0" if missing else "pip install opencv-python"
        raise bad_input(
            "OpenCV", str(error), "OpenCV's Python package, able to load", step
        ) from None
    return cv2


def _job_text(path: Path) -> bytes:
    # One byte above the limit is enough for `job_file` to refuse it.
    return _read_bytes(path, None, "a job file in TOML", "name the job file", LARGEST_BYTES + 1)


def _lens_texts(text: bytes, directory: Path) -> dict[str, bytes | None]:
    texts: dict[str, bytes | None] = {}
    for name in named_files(text).lens_files:
        try:
            texts[name] = _read_bytes(directory / name, None, "", "", LARGEST_BYTES + 1)
        except BadInputError:
            texts[name] = None
    return texts


def _read_bytes(
    path: Path, limit: int | None, expected: str, next_step: str, at_most: int = -1
) -> bytes:
    """Contents of a file, no more than `at_most` of it; refused above `limit`."""
    try:
        if path.is_dir():
            raise bad_input(path.name or str(path), "a folder", expected, next_step)
        if path.exists() and not path.is_file():
            raise bad_input(path.name, "no ordinary file", expected, next_step)
        if limit is not None and path.stat().st_size > limit:
            size = f"a file of {path.stat().st_size / 1e6:.0f} MB"
            raise bad_input(path.name, size, f"{expected} below {limit / 1e6:.0f} MB", next_step)
        with path.open("rb") as stream:
            return stream.read(at_most)
    except FileNotFoundError:
        raise bad_input(path.name, "no such file", expected, next_step) from None
    except (OSError, ValueError) as error:
        found = getattr(error, "strerror", None) or str(error)
        raise bad_input(path.name, f"a file that cannot be read ({found})", expected,
                   next_step) from None  # fmt: skip


def _picture_path(directory: Path, picture: str, camera: str, job_file: str) -> Path:
    if "*" not in picture and "?" not in picture:
        return directory / picture
    folder = (directory / picture).parent
    # Only * and ? are special: a bracket in a file name is a bracket.
    pattern = Path(picture).name.replace("[", "[[]")
    matches: list[tuple[int, str]] = []
    try:
        for entry in os.scandir(folder):
            hidden = entry.name.startswith(".") and not pattern.startswith(".")
            if not hidden and fnmatch.fnmatchcase(entry.name, pattern) and entry.is_file():
                matches.append((entry.stat().st_mtime_ns, entry.name))
    except OSError:
        matches = []
    if not matches:
        key = f"camera.{camera}.picture"
        expected = f"a file that matches {picture!r} beside the job file"
        raise bad_input(
            job_file or picture, "no match", expected, "save the snapshot there", key=key
        )
    return folder / max(matches)[1]


def _header_problem(data: bytes, header: Header | None) -> tuple[str, str, str] | None:
    if not data:
        return "an empty file", FORMATS, _PICTURE_STEP
    if header is None:
        return "a file of another format or with a broken header", FORMATS, _PICTURE_STEP
    size = f"{header.width} x {header.height} px"
    if header.width * header.height > LARGEST_PICTURE_PX:
        expected = f"at most {LARGEST_PICTURE_PX // 10**6} megapixels"
        return size, expected, "save the snapshot at the camera's own size"
    if min(header.width, header.height) < SMALLEST_SIDE_PX:
        expected = f"at least {SMALLEST_SIDE_PX} px a side"
        return size, expected, "save the snapshot at the camera's own size, not a preview"
    if not header.complete:
        return f"a {header.format} that breaks off or is damaged", "a whole picture", _PICTURE_STEP
    return None


def _lens_size_faults(job: Job, pictures: list[Picture], file: str) -> Iterator[Fault]:
    sizes = {picture.name: (picture.width, picture.height) for picture in pictures}
    for camera in job.cameras:
        fitted = job.lens_of(camera).fitted
        size = sizes.get(camera.name)
        if fitted is not None and size is not None and size != (fitted.width, fitted.height):
            yield Fault(
                file=file,
                key=f"camera.{camera.name}.picture",
                found=f"a picture of {size[0]} x {size[1]} px",
                expected=f"{fitted.width} x {fitted.height} px, for which its lens was fitted",
                next_step="save the snapshot at that size, or fit the lens at this one",
            )


@contextlib.contextmanager
def _quiet_decoder() -> Iterator[Callable[[], str]]:
    """Keep what the decoders print to standard error, and hand it over instead.

    They write to the file descriptor itself and not to `sys.stderr`. Yields a function that answers
    what was printed so far; where there is no standard error, nothing is kept.
    """
    try:
        saved = os.dup(2)
    except OSError:
        yield lambda: ""
        return
    with tempfile.TemporaryFile() as sink:

        def heard() -> str:
            sink.seek(0)
            return sink.read().decode("utf-8", "replace")

        os.dup2(sink.fileno(), 2)
        try:
            yield heard
        finally:
            os.dup2(saved, 2)
            os.close(saved)


def read_bytes(path: Path | str, expected: str, next_step: str) -> bytes:
    """Contents of a small text file that a person wrote; BadInputError where there is none.

    No more than a byte above the largest job is read: whoever parses it refuses that.
    """
    return _read_bytes(Path(path), None, expected, next_step, LARGEST_BYTES + 1)


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
        raise bad_input(str(folder), found, expected, "choose another folder")


def write_all(folder: Path | str, files: Mapping[str, bytes | str]) -> None:
    """Write every file of `files` (plain name to contents) into `folder`, which is made if needed.

    Text is written in UTF-8, its line ends as they are.
    All are written under temporary names and reach the disk before the first takes its place, so
    that an interrupted run leaves the old file or the new, never half of one. Raises BadInputError
    when the folder cannot be made or written to; temporaries are then removed.
    """
    folder = Path(folder)
    for name in files:
        if Path(name).name != name:
            raise ValueError(f"files: expected plain file names, found {name!r}")
    waiting: list[tuple[str, Path]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, contents in files.items():
            if (folder / name).is_dir():
                raise bad_input(str(folder / name), "a folder", "a file or nothing", "move it away")
            data = contents.encode("utf-8") if isinstance(contents, str) else contents
            waiting.append((_temporary(folder, data), folder / name))
        while waiting:
            os.replace(*waiting[0])
            waiting.pop(0)
        _sync_folder(folder)
    except (OSError, ValueError) as error:
        found = getattr(error, "strerror", None) or str(error)
        expected = "a folder that can be made and written to"
        raise bad_input(str(folder), found, expected, "choose another folder") from None
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


def _sync_folder(folder: Path) -> None:
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
