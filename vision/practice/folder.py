"""Which files a scene writes, so that the job file can be copied as it is. Looks, writes nothing.

A drawn picture takes the name that the job gives it; where that is a pattern, a name that the
pattern matches. The copy of the job then names the drawn pictures without a letter changed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from vision.job.job import Job
from vision.job.job_file import named_files
from vision.units.errors import BadInputError, bad_input, fault_of

RESERVED = "truth.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneFolder:
    """Names of files below the folder: each camera's picture, the job file and what it names."""

    pictures: Mapping[str, str]
    texts: tuple[str, ...]
    job_file: str

    @property
    def all_files(self) -> tuple[str, ...]:
        """Every file that is written."""
        return (*self.pictures.values(), *self.texts, self.job_file, RESERVED)


def scene_folder(job: Job, job_file: str, job_text: bytes) -> SceneFolder:
    """Name the files of a scene; BadInputError where two of them would have one name."""
    pictures, faults, taken = {}, [], {}
    texts = named_files(job_text).texts
    for file, owner in ((job_file, "the job file"), (RESERVED, "the truth")):
        taken[Path(file)] = owner
    taken.update({Path(file): "a lens file or a layout" for file in texts})
    for camera in job.cameras:
        # Windows paths are allowed in a job; here a folder is a folder everywhere.
        name = camera.picture.replace("*", "0").replace("?", "0")
        if Path(name) in taken:
            key = f"camera.{camera.name}.picture"
            found = f"{name!r}, also the name of {taken[Path(name)]}"
            expected, step = "a name of its own for every picture", "rename the picture in the job"
            faults.append(fault_of("name-twice", job_file, found, expected, step, key=key))
        taken[Path(name)] = f"camera {camera.name}'s picture"
        pictures[camera.name] = name
    if faults:
        raise BadInputError(faults)
    return SceneFolder(pictures=pictures, texts=texts, job_file=job_file)


def refused(plan: SceneFolder, job_folder: Path, out: Path) -> None:
    """Refuse to write where it would replace anything of the job's own; BadInputError."""
    same = out.resolve() == job_folder.resolve()
    # A link or a folder below may lead back as well.
    same = same or any(
        (out / file).exists()
        and (job_folder / file).exists()
        and (out / file).samefile(job_folder / file)
        for file in plan.all_files
    )
    if same:
        expected = "another folder: drawn pictures would replace the real ones"
        raise bad_input(
            "own-folder",
            str(out),
            "the job's own folder",
            expected,
            "choose a new folder",
            key="--out",
        )
