"""Which job files are meant by paths, folders and patterns."""

from __future__ import annotations

import glob
import os
from collections.abc import Sequence
from pathlib import Path

from vision.units.errors import BadInputError, Fault, fault_of

JOB_NAME = "job.toml"
"""What a job file is called in a folder that is named as a whole."""


def is_one_job(named: Path) -> bool:
    """Whether a path names a job file, there or not, and neither a folder nor a pattern."""
    return not named.is_dir() and (named.exists() or not glob.has_magic(str(named)))


def found_jobs(named: Sequence[Path]) -> tuple[Path, ...]:
    """Every job file that is named, once, in the order given; those of a folder by their path.

    A folder stands for every `job.toml` in it and below; a pattern for what it matches, `**` for
    folders of any depth. BadInputError where one stands for nothing.
    """
    found: dict[str, Path] = {}
    faults: list[Fault] = []
    for each in named:
        those = [each] if is_one_job(each) else sorted(_meant(each))
        if not those:
            faults.append(_nothing(each))
        for path in those:
            found.setdefault(os.path.realpath(path), path)
    if faults:
        raise BadInputError(faults)
    return tuple(found.values())


def folders_for(jobs: Sequence[Path], out: Path | None, beside: str) -> tuple[Path, ...]:
    """Where the report of each job goes, no two to one place.

    Below `out` by the job's place below the folder that all share; without it to a folder called
    `beside` next to the job. A job that is not called `job.toml` has a folder of its own name.
    """
    places = [Path(os.path.abspath(job)) for job in jobs]
    shared = Path(os.path.commonpath([place.parent for place in places])) if places else Path()
    alone = [sum(other.parent == place.parent for other in places) == 1 for place in places]
    folders: dict[Path, Path] = {}
    for job, place, single in zip(jobs, places, alone, strict=True):
        own = () if place.name == JOB_NAME else (place.stem,)
        if out is not None:
            folder = out.joinpath(place.parent.relative_to(shared), *own)
        else:
            folder = job.parent.joinpath(beside, *(() if single else own))
        if folder == out or folder in folders:
            folder = folder / place.name
        folders[folder] = place
    return tuple(folders)


def _meant(named: Path) -> set[Path]:
    if named.is_dir():
        return {each for each in named.rglob(JOB_NAME) if each.is_file()}
    found: set[Path] = set()
    for name in glob.glob(str(named), recursive=True):
        path = Path(name)
        found |= _meant(path) if path.is_dir() else {path}
    return found


def _nothing(named: Path) -> Fault:
    folder = named.is_dir()
    return fault_of(
        "no-jobs",
        str(named),
        f"no `{JOB_NAME}` in it or below" if folder else "no file that matches",
        f"a folder that holds jobs called `{JOB_NAME}`" if folder else "a pattern of job files",
        "name the job files, or a pattern such as 'depot/*.toml'" if folder else "name a folder",
    )
