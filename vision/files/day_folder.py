"""The pictures of one day, kept beside a job under names of ours: added, never overwritten.

A picture is `CAMERA-NUMBER-HASH.ENDING`: the number counts arrivals, the hash begins that of its
bytes. It is whole from the moment it has that name. Taking one back leaves it where it is, with an
empty file beside it that says so; beside it stands also what was found in it, for a later start.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from threading import Lock
from typing import Any

from vision.files.disk import sync_folder, write_all
from vision.marks.exif import HEAD_BYTES, noted_in
from vision.units.errors import BadInputError, bad_input

LOT_FOLDER = "seamtrue-lot"
UNSORTED = "unsorted"
BACK, FOUND, NOTE = ".back", ".found.json", "note.txt"
_NAME = re.compile(r"([a-z0-9_]+)-(\d{4,})-([0-9a-f]{12})\.([a-z0-9]{1,5})")


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """One picture of the day: `camera` is None where nobody has said whose it is.

    `taken` by the camera's own clock, None where it notes none; `back` where it was taken back.
    """

    number: int
    camera: str | None
    file: str
    taken: datetime | None = None
    back: bool = False

    @property
    def hash12(self) -> str:
        """The first twelve digits of its SHA-256."""
        found = _NAME.fullmatch(self.file)
        return found[3] if found else ""


@dataclass(slots=True, kw_only=True)
class DayFolder:
    """One day's folder. May be used from several threads; by one process at a time."""

    path: Path
    _taken: dict[str, datetime | None] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    @classmethod
    def today(cls, job_file: Path) -> DayFolder:
        """The folder of today beside a job; it is made when the first picture comes."""
        day = f"{datetime.now():%Y-%m-%d}"
        return cls(path=job_file.parent / LOT_FOLDER / day)

    def snapshots(self, cameras: Sequence[str]) -> tuple[Snapshot, ...]:
        """Every picture of the day in the order of arrival, those of other cameras left out."""
        owners: dict[str, str | None] = {plain_name(each): each for each in cameras}
        owners[UNSORTED] = None
        names = sorted(os.listdir(self.path)) if self.path.is_dir() else []
        found = [(match, name) for name in names if (match := _NAME.fullmatch(name))]
        # Whoever was stopped while a picture was given to its camera left both names of it.
        given = {match[3] for match, _ in found if match[1] != UNSORTED}
        return tuple(
            Snapshot(
                number=int(match[2]),
                camera=owners[match[1]],
                file=name,
                taken=self._noted(name),
                back=name + BACK in names,
            )
            for match, name in sorted(found, key=lambda each: int(each[0][2]))
            if match[1] in owners and not (match[1] == UNSORTED and match[3] in given)
        )

    def tidy(self) -> None:
        """Remove what an interrupted writer left: no picture has come in under such a name."""
        for name in os.listdir(self.path) if self.path.is_dir() else []:
            if name.startswith(".") and name.endswith(".part"):
                with contextlib.suppress(OSError):
                    os.unlink(self.path / name)

    def add(self, data: bytes, ending: str, camera: str | None) -> Snapshot:
        """Keep a picture; when this returns it is on the disk. BadInputError where it cannot be."""
        digest = hashlib.sha256(data).hexdigest()[:12]
        with self._lock, self._writing():
            self.path.mkdir(parents=True, exist_ok=True)
            return self._named(camera, digest, ending, self._written(data))

    def give(self, snapshot: Snapshot, camera: str) -> Snapshot:
        """Say whose an unsorted picture is: it comes in as that camera's next."""
        with self._lock, self._writing():
            ending = snapshot.file.rpartition(".")[2]
            given = self._named(camera, snapshot.hash12, ending, self.path / snapshot.file)
            return given

    def take_back(self, snapshot: Snapshot, *, back: bool = True) -> None:
        """Take a picture back, or bring it back in."""
        with self._lock, self._writing():
            marker = self.path / (snapshot.file + BACK)
            if back:
                marker.touch()
            else:
                marker.unlink(missing_ok=True)

    def note(self) -> str:
        """What somebody wrote down today."""
        with contextlib.suppress(OSError, UnicodeDecodeError):
            return (self.path / NOTE).read_text("utf-8")
        return ""

    def keep_note(self, text: str) -> None:
        """Write it down."""
        write_all(self.path, {NOTE: text})

    def found(self, snapshot: Snapshot) -> dict[str, Any] | None:
        """What was found in a picture, as a camera's entry of a result; None for nothing yet."""
        with contextlib.suppress(OSError, ValueError):
            entry = json.loads((self.path / (snapshot.file + FOUND)).read_bytes())
            return entry if isinstance(entry, dict) else None
        return None

    def keep_found(self, snapshot: Snapshot, entry: Mapping[str, Any]) -> None:
        """Keep it."""
        write_all(self.path, {snapshot.file + FOUND: json.dumps(entry)})

    def _named(self, camera: str | None, digest: str, ending: str, whole: Path) -> Snapshot:
        """Give a whole file the next name of a camera."""
        owner = UNSORTED if camera is None else plain_name(camera)
        numbers = [int(m[2]) for name in os.listdir(self.path) if (m := _NAME.fullmatch(name))]
        number = max(numbers, default=0) + 1
        name = f"{owner}-{number:04d}-{digest}.{ending}"
        _moved(whole, self.path / name)
        sync_folder(self.path)
        return Snapshot(number=number, camera=camera, file=name, taken=self._noted(name))

    def _written(self, data: bytes) -> Path:
        handle, name = tempfile.mkstemp(dir=self.path, prefix=".", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(name)
            raise
        return Path(name)

    def _noted(self, name: str) -> datetime | None:
        if name not in self._taken:
            taken = None
            with contextlib.suppress(OSError), (self.path / name).open("rb") as stream:
                taken = noted_in(stream.read(HEAD_BYTES)).taken
            self._taken[name] = taken
        return self._taken[name]

    @contextlib.contextmanager
    def _writing(self) -> Any:
        try:
            yield
        except OSError as error:
            full = error.errno in (errno.ENOSPC, errno.EDQUOT)
            found = "a full disk" if full else f"a folder that takes nothing ({error.strerror})"
            step = "make room on it, and send the picture again" if full else "see its permissions"
            raise _unkept(self.path, found, step) from None


def newest(snapshots: Sequence[Snapshot], camera: str) -> Snapshot | None:
    """The picture of a camera that counts: the last taken where each notes when, else to arrive."""
    own = [each for each in snapshots if each.camera == camera and not each.back]
    if any(each.taken is None for each in own):
        return max(own, key=lambda each: each.number, default=None)
    return max(own, key=lambda each: (each.taken or datetime.min, each.number), default=None)


def plain_name(camera: str) -> str:
    """A camera's name as a file's may begin on every system; never `unsorted`."""
    if re.fullmatch(r"[a-z0-9_]{1,40}", camera) and camera != UNSORTED:
        return camera
    return f"camera_{hashlib.sha256(camera.encode()).hexdigest()[:12]}"


def _moved(whole: Path, to: Path) -> None:
    """Rename a file where nothing has the new name yet."""
    try:
        os.link(whole, to)
    except FileExistsError:
        raise
    except OSError as error:
        if error.errno not in (errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS):
            raise
        # A disk without links. Names are given under a lock, so nobody else takes this one.
        os.rename(whole, to)
        return
    os.unlink(whole)


def _unkept(folder: Path, found: str, step: str) -> BadInputError:
    return bad_input("folder-not-made", folder.name, found, "a folder that can be written to", step)
