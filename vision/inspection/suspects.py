"""The job as a suspect: which one entry, were it another, would explain the pictures much better.

Looked for only where something is wrong: a camera that is not identified in a usable picture, or
finds few of its marks, or looks far from where it should. Every edit of the job is first held
against the picture by the score of the search alone; the few that promise more are then looked at
like the job itself: marks named and measured, all cameras adjusted together, and compared.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from vision.adjustment.adjusted import Adjustment
from vision.camera.lens import Lens
from vision.camera.lens_prior import lens_prior
from vision.camera.solver import NoFit
from vision.identification.even_rows import in_rows
from vision.identification.identified import Identified, NotIdentified
from vision.identification.inputs import PreparedPicture, prepared
from vision.identification.mixups import NOTHING_TO_SEE
from vision.identification.poses import searched
from vision.identification.settings import SETTINGS as NAMING
from vision.inspection.settings import SETTINGS
from vision.job.entries import Edit, camera_edits, exchanged_strips, lens_edits, strip_edits
from vision.job.job import Camera, Job
from vision.job.layout import planned_layout
from vision.marks.picture import Picture
from vision.units.reason import Reason
from vision.units.recall import Recall, afresh

TUNED = SETTINGS.entries
ONE_MARK = NAMING.odds.lead_worth * NAMING.odds.most_nats / math.log(10)
"""Decades that one mark is worth at the most."""

Outcome = Identified | NotIdentified
Outcomes = Mapping[str, Outcome]
LookAs = Callable[[Job, Camera, np.ndarray], Outcome]
"""Identify a camera's marks in a grey picture as one job has them."""
AdjustAs = Callable[[Job, Outcomes], Adjustment | NoFit]
Cost = Callable[[Adjustment | NoFit], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspicion:
    """Entries of which one is wrong, by what odds (decades), and what rests on them."""

    entries: tuple[Reason, ...]
    log10_odds: float
    cameras: frozenset[str]
    strips: frozenset[str]

    @property
    def warning(self) -> Reason:
        """What a person should know of it."""
        if len(self.entries) > 1:
            return Reason("entry-one-of", entries=self.entries, log10_odds=self.log10_odds)
        return Reason("entry-wrong", entry=self.entries[0], log10_odds=self.log10_odds)

    @property
    def why(self) -> Reason:
        """Why what rests on it is not judged."""
        return Reason("rests-on-entry", entries=self.entries)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Explained:
    """An edit with how much it explains, and the cameras that it makes look otherwise."""

    edit: Edit
    decades: float
    cameras: frozenset[str]
    outcomes: Outcomes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Suspects:
    """Looks for wrong entries of one job in its pictures.

    `cost` is what an adjustment leaves over, with a price for all that had to be given up.
    """

    job: Job
    pictures: Mapping[str, Picture]
    look: LookAs
    adjust: AdjustAs
    cost: Cost
    recall: Recall = afresh

    def suspicions(self, outcomes: Outcomes) -> tuple[Suspicion, ...]:
        """Each wrong entry that the pictures speak for; none where nothing is wrong."""
        found: list[Suspicion] = []
        base: float | None = None
        for camera in self.job.cameras:
            if not is_suspect(camera, outcomes[camera.name]):
                continue
            if any(camera.name in each.cameras for each in found):
                continue
            finalists = self.recall(
                _promising, self.job, camera, self.pictures[camera.name], outcomes[camera.name]
            )
            if not finalists:
                continue
            if base is None:
                base = self._explanation(self.job, outcomes)
            tried = [self._explained(edit, camera, outcomes) for edit in finalists]
            suspicion = _decided(self.job, [each for each in tried if each], base, outcomes)
            found += [suspicion] if suspicion else []
        return tuple(found)

    def _explained(self, edit: Edit, camera: Camera, outcomes: Outcomes) -> _Explained | None:
        """What becomes of all cameras that an edit concerns; None where it names nothing."""
        new = dict(outcomes)
        concerned = [camera.name, *(n for n in _concerned(self.job, edit, outcomes))]
        for name in dict.fromkeys(concerned):
            if isinstance(outcomes[name], NotIdentified) and not is_suspect(
                self.job.camera(name), outcomes[name]
            ):
                continue
            grey = _grey(self.pictures[name], turned_over=edit.turned_over)
            new[name] = self.look(edit.job, edit.job.camera(name), grey)
            if _is_worse(new[name], outcomes[name], named=name == camera.name):
                return None
        return _Explained(
            edit=_as_fitted(edit, new[camera.name]),
            decades=self._explanation(edit.job, new) - TUNED.decades_rare * edit.rare,
            cameras=frozenset(concerned),
            outcomes=new,
        )

    def _explanation(self, job: Job, outcomes: Outcomes) -> float:
        """How much a job explains of its pictures, in decades of odds.

        What each picture's marks add up to, named or not, and what the joint adjustment leaves over
        beyond its degrees of freedom.
        """
        decades = sum(
            decades_explained(out)
            for out in outcomes.values()
            if not (isinstance(out, NotIdentified) and out.code in NOTHING_TO_SEE)
        )
        joint = self.adjust(job, outcomes)
        if isinstance(joint, NoFit):
            return decades
        over = max(self.cost(joint) - joint.degrees_of_freedom, 0.0)
        return decades - min(float(over) / (2 * math.log(10)), TUNED.most_decades_misfit)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Scores:
    """How well the search likes one camera's picture under one job after the other."""

    name: str
    picture: Picture
    _prepared: dict[bool, PreparedPicture] = field(default_factory=dict)

    def of(self, job: Job, *, turned_over: bool = False) -> float:
        """Score of the search in marks: found minus missing."""
        picture, camera = self.picture, job.camera(self.name)
        prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
        prior, grey = in_rows(prior, _grey(picture, turned_over=turned_over), picture.rows)
        if turned_over not in self._prepared:
            self._prepared[turned_over] = PreparedPicture.of(grey)
        given = prepared(job, planned_layout(job), camera, prior, self._prepared[turned_over])
        found = None if isinstance(given, Reason) else searched(given, NAMING.screened_scales)
        return 0.0 if found is None else float(found.scores[0])


def _grey(picture: Picture, *, turned_over: bool) -> np.ndarray:
    return np.ascontiguousarray(picture.seen[:, ::-1]) if turned_over else picture.seen


def _promising(job: Job, camera: Camera, picture: Picture, outcome: Outcome) -> list[Edit]:
    """The edits that the search in one camera's picture likes clearly better than the job.

    What lies on the ground is looked at only where nothing of the camera itself explains it,
    and where marks are missed.
    """
    ways = [_edits_of_camera(job, camera)]
    if isinstance(outcome, NotIdentified) or _misses_many(outcome):
        ways.append(_edits_of_strips(job))
    scores = _Scores(name=camera.name, picture=picture)
    stated = scores.of(job)
    least = max(stated * TUNED.times_promise, stated + TUNED.least_promise, TUNED.least_marks)
    for edits in ways:
        best: dict[str, tuple[float, Edit]] = {}
        for edit in edits:
            score = scores.of(edit.job, turned_over=edit.turned_over)
            if score > best.get(edit.key, (least, edit))[0]:
                best[edit.key] = score, edit
        if best:
            ranked = sorted(best.values(), key=lambda pair: -pair[0])
            good = [e for score, e in ranked if score > TUNED.rival_promise * ranked[0][0]]
            return good[: TUNED.most_finalists]
    return []


def is_suspect(camera: Camera, outcome: Outcome) -> bool:
    """Whether what was found of a camera gives cause to doubt the job."""
    if isinstance(outcome, NotIdentified):
        return outcome.code not in NOTHING_TO_SEE
    turn_rad = float(np.abs(outcome.fit.pose.aim.minus(camera.aim)).max())
    return _misses_many(outcome) or turn_rad > TUNED.turn_rad


def _misses_many(outcome: Identified) -> bool:
    """Whether much speaks against it: bare ground where marks are due, not things in the way."""
    return outcome.contradicted > NAMING.poor_contradicted


def decades_explained(outcome: Outcome) -> float:
    """What a picture's marks add up to, in decades of odds: 0 where they speak against a naming."""
    return max(NAMING.odds.lead_worth * outcome.nats, 0.0) / math.log(10)


def _is_worse(new: Outcome, old: Outcome, *, named: bool) -> bool:
    """Whether an edit explains less of one picture than the job does, or as little of the suspect.

    What is wrong with the job is wrong for every camera: none finds less when it is put right.
    """
    if isinstance(new, NotIdentified):
        return named or isinstance(old, Identified)
    return (
        isinstance(old, Identified) and decades_explained(new) < decades_explained(old) - ONE_MARK
    )


def _count(outcome: Identified, status: str) -> int:
    return sum(sighting.status == status for sighting in outcome.sightings)


def _edits_of_camera(job: Job, camera: Camera) -> Iterator[Edit]:
    yield from camera_edits(job, camera)
    yield from lens_edits(job, job.lens_of(camera))


def _edits_of_strips(job: Job) -> Iterator[Edit]:
    for strip in job.strips:
        yield from strip_edits(job, strip)
    yield from exchanged_strips(job)


def _concerned(job: Job, edit: Edit, outcomes: Outcomes) -> Iterable[str]:
    """The cameras whose marks an edit moves."""
    section, name = _table(edit.key)
    if section == "camera":
        return [name]
    if section == "lens":
        return [camera.name for camera in job.cameras if camera.lens == name]
    strips = moved_strips(edit)
    return [
        camera
        for camera, out in outcomes.items()
        if isinstance(out, NotIdentified)
        or any(s.status in ("used", "rejected") and s.id.name in strips for s in out.sightings)
    ]


def moved_strips(edit: Edit) -> frozenset[str]:
    """The strips that an edit moves."""
    keys = (edit.key, str(edit.entry.arguments.get("other", "")))
    return frozenset(_table(key)[1] for key in keys if key.startswith("strip."))


def _table(key: str) -> tuple[str, str]:
    """Section and name of a key's table; a name may hold dots."""
    section, _, rest = key.partition(".")
    return section, rest.rpartition(".")[0]


def _decided(
    job: Job, tried: list[_Explained], base: float, outcomes: Outcomes
) -> Suspicion | None:
    """The edit that explains clearly more than the job, or those between which nobody can tell."""
    tried.sort(key=lambda each: -each.decades)
    if not tried or tried[0].decades < base + TUNED.least_decades:
        return None
    best = tried[0]
    if best.edit.turned_over:
        # Named with the mix-ups, by its own code.
        return None
    close = [e for e in tried if best.decades - e.decades < TUNED.least_decades]
    close = [e for e in close if e is best or not e.edit.turned_over]
    others = [each.decades for each in tried[len(close) :]]
    strips = frozenset().union(*(moved_strips(each.edit) for each in close))
    seen = {
        name
        for each in close
        for name, out in (*each.outcomes.items(), *outcomes.items())
        if isinstance(out, Identified)
        and any(s.status == "used" and s.id.name in strips for s in out.sightings)
    }
    return Suspicion(
        entries=tuple(each.edit.entry for each in close),
        log10_odds=best.decades - max([base, *others]),
        cameras=frozenset().union(seen, *(each.cameras for each in close)),
        strips=strips,
    )


def _as_fitted(edit: Edit, outcome: Outcome) -> Edit:
    """A field of view as the fit has it: the search only tries some."""
    if not edit.key.startswith("lens.") or isinstance(outcome, NotIdentified):
        return edit
    meant = _field_rad(outcome.fit.lens)
    arguments = {**edit.entry.arguments, "meant_rad": meant}
    return replace(edit, entry=Reason(edit.entry.code, **arguments))


def _field_rad(lens: Lens) -> float:
    """The angle between the rays through the left and right edges at mid-height."""
    edges = lens.unproject(np.array([[-0.5, lens.cy], [lens.width - 0.5, lens.cy]]))
    return float(np.arctan2(np.abs(edges[:, 0]), edges[:, 2]).sum())
