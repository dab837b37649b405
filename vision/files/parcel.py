"""All that a check of a job reads, as bytes: to tell whether anything changed, or to send it away.

A job names files beside itself or below, never above, so names with slashes say where each lies.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from vision.files import disk, pictures
from vision.files.picture_files import picture_path, shot_paths
from vision.job.job_file import named_files
from vision.marks.picture_header import FORMATS


@dataclass(frozen=True, slots=True, kw_only=True)
class Parcel:
    """A job's files by their names from its folder, slashes between; `job_file` is one of them."""

    job_file: str
    files: Mapping[str, bytes]

    def __post_init__(self) -> None:
        for name in self.files:
            parts = PurePosixPath(name).parts
            if (
                not parts
                or ".." in parts
                or name.startswith("/")
                or "\\" in name
                or ":" in parts[0]
            ):
                raise ValueError(f"files: expected names below the job's folder, found {name!r}")
        if self.job_file not in self.files:
            raise ValueError(f"job_file: expected one of the files, found {self.job_file!r}")

    @property
    def digest(self) -> str:
        """Of every name and every byte, in hexadecimal."""
        whole = hashlib.sha256(_framed(self.job_file.encode()))
        for name in sorted(self.files):
            whole.update(_framed(name.encode()))
            whole.update(hashlib.sha256(self.files[name]).digest())
        return whole.hexdigest()


def packed(job_file: Path | str) -> Parcel:
    """Read what a check of a job would read; BadInputError where it would find a file missing.

    Of a pattern, the picture that a check would take. No picture is opened.
    """
    path = Path(job_file)
    text, others = disk.read_job_texts(path)
    named = named_files(text).pictures
    cameras = [each.camera for each in named]
    files = {path.name: text, **{_plain(name): each for name, each in others.items()}}
    for camera, picture, _, shots in named:
        if shots:
            found = shot_paths(path.parent, shots, camera, path.name)
        else:
            found = (picture_path(path.parent, picture, camera, cameras, path.name),)
        for each in found:
            name = each.relative_to(path.parent).as_posix()
            files[name] = disk.read_bytes(each, FORMATS, pictures.STEP, pictures.LARGEST_BYTES)
    return Parcel(job_file=path.name, files=files)


def unpacked(parcel: Parcel, folder: Path | str) -> Path:
    """Write the files of a parcel below a folder; the path of the job file among them."""
    disk.write_tree(folder, parcel.files)
    return Path(folder) / parcel.job_file


def _plain(name: str) -> str:
    return PurePosixPath(name.replace("\\", "/")).as_posix()


def _framed(data: bytes) -> bytes:
    """With its length, so that one name's end cannot pass for the next one's start."""
    return len(data).to_bytes(8, "big") + data
