"""An inspection that goes on all day: pictures come one after the other, and answers at once.

The steps are those of `inspect`; what they gave is remembered by the content of what they were
given, so that a new picture costs its own looking and what rests on all of them. Every answer is
therefore the one that a single inspection of the same job and pictures would give.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from vision.adjustment.adjusted import Adjustment
from vision.identification.identified import Identified
from vision.identification.odds import log10_odds
from vision.identification.settings import SETTINGS as NAMING
from vision.inspection.finding import looked_at, placed, with_textures
from vision.inspection.inspected import Inspection
from vision.inspection.judging import judged
from vision.inspection.memory import Memory
from vision.inspection.verdict.cameras import aim_judgements
from vision.inspection.verdict.common_turn import common_turn
from vision.inspection.verdict.rule import Judgement
from vision.inspection.whatif.asked import what_if
from vision.job.job import Camera, Job
from vision.marks.picture import Picture
from vision.marks.rows import steadied
from vision.units.arrays import Array
from vision.units.progress import Progress, silent


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JudgedAim:
    """How a camera looks minus how it was meant to: pan, tilt, roll (3,), sigmas, judgements."""

    off_rad: Array
    sigma_rad: Array
    words: tuple[Judgement, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Running:
    """Inspects a job again and again. For one thread at a time."""

    _memory: Memory = field(default_factory=Memory)

    def inspections(
        self,
        job: Job,
        pictures: Mapping[str, Picture],
        progress: Progress = silent,
        aimed: Callable[[Mapping[str, JudgedAim]], None] = lambda aims: None,
    ) -> Iterator[Inspection]:
        """Every verdict as soon as it is known, then all that `inspect` gives.

        `aimed` is told before that how each camera looks. `pictures` by their cameras' names: one
        that is not there is no fault, its camera is not judged (`no-picture`). Only the first
        inspection of the two lacks what the ground's texture says and what turns and loads do.
        """
        self._memory.next_inspection()
        stills = [pictures.get(each.name) or nothing_yet(each, pictures) for each in job.cameras]
        absent = frozenset(c.name for c in job.cameras if c.name not in pictures)

        def known(shaped: Job, adjustment: Adjustment) -> None:
            aimed(_aims(shaped, adjustment))

        found = placed(job, stills, progress, self._memory, absent, known)
        progress("judging")
        yield judged(found)
        progress("comparing the ground at the seams")
        inspection = judged(with_textures(found))
        progress("looking what turns and loads would do")
        yield replace(inspection, what_if=what_if(inspection))

    def whose(self, job: Job, picture: Picture) -> str | None:
        """The camera whose marks a picture shows much better than any other's; None for none.

        On a layout that is the same on two sides nobody can tell.
        """
        nats: dict[str, float] = {}
        for camera in job.cameras:
            seen = picture.mirrored == camera.mirrored
            own = picture if seen else replace(picture, bgr=picture.bgr[:, ::-1])
            still = self._memory(steadied, replace(own, name=camera.name, mirrored=camera.mirrored))
            outcome = self._memory(looked_at, job, camera, still.seen, still.rows)
            if isinstance(outcome, Identified):
                nats[camera.name] = outcome.nats
        *others, first = sorted(nats.values()) or [0.0]
        if log10_odds(first, others) < NAMING.odds.least_log10_odds:
            return None
        return max(nats, key=lambda name: nats[name])


def _aims(job: Job, adjustment: Adjustment) -> dict[str, JudgedAim]:
    """How each camera looks that has a fit."""
    common = common_turn(job, adjustment)
    names = {each.name for each in adjustment.cameras}
    found = {}
    for camera in job.cameras:
        if camera.name in names:
            adjusted = adjustment.camera(camera.name)
            off, sigma, words = aim_judgements(camera, adjusted, job.tolerances, common)
            found[camera.name] = JudgedAim(off_rad=off, sigma_rad=sigma, words=words)
    return found


def nothing_yet(camera: Camera, others: Mapping[str, Picture]) -> Picture:
    """Stands for a picture that is not there: black, of the size of one that is."""
    height, width = next((each.bgr.shape[:2] for each in others.values()), (720, 1280))
    return Picture(
        name=camera.name,
        file="",
        sha256=f"no picture of {camera.name}",
        mirrored=camera.mirrored,
        bgr=np.zeros((height, width, 3), dtype=np.uint8),
    )
