"""The day's pictures, and the one thread that inspects them.

Requests only keep pictures and say so; what is new is looked at afterwards, the newest state first.
The engine is used by one thread; what it found is handed over whole, as a value.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any

from cli.lot.cards import Cards
from cli.lot.shown import Said, Shown
from cli.trouble import bug
from vision.files.day_folder import DayFolder, Snapshot, newest
from vision.units.errors import BadInputError

if TYPE_CHECKING:
    from vision.inspection.inspected import Inspection
    from vision.inspection.running import JudgedAim, Running
    from vision.job.job import Job
    from vision.marks.picture import Picture

MOST_SAID = 6
JOB_AGAIN_S = 1.0
"""How often it is looked whether somebody has changed the job file."""


@dataclass(slots=True, kw_only=True)
class Day:
    """One job on one day. `tell` is called from any thread whenever there is news."""

    job_file: Path
    folder: DayFolder
    running: Running
    fraction: int = 16
    tell: Callable[[], None] = lambda: None
    shown: Shown = field(default_factory=lambda: Shown(job=""))
    inspection: Inspection | None = None
    _texts: tuple[bytes, dict[str, bytes]] | None = None
    _job: Job | None = None
    _read: dict[str, Picture] = field(default_factory=dict)
    _said: deque[Said] = field(default_factory=lambda: deque(maxlen=MOST_SAID))
    _cards: Cards = field(default_factory=Cards)
    _news: bool = False
    _stamp: tuple[int, int] | None = None
    _lock: Lock = field(default_factory=Lock)

    # --- asked for by requests -------------------------------------------------------------------

    def say(self, text: str, *, good: bool = True) -> None:
        """Put a line at the head of the page."""
        with self._lock:
            self._said.appendleft(Said(text=text, good=good))
            said = tuple(self._said)
        self._show(said=said)

    def cameras(self) -> tuple[str, ...]:
        """The job's cameras."""
        return () if self._job is None else tuple(each.name for each in self._job.cameras)

    def still(self, hash12: str) -> bytes | None:
        """A picture that the page shows, as JPEG."""
        held = self._cards.still(hash12)
        return None if held is None else held.jpeg

    def snapshots(self) -> tuple[Snapshot, ...]:
        """Every picture of the day."""
        return self.folder.snapshots(self.cameras())

    def stir(self) -> None:
        """Say that something is new."""
        self._news = True
        self._show(phase=self.shown.phase or "waiting to be looked at")

    def noted(self, text: str) -> None:
        """Keep a note."""
        self.folder.keep_note(text)
        self._show(note=text)

    def kept(self) -> int | None:
        """Keep the check in the record, as `check --keep` does: its number; None for none."""
        from cli.keeping import as_kept
        from vision.files.record_file import RECORD_NAME, add_to_record

        inspection, result, texts = self.inspection, self.shown.result, self._texts
        if inspection is None or result is None or texts is None or self.shown.to_come:
            return None
        check, _ = as_kept(self.job_file, texts, inspection, result)
        number = add_to_record(self.job_file.parent / RECORD_NAME, check)
        self._show(kept=f"check {number}")
        return number

    # --- the thread that inspects ----------------------------------------------------------------

    async def work(self, stirred: asyncio.Event) -> None:
        """Inspect whenever something is new, until cancelled."""
        while True:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(stirred.wait(), JOB_AGAIN_S)
            if not stirred.is_set() and self._job_stamp() == self._stamp:
                continue
            stirred.clear()
            try:
                await asyncio.to_thread(self.look)
            except BadInputError as error:
                self.say(str(error.faults[0]), good=False)
            except Exception as error:
                # A bug of ours must not end the day: it is said, and pictures are kept as before.
                bug(error)
                self.say("This picture meets a bug in seamtrue; see the terminal", good=False)
            if not stirred.is_set():
                self._show(phase="")

    def look(self) -> None:
        """Read the job and inspect what is there."""
        self._news = False
        if not self._job_is_read() or self._job is None:
            return
        self._sort(self._job)
        names = self.cameras()
        snapshots = self.snapshots()
        current = {n: s for n in names if (s := newest(snapshots, n)) is not None}
        pictures = self._pictures(self._job, current)
        self._cards.begin(self._job, self.folder, snapshots, current)
        self._show(
            note=self.folder.note(),
            unsorted=tuple(
                (s, self._cards.small(self.folder, s)) for s in snapshots if not s.camera
            ),
            cards=self._cards.waiting(pictures),
            # What was found before is no result of these pictures.
            verdict="",
            result=None,
            kept="",
        )
        if not pictures:
            self._show(seams=(), strips=(), steps=(), open_points=(), since_kept=())
            self.inspection = None
            return
        for inspection in self.running.inspections(self._job, pictures, self._phase, self._aimed):
            self.inspection = inspection
            self._show(cards=self._cards.of(inspection, pictures), **self._cards.seams(inspection))
            if self._news:
                return
        self._whole(self.inspection, pictures, current)

    def _aimed(self, aims: Mapping[str, JudgedAim]) -> None:
        self._show(cards=self._cards.aimed(self.shown.cards, aims))

    def _whole(
        self,
        inspection: Inspection | None,
        pictures: dict[str, Picture],
        current: dict[str, Snapshot],
    ) -> None:
        from cli.since import last_kept, since_lines
        from vision.documents.open_points import open_points
        from vision.documents.result import result_of
        from vision.documents.steps import steps
        from vision.files.record_file import RECORD_NAME

        if inspection is None:
            return
        result = result_of(inspection)
        self._cards.keep(self.folder, current)
        whole = len(pictures) == len(inspection.cameras)
        before = last_kept(self.job_file.parent / RECORD_NAME, self.job_file.name)
        self._show(
            cards=self._cards.of(inspection, pictures),
            verdict=result["verdict"] if whole else "",
            result=result if whole else None,
            steps=tuple(steps(inspection)),
            open_points=tuple(open_points(inspection)) if whole else (),
            since_kept=tuple(since_lines(before, result)) if before and whole else (),
        )

    def _job_is_read(self) -> bool:
        """Read the job again; what is wrong with it is said, and the last good one stays."""
        from vision.files.disk import read_job, read_job_texts

        self._stamp = self._job_stamp()
        try:
            texts = read_job_texts(self.job_file)
            if texts != self._texts:
                job, _ = read_job(self.job_file)
                self._texts, self._job = texts, job.to_fraction(self.fraction)
                self._read.clear()
        except BadInputError as error:
            self._show(job_faults=tuple(map(str, error.faults)))
            return False
        self._show(job=self._job.name if self._job else "", job_faults=())
        return True

    def _job_stamp(self) -> tuple[int, int] | None:
        """What tells one state of the job file from another; None where it is gone."""
        try:
            found = self.job_file.stat()
        except OSError:
            return None
        return found.st_mtime_ns, found.st_size

    def _pictures(self, job: Job, current: dict[str, Snapshot]) -> dict[str, Picture]:
        """The pictures of the day that count, each read once."""
        from vision.files.disk import lens_size_faults, read_picture

        read = {}
        for camera in job.cameras:
            snapshot = current.get(camera.name)
            if snapshot is None:
                continue
            held = self._read.get(snapshot.file)
            try:
                picture = held or read_picture(
                    self.folder.path, snapshot.file, camera.name, mirrored=camera.mirrored
                )
            except BadInputError as error:
                self.say(f"{camera.name}: {error.faults[0]}", good=False)
                continue
            for fault in lens_size_faults(job, [picture], snapshot.file):
                self.say(str(fault), good=False)
                break
            else:
                read[snapshot.file] = picture
        self._read = read
        return {picture.name: picture for picture in read.values()}

    def _sort(self, job: Job) -> None:
        """Give pictures without a camera to the one that they show, as far as that can be told."""
        from vision.files.disk import read_picture

        for snapshot in self.snapshots():
            if snapshot.camera is not None or self._cards.asked(snapshot):
                continue
            self._phase("looking whose picture it is")
            try:
                picture = read_picture(self.folder.path, snapshot.file, "unsorted")
                camera = self.running.whose(job, picture)
                if camera is None:
                    self._cards.ask(snapshot)
                    continue
                self.folder.give(snapshot, camera)
            except BadInputError as error:
                self.say(str(error.faults[0]), good=False)
                self._cards.ask(snapshot)
                continue
            self.say(f"A picture without a camera's name shows the {camera} camera's view")

    def _phase(self, step: str) -> None:
        self._show(phase=step)

    def _show(self, **news: Any) -> None:
        with self._lock:
            self.shown = replace(self.shown, **news)
        self.tell()
