"""From what was found to what each camera's card shows, with what was found in pictures before."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from cli.lot.shown import Aim, Card, Still
from vision.camera.geometry import ANGLES
from vision.documents.progress import angles_left, angles_of, camera_entry, changed_text
from vision.documents.report.pictures import turned
from vision.documents.target_picture import target
from vision.inspection.inspected import InspectedCamera
from vision.inspection.running import nothing_yet
from vision.marks.picture import encoded

if TYPE_CHECKING:
    from vision.files.day_folder import DayFolder, Snapshot
    from vision.inspection.inspected import Inspection
    from vision.inspection.running import JudgedAim
    from vision.job.job import Job
    from vision.marks.picture import Picture, Pixels

SHOWN_PX, SMALL_PX, QUALITY = 960, 320, 78
MOST_TRAIL, MOST_STILLS = 12, 12

Entry = dict[str, Any]


@dataclass(slots=True, kw_only=True)
class Cards:
    """Makes cards. `begin` says of what; entries of earlier pictures come from the day's folder."""

    _job: Job | None = None
    _current: Mapping[str, Snapshot] = field(default_factory=dict)
    _tries: dict[str, tuple[Snapshot, ...]] = field(default_factory=dict)
    _back: Counter[str | None] = field(default_factory=Counter)
    _before: dict[str, tuple[Entry, ...]] = field(default_factory=dict)
    _now: dict[str, Entry] = field(default_factory=dict)
    _stills: dict[str, Still] = field(default_factory=dict)
    _made: dict[str, Card] = field(default_factory=dict)
    _asked: set[str] = field(default_factory=set)

    def begin(
        self,
        job: Job,
        folder: DayFolder,
        snapshots: Sequence[Snapshot],
        current: Mapping[str, Snapshot],
    ) -> None:
        """Take in which pictures there are, and what was found in those before."""
        self._job, self._current = job, current
        self._back = Counter(each.camera for each in snapshots if each.back)
        self._now = {n: e for n, e in self._now.items() if n in current}
        for name, last in current.items():
            own = tuple(s for s in snapshots if s.camera == name and not s.back)
            entries = (folder.found(each) for each in own if each is not last)
            self._tries[name] = own
            self._before[name] = tuple(e for e in entries if e is not None)[-MOST_TRAIL:]
        # A page elsewhere may still ask for a picture that was just replaced.
        kept = {s.hash12 for s in (*snapshots[-MOST_STILLS:], *current.values())}
        kept |= {s.hash12 for s in snapshots if not s.camera}
        self._stills = {h: still for h, still in self._stills.items() if h in kept}

    def waiting(self, pictures: Mapping[str, Picture]) -> tuple[Card, ...]:
        """The cards before anything is looked at: of an unchanged picture what was known."""
        assert self._job is not None
        cards = []
        for number, camera in enumerate(self._job.cameras):
            picture = pictures.get(camera.name)
            held = self._made.get(camera.name)
            if held and held.still and picture and picture.sha256.startswith(held.still.hash12):
                cards.append(held)
                continue
            still = picture or nothing_yet(camera, pictures)
            found = InspectedCamera(camera=camera, picture=still, verdict="not-judged")
            card = Card(
                name=camera.name,
                number=number,
                # Where marks should stand does not depend on where the camera looks now.
                target=held.target if picture and held else target(self._job, found),
                size=(still.width, still.height),
                still=None if picture is None else self._still(camera.name, picture),
                tries=len(self._tries.get(camera.name, ())),
                taken_back=self._back[camera.name],
            )
            cards.append(card)
        return tuple(cards)

    def aimed(self, cards: tuple[Card, ...], aims: Mapping[str, JudgedAim]) -> tuple[Card, ...]:
        """The cards, those that are being looked at with how their camera looks."""
        return tuple(
            replace(card, left=angles_of(aims[card.name]), limits_deg=self._limits())
            if card.still and not card.verdict and card.name in aims
            else card
            for card in cards
        )

    def of(self, inspection: Inspection, pictures: Mapping[str, Picture]) -> tuple[Card, ...]:
        """The cards of what was found."""
        cards = []
        for number, found in enumerate(inspection.cameras):
            name = found.camera.name
            picture = pictures.get(name)
            if picture is None:
                where = target(inspection.job, found)
                size = (found.picture.width, found.picture.height)
                back = self._back[name]
                card = Card(name=name, number=number, target=where, size=size, taken_back=back)
                cards.append(card)
                continue
            self._now[name] = camera_entry(found, inspection.job.lengths)
            self._made[name] = self._judged(number, self._now[name], found, picture)
            cards.append(self._made[name])
        return tuple(cards)

    def seams(self, inspection: Inspection) -> dict[str, tuple[dict[str, Any], ...]]:
        """Seams and strips by their names, with verdicts and worst figures."""
        write = inspection.job.lengths
        seams = [
            {
                "name": " – ".join(each.between),  # noqa: RUF001
                "verdict": each.verdict,
                "figure": ""
                if each.gap is None or each.gap.worst_gap_m is None
                else write.cm(float(np.hypot(*each.gap.worst_gap_m))),
            }
            for each in inspection.seams
        ]
        strips = [
            {"name": each.name, "verdict": each.verdict}
            for each in (*inspection.strips, *inspection.raised_marks)
        ]
        return {"seams": tuple(seams), "strips": tuple(strips)}

    def keep(self, folder: DayFolder, current: Mapping[str, Snapshot]) -> None:
        """Keep beside each picture what was found in it, for the trail and for a later start."""
        for name, snapshot in current.items():
            entry = self._now.get(name)
            if entry is not None and entry["picture"]["sha256"].startswith(snapshot.hash12):
                lean = {key: entry[key] for key in _KEPT if key in entry}
                if folder.found(snapshot) != lean:
                    folder.keep_found(snapshot, lean)

    def asked(self, snapshot: Snapshot) -> bool:
        """Whether somebody is to say whose a picture is."""
        return snapshot.file in self._asked

    def ask(self, snapshot: Snapshot) -> None:
        """Have somebody say it."""
        self._asked.add(snapshot.file)

    def small(self, folder: DayFolder, snapshot: Snapshot) -> Still | None:
        """A small picture of one that nobody has sorted yet."""
        from vision.files.disk import read_picture
        from vision.units.errors import BadInputError

        if snapshot.hash12 not in self._stills:
            try:
                picture = read_picture(folder.path, snapshot.file, "unsorted")
            except BadInputError:
                return None
            self._stills[snapshot.hash12] = _still(snapshot.hash12, picture.bgr, SMALL_PX)
        return self._stills[snapshot.hash12]

    def still(self, hash12: str) -> Still | None:
        """A picture that the page shows."""
        return self._stills.get(hash12)

    def _judged(self, number: int, entry: Entry, found: InspectedCamera, picture: Picture) -> Card:
        assert self._job is not None
        name, before = entry["name"], self._before.get(entry["name"], ())
        trail = [aim for each in (*before, entry) if (aim := _off(each)) is not None]
        return Card(
            name=name,
            number=number,
            verdict=entry["verdict"],
            reasons=tuple(reason["text"] for reason in entry["reasons"]),
            actions=tuple(action["text"] for action in entry["actions"]),
            left=angles_left(entry),
            limits_deg=self._limits(),
            trail=tuple(trail),
            changed=changed_text(before[-1], entry) if before else "",
            since_morning=changed_text(before[0], entry) if len(before) > 1 else "",
            size=(picture.width, picture.height),
            still=self._still(name, picture),
            tries=len(self._tries.get(name, ())),
            taken_back=self._back[name],
            older=self._is_older(name),
            target=target(self._job, found),
        )

    def _limits(self) -> dict[str, float]:
        """What the job allows of each angle, in degrees."""
        assert self._job is not None
        allowed = self._job.tolerances
        limits = np.degrees([allowed.aim_rad, allowed.aim_rad, allowed.roll_rad])
        return dict(zip(ANGLES, map(float, limits), strict=True))

    def _is_older(self, name: str) -> bool:
        """Whether a picture came later than the one that counts, but was taken before it."""
        own = self._tries.get(name, ())
        return any(each.number > self._current[name].number for each in own)

    def _still(self, name: str, picture: Picture) -> Still:
        hash12 = self._current[name].hash12
        if hash12 not in self._stills:
            delivered = turned(picture.bgr, picture.mirrored)
            self._stills[hash12] = _still(hash12, delivered, SHOWN_PX)
        return self._stills[hash12]


_KEPT = ("name", "verdict", "reasons", "actions", "intended_aim_deg", "joint", "picture")


def _still(hash12: str, bgr: Pixels, most_px: int) -> Still:
    import cv2

    height, width = bgr.shape[:2]
    if width > most_px:
        size = (most_px, max(1, round(height * most_px / width)))
        bgr = np.asarray(cv2.resize(bgr, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    jpeg = encoded(np.ascontiguousarray(bgr), ".jpg", QUALITY)
    return Still(hash12=hash12, width=bgr.shape[1], height=bgr.shape[0], jpeg=jpeg)


def _off(entry: Entry) -> Aim | None:
    """How far the three angles are off; None where they are not known."""
    angles = angles_left(entry)
    if len(angles) < len(ANGLES):
        return None
    pan, tilt, roll = (each.off_deg for each in angles)
    return pan, tilt, roll
