"""The pictures of a job as they come: those that are there, whole, and not read before."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from vision.files.disk import lens_size_faults, read_job, read_job_texts, read_named
from vision.files.picture_files import picture_path, shot_paths
from vision.job.job import Job
from vision.job.job_file import NamedFiles, NamedPictures, named_files
from vision.marks.picture import Picture
from vision.marks.sources.bars import without_bars
from vision.units.errors import BadInputError, Fault

SETTLED_S = 2.0
"""A file that cannot be read, and was not written to for so long, will not be finished any more."""

_Stamp = tuple[tuple[str, int, int], ...]
"""Of each file of a camera its path, when it was changed in ns, and its size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshots:
    """A job with the pictures of those cameras that have one, by the cameras' names.

    `job_texts` are those of the job file, and of the files it names by their names; `faults` those
    of pictures that are there and cannot be used; `unfinished` the cameras whose picture cannot be
    read yet, and was written to a moment ago.
    """

    job: Job
    job_texts: tuple[bytes, dict[str, bytes]]
    pictures: dict[str, Picture]
    faults: dict[str, tuple[Fault, ...]]
    unfinished: frozenset[str]


@dataclass(slots=True, kw_only=True)
class SnapshotFolder:
    """Reads a job's pictures again and again, each file once."""

    job_file: Path
    _read: dict[str, tuple[_Stamp, Picture]] = field(default_factory=dict)

    def read(self) -> Snapshots:
        """Read the job and what is there of its pictures.

        A picture that is being written leaves the one before it in its place. Raises BadInputError
        with the faults of the job and its lens files.
        """
        job, folder = read_job(self.job_file)
        texts = read_job_texts(self.job_file)
        named = named_files(texts[0]).pictures
        cameras = [each.camera for each in named]
        faults: dict[str, tuple[Fault, ...]] = {}
        unfinished = set()
        for each in named:
            camera = each.camera
            stamp = _stamp(folder, each, cameras)
            if stamp is None:
                self._read.pop(camera, None)
                continue
            if self._is_read(camera, stamp, mirrored=each.mirrored):
                continue
            try:
                still = read_named(folder, each, cameras)
                shown = without_bars([still])
                faults[camera] = tuple(lens_size_faults(job, shown, self.job_file.name))
            except BadInputError as error:
                faults[camera] = error.faults
                if time.time() - max(changed for _, changed, _ in stamp) / 1e9 < SETTLED_S:
                    unfinished.add(camera)
                continue
            # What was written to meanwhile is read again.
            if not faults[camera] and _stamp(folder, each, cameras) == stamp:
                self._read[camera] = stamp, still
        read = [self._read[c.name][1] for c in job.cameras if c.name in self._read]
        return Snapshots(
            job=job,
            job_texts=texts,
            pictures={each.name: each for each in without_bars(read)},
            faults={camera: found for camera, found in faults.items() if found},
            unfinished=frozenset(unfinished),
        )

    def _is_read(self, camera: str, stamp: _Stamp, *, mirrored: bool) -> bool:
        held = self._read.get(camera)
        return held is not None and held[0] == stamp and held[1].mirrored == mirrored


def watched(job_file: Path) -> tuple[set[Path], NamedFiles]:
    """The folders in which something may come, and the files that a job names."""
    named = named_files(read_job_texts(job_file)[0])
    files = [*named.texts, *named.picture_names]
    folders = {(job_file.parent / file).parent for file in files}
    return {job_file.parent, *(each for each in folders if each.is_dir())}, named


def _stamp(folder: Path, named: NamedPictures, cameras: Sequence[str]) -> _Stamp | None:
    """What tells one state of a camera's files from another; None where there is no file."""
    camera, picture, _, shots = named
    try:
        paths = (
            shot_paths(folder, shots, camera, "")
            if shots
            else (picture_path(folder, picture, camera, cameras, ""),)
        )
        found = [(str(path), path.stat()) for path in paths]
    except (BadInputError, OSError):
        return None
    return tuple((path, each.st_mtime_ns, each.st_size) for path, each in found)
