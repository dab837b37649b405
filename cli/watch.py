"""`seamtrue watch`: each new snapshot rewrites its camera's line, while somebody turns cameras."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cli.options import Debug, Fraction, JobFile
from cli.printing import say
from cli.trouble import NOT_JUDGED, reported
from cli.watch_lines import LOOKING, Lines, lines_on

if TYPE_CHECKING:
    from vision.files.snapshots import SnapshotFolder, Snapshots
    from vision.inspection.inspected import Inspection
    from vision.inspection.running import JudgedAim, Running

STEP_MS, DEBOUNCE_MS, LOOK_AGAIN_MS = 20, 100, 250
"""How long nothing may happen before what happened is told, at most; and an unfinished file's."""


def watch(
    job_file: JobFile,
    until_keep: bool = False,
    fraction: Fraction = 16,
    debug: Debug = False,
) -> None:
    """Watch the job's pictures, and say of each new one what is left to turn and what changed.

    Cameras without a picture are waited for. Stop it with Ctrl-C. Exit code: as of `check`, for
    the last verdict.
    """
    import typer

    with reported(debug):
        from cli.report_files import exit_code
        from vision.files.snapshots import SnapshotFolder
        from vision.inspection.running import Running

        folder, verdict = SnapshotFolder(job_file=job_file), None
        folder.read()
        with lines_on() as lines:
            following = Following(folder=folder, running=Running(), fraction=fraction)
            try:
                for verdict in following.verdicts(stirrings(job_file, following), lines):
                    if until_keep and verdict == "keep":
                        break
            except KeyboardInterrupt:
                pass
        say(f"verdict: {verdict or 'none, for want of pictures'}")
        raise typer.Exit(NOT_JUDGED if verdict is None else exit_code(verdict))


@dataclass(slots=True, kw_only=True)
class Following:
    """What is known of each camera: its entry of the result now, and of the picture before."""

    folder: SnapshotFolder
    running: Running
    fraction: int
    unfinished: bool = False
    _now: dict[str, dict[str, Any]] = field(default_factory=dict)
    _before: dict[str, dict[str, Any]] = field(default_factory=dict)
    _seen: object = None

    def verdicts(self, stirring: Iterable[object], lines: Lines) -> Iterator[str | None]:
        """The job's verdict after every new picture; None as long as a camera has none."""
        from vision.units.errors import BadInputError

        for _ in stirring:
            try:
                there = self.folder.read()
            except BadInputError as error:
                self._seen = None
                lines.trouble(*map(str, error.faults))
                continue
            self.unfinished = bool(there.unfinished)
            yield from self._inspected(there, lines)

    def _inspected(self, there: Snapshots, lines: Lines) -> Iterator[str | None]:
        from vision.documents.progress import left_of
        from vision.job.job import Job

        faults = [
            str(fault)
            for camera, found in there.faults.items()
            if camera not in there.unfinished
            for fault in found
        ]
        job: Job = there.job.to_fraction(self.fraction)
        stamps = {name: picture.sha256 for name, picture in there.pictures.items()}
        state = (there.job_texts, stamps, faults)
        if state == self._seen:
            return
        self._seen = state
        lines.begin([camera.name for camera in job.cameras], faults)
        if not there.pictures:
            return
        inspection = None
        new = {
            name
            for name, picture in there.pictures.items()
            if name not in self._now or self._now[name]["picture"]["sha256"] != picture.sha256
        }

        def aimed(aims: Mapping[str, JudgedAim]) -> None:
            for name in new & aims.keys():
                lines.camera(name, LOOKING, left_of(aims[name]), "")

        for inspection in self.running.inspections(job, there.pictures, lines.busy, aimed):
            self._show(inspection, there, lines)
        whole = len(there.pictures) == len(job.cameras)
        verdict = inspection.verdict if inspection and whole else None
        lines.done(verdict, len(job.cameras) - len(there.pictures))
        yield verdict

    def _show(self, inspection: Inspection, there: Snapshots, lines: Lines) -> None:
        from vision.documents.progress import camera_entry, changed_text, left_text

        for found in inspection.cameras:
            name = found.camera.name
            if name not in there.pictures:
                continue
            entry = camera_entry(found, inspection.job.lengths)
            held = self._now.get(name)
            if held is not None and held["picture"]["sha256"] != entry["picture"]["sha256"]:
                self._before[name] = held
            self._now[name] = entry
            before = self._before.get(name)
            changed = "" if before is None else changed_text(before, entry)
            lines.camera(name, entry["verdict"], left_text(entry), changed)


def stirrings(job_file: Path, following: Following) -> Iterator[object]:
    """Once at the start, then whenever something may have come to the job's folders."""
    import watchfiles

    from vision.files.snapshots import watched
    from vision.job.picture_names import is_picture_name
    from vision.units.errors import BadInputError

    while True:
        try:
            folders, named = watched(job_file)
        except BadInputError:
            folders, named = {job_file.parent}, None
        texts = {job_file.name, *(Path(text).name for text in (named.texts if named else ()))}
        names = texts | {Path(each).name for each in (named.picture_names if named else ())}
        fresh = True
        for changes in watchfiles.watch(
            *folders,
            watch_filter=None,
            step=STEP_MS,
            debounce=DEBOUNCE_MS,
            rust_timeout=LOOK_AGAIN_MS,
            yield_on_timeout=True,
            recursive=False,
        ):
            came = {Path(path).name for _, path in changes}
            # What came before the folders were watched is told with the first answer.
            if fresh or following.unfinished or any(n in names or is_picture_name(n) for n in came):
                yield came
            fresh = False
            if came & texts:
                # It may name other folders now.
                break
