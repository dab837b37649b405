"""Many vehicles by their checks: which is how, what drifts, where cameras fail, who is due again.

A check is taken as its result file says. What a camera's angle did between the first and the last
check of a vehicle is a drift where it is more than chance would show in any of the vehicle's angles
one time in twenty; `seamtrue compare` says of one vehicle what moved, with all that is shared.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from vision.camera.statistics import family_level, normal_limit

FAMILY = 0.05
"""How often something of a vehicle is said to drift though nothing does."""
GOOD = "keep"
WRONG = ("re-measure", "beyond")
"""Of what lies on the ground, and of seams; a carton that no picture shows is no fault."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenCamera:
    """A camera in one check: its verdict, its aim in degrees and the sigmas, by angle."""

    name: str
    verdict: str
    aim_deg: Mapping[str, float]
    sigma_deg: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetCheck:
    """One check: `vehicle` as its job calls it, else the job's path; `day` of its pictures."""

    vehicle: str
    name: str
    day: date
    verdict: str
    to_do: str
    cameras: tuple[SeenCamera, ...]
    wrong: tuple[str, ...]
    recheck_days: int | None
    source: str

    @property
    def content(self) -> object:
        """What makes it this check, wherever it was read."""
        aims = tuple((c.name, c.verdict, *c.aim_deg.values()) for c in self.cameras)
        return self.vehicle, self.day, self.verdict, aims


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """What a camera's angle changed from the first check to the last, in degrees, and its sigma."""

    camera: str
    angle: str
    change_deg: float
    sigma_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetVehicle:
    """A vehicle by its last check; `due` is None where nobody says how long a check is good for."""

    last: FleetCheck
    checks: int
    drifts: tuple[Drift, ...]
    due: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A camera's place on all vehicles: how many have one, and how many of these are not keep."""

    camera: str
    vehicles: int
    failed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Fleet:
    """Vehicles, those to see to first; places, those that fail most first; as of a day."""

    vehicles: tuple[FleetVehicle, ...]
    places: tuple[Place, ...]
    verdicts: Mapping[str, int]
    checks: int
    day: date

    @property
    def due(self) -> tuple[FleetVehicle, ...]:
        """The vehicles that are to be checked again by today, longest overdue first."""
        late = [each for each in self.vehicles if each.due is not None and each.due <= self.day]
        return tuple(sorted(late, key=lambda each: (each.due or self.day, each.last.vehicle)))


def fleet_check(result: Mapping[str, Any], *, job: str, day: date, source: str) -> FleetCheck:
    """A check as its result says; `job` names the vehicle where its job file does not."""
    own = result["vehicle"].get("id")
    laid = [*result["strips"], *result["raised_marks"], *result["seams"]]
    return FleetCheck(
        vehicle=str(own or job),
        name=str(result["job"]),
        day=day,
        verdict=str(result["verdict"]),
        to_do=next((str(each["text"]) for each in result["actions"]), ""),
        cameras=tuple(map(_camera, result["cameras"])),
        wrong=tuple(
            str(each.get("name") or " - ".join(each["between"]))
            for each in laid
            if each["verdict"] in WRONG
        ),
        recheck_days=result.get("recheck_days"),
        source=source,
    )


def fleet_of(checks: Iterable[FleetCheck], today: date) -> Fleet:
    """All vehicles of some checks, as of a day; of two checks of one day the last given counts."""
    every: dict[str, list[FleetCheck]] = defaultdict(list)
    known = set[object]()
    for check in checks:
        # One that is kept in a record lies beside its job as well.
        if check.content not in known:
            known.add(check.content)
            every[check.vehicle].append(check)
    vehicles = [_vehicle(sorted(own, key=lambda each: each.day)) for own in every.values()]
    seen, failed = Counter[str](), Counter[str]()
    for vehicle in vehicles:
        for camera in vehicle.last.cameras:
            seen[camera.name] += 1
            failed[camera.name] += camera.verdict != GOOD
    places = [Place(camera=name, vehicles=n, failed=failed[name]) for name, n in seen.items()]
    return Fleet(
        vehicles=tuple(sorted(vehicles, key=_first_to_see_to)),
        places=tuple(sorted(places, key=lambda p: (-p.failed / p.vehicles, p.camera))),
        verdicts=Counter(each.last.verdict for each in vehicles),
        checks=sum(each.checks for each in vehicles),
        day=today,
    )


def _camera(entry: Mapping[str, Any]) -> SeenCamera:
    joint = entry["joint"] or {}
    body = "body_" if "aim_body_deg" in joint else ""
    aim, sigma = joint.get(f"aim_{body}deg") or {}, joint.get(f"aim_{body}sigma_deg") or {}
    known = [angle for angle, value in aim.items() if None not in (value, sigma.get(angle))]
    return SeenCamera(
        name=str(entry["name"]),
        verdict=str(entry["verdict"]),
        aim_deg={angle: float(aim[angle]) for angle in known},
        sigma_deg={angle: float(sigma[angle]) for angle in known},
    )


def _vehicle(checks: Sequence[FleetCheck]) -> FleetVehicle:
    last = checks[-1]
    due = None if last.recheck_days is None else last.day + timedelta(days=last.recheck_days)
    return FleetVehicle(last=last, checks=len(checks), drifts=_drifts(checks[0], last), due=due)


def _drifts(first: FleetCheck, last: FleetCheck) -> tuple[Drift, ...]:
    before = {each.name: each for each in first.cameras}
    found = [
        Drift(
            camera=now.name,
            angle=angle,
            change_deg=_turned(now.aim_deg[angle] - then.aim_deg[angle]),
            sigma_deg=float((now.sigma_deg[angle] ** 2 + then.sigma_deg[angle] ** 2) ** 0.5),
        )
        for now in last.cameras
        if first is not last and (then := before.get(now.name)) is not None
        for angle in now.aim_deg
        if angle in then.aim_deg
    ]
    limit = normal_limit(1 - family_level(FAMILY, len(found)) / 2)
    return tuple(each for each in found if abs(each.change_deg) > limit * each.sigma_deg)


def _turned(degrees: float) -> float:
    """Into -180 to 180."""
    return (degrees + 180) % 360 - 180


def _first_to_see_to(vehicle: FleetVehicle) -> tuple[bool, int, str]:
    order = ("re-shoot", "re-measure", "re-aim", "not-judged", "keep")
    word = vehicle.last.verdict
    return not vehicle.drifts and word == GOOD, order.index(word), vehicle.last.vehicle
