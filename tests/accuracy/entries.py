"""Print what becomes of jobs in which one entry is wrong.

    python -m tests.accuracy.entries sample_frames/clear_day tests/frames/after_rain [--only NAME]

Each kind of slip is made in the job of each set, once per draw, and the job is read and checked
with the set's own pictures. A slip that moves no mark that is seen by more than 5 px from where the
right job and the true cameras put it makes no difference to these pictures, and is only counted. Of
the others the entry is named at reading (exit 5), after looking, or not; `advice` counts those that
end in something to turn, move or take again though the right job asks for nothing of the kind:
confident advice that rests on a wrong entry. It must be 0.
"""

from __future__ import annotations

import argparse
import copy
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit

from vision.files.disk import read_inspection_input
from vision.inspection.inspect import inspect
from vision.inspection.inspected import Inspection
from vision.job.job import Job
from vision.job.job_file import job_from_text
from vision.job.layout import planned_layout
from vision.marks.picture import Picture
from vision.units.errors import BadInputError

MOVED_PX = 5.0
FEET_M = 0.3048
Keys = dict[str, Any]
Slip = Callable[[Keys, np.random.Generator], str | None]
"""Makes a slip in the tables of a job and gives its key; None where this job has no room for it."""


def _some(keys: Keys, section: str, rng: np.random.Generator) -> str:
    return str(rng.choice(list(keys[section])))


def _camera(change: Callable[[Keys], str]) -> Slip:
    def slip(keys: Keys, rng: np.random.Generator) -> str:
        name = _some(keys, "camera", rng)
        return f"camera.{name}.{change(keys['camera'][name])}"

    return slip


def _strip(change: Callable[[Keys], str | None]) -> Slip:
    def slip(keys: Keys, rng: np.random.Generator) -> str | None:
        name = _some(keys, "strip", rng)
        key = change(keys["strip"][name])
        return None if key is None else f"strip.{name}.{key}"

    return slip


def _position(table: Keys, change: Callable[[list[float]], list[float]]) -> str:
    table["position"] = [round(each, 4) for each in change(list(table["position"]))]
    return "position"


def _pan(table: Keys, turn_deg: float) -> str:
    table["pan_deg"] = (table["pan_deg"] + turn_deg + 180) % 360 - 180
    return "pan_deg"


def _mirrored(table: Keys) -> str:
    table["mirrored"] = not table.get("mirrored", False)
    return "mirrored"


def _field(degrees: float) -> Slip:
    def slip(keys: Keys, rng: np.random.Generator) -> str:
        name = keys["camera"][_some(keys, "camera", rng)]["lens"]
        keys["lens"][name]["field_of_view_deg"] = degrees
        return f"lens.{name}.field_of_view_deg"

    return slip


def _even(table: Keys) -> int:
    """Make the marks of a strip evenly spaced in the file's own words; how many they are."""
    return int(table["count"]) if "count" in table else len(table["at"])


def _count(table: Keys, more: int) -> str | None:
    count = _even(table)
    steps = np.diff(table["at"]) if "at" in table else np.ones(count - 1)
    if not np.allclose(steps, steps[0]):
        return None
    table.pop("at", None)
    table["count"] = count + more
    return "count"


def _spacing(table: Keys, scale: float) -> str:
    """A pitch mistyped: the far end lies elsewhere."""
    start, end = np.array(table["from"]), np.array(table["to"])
    table["to"] = [round(float(each), 4) for each in start + scale * (end - start)]
    if "at" in table:
        table["at"] = [round(scale * each, 5) for each in table["at"]]
    return "at" if "at" in table else "to"


def _ends(table: Keys) -> str:
    table["from"], table["to"] = table["to"], table["from"]
    return "from"


def _strip_sign(table: Keys) -> str:
    """The sign of the place across the strip, at both ends: it lies on the other side."""
    axis = 0 if table["from"][0] == table["to"][0] else 1
    for key in ("from", "to"):
        table[key][axis] = -table[key][axis]
    return "from"


def _strip_unit(table: Keys, metres: float) -> str:
    for key in ("from", "to", "at"):
        if key in table:
            table[key] = [round(each / metres, 4) for each in table[key]]
    return "from"


def _shift(table: Keys, along_m: float) -> str:
    """Both ends typed a whole pitch further along."""
    axis = 1 if table["from"][0] == table["to"][0] else 0
    for key in ("from", "to"):
        table[key][axis] = round(table[key][axis] + along_m, 4)
    return "from"


def _sides(keys: Keys, rng: np.random.Generator) -> str | None:
    del rng
    strips = keys["strip"]
    if not {"left", "right"} <= set(strips):
        return None
    for key in ("from", "to", "at", "count"):
        if key in strips["left"] and key in strips["right"]:
            left = strips["left"][key]
            strips["left"][key], strips["right"][key] = strips["right"][key], left
    return "strip.left.from"


def _size(table: Keys, scale: float) -> str:
    key = next(each for each in ("arm", "radius", "square") if each in table)
    value = table[key]
    table[key] = [scale * each for each in value] if isinstance(value, list) else scale * value
    return key


SLIPS: dict[str, Slip] = {
    "position y sign": _camera(lambda t: _position(t, lambda p: [p[0], -p[1], p[2]])),
    "position x sign": _camera(lambda t: _position(t, lambda p: [-p[0], p[1], p[2]])),
    "position in feet": _camera(lambda t: _position(t, lambda p: [e / FEET_M for e in p])),
    "position z in feet": _camera(lambda t: _position(t, lambda p: [*p[:2], p[2] / FEET_M])),
    "position z 1 m off": _camera(lambda t: _position(t, lambda p: [*p[:2], p[2] - 1])),
    "position x and y": _camera(lambda t: _position(t, lambda p: [p[1], p[0], p[2]])),
    "pan of other side": _camera(lambda t: _pan(t, 180)),
    "pan a quarter": _camera(lambda t: _pan(t, 90)),
    "mirrored": _camera(_mirrored),
    "field 140": _field(140),
    "field 110": _field(110),
    "field 215": _field(215),
    "tape width": _strip(lambda t: t.update(tape_width=15) or "tape_width"),
    "one more mark": _strip(lambda t: _count(t, 1)),
    "one mark fewer": _strip(lambda t: _count(t, -1)),
    "spacing": _strip(lambda t: _spacing(t, 1.1)),
    "strip ends": _strip(_ends),
    "strip sign": _strip(_strip_sign),
    "strip in feet": _strip(lambda t: _strip_unit(t, FEET_M)),
    "strip shifted": _strip(lambda t: _shift(t, 0.6)),
    "strips' sides": _sides,
    "mark size": _strip(lambda t: _size(t, 0.5)),
}


@dataclass(frozen=True, kw_only=True)
class Result:
    """What became of one slip: how it was named, what else was said, and how long it took."""

    key: str
    moved_px: float
    named: str
    advice: bool
    said: str
    seconds: float


def moved_px(right: Inspection, wrong: Job | None) -> float:
    """How far the wrong job puts a used mark from where it was seen, at the most, px.

    Seen through the cameras of the right job, moved as the two jobs' mountings and aims differ.
    """
    if wrong is None:
        return np.inf
    layout = planned_layout(wrong)
    worst = 0.0
    for camera in right.cameras:
        fit, other = camera.plan_fit, wrong.camera(camera.name)
        if fit is None:
            continue
        stated, meant = wrong.lens_of(other), right.job.lens_of(camera.camera)
        same_lens = stated.field_of_view_rad == meant.field_of_view_rad
        same_place = np.allclose(other.position_m, camera.camera.position_m)
        same_aim = np.allclose(other.aim.minus(camera.camera.aim), 0)
        if not (same_lens and same_place and same_aim) or other.mirrored != camera.camera.mirrored:
            return np.inf
        used = [mark for mark in camera.marks if mark.status == "used"]
        planned = {mark.id: mark.centre_m for mark in layout.points}
        moved = [planned.get(mark.id, np.full(3, np.inf)) for mark in used]
        # The same places under other names make no difference to what is seen.
        places = np.array([*planned.values()])
        for mark, at in zip(used, moved, strict=True):
            del at
            nearest = places[np.argmin(np.linalg.norm(places - mark.planned_m, axis=1))]
            pixels = fit.lens.project(fit.pose.transform(np.stack([mark.planned_m, nearest])))
            off = float(np.linalg.norm(pixels[1] - pixels[0]))
            worst = max(worst, off if np.isfinite(off) else np.inf)
    return worst


def _named(inspection: Inspection, key: str) -> str:
    """How the key is named: alone, as one of several, or not.

    Ends, counts and distances of a strip say each other: any key of its table will do.
    """
    for reason in inspection.warnings:
        if reason.code == "entry-wrong" and _same(reason.arguments["entry"], key):
            return "looking"
        if reason.code == "entry-one-of" and any(
            _same(each, key) for each in reason.arguments["entries"]
        ):
            return "one of"
    if key.endswith(".mirrored"):
        camera = next(each for each in inspection.cameras if each.name == key.split(".")[1])
        return "looking" if any(r.code == "mirrored" for r in camera.reasons) else "-"
    return "-"


def _same(entry: Any, key: str) -> bool:
    keys = {entry.arguments["key"], entry.arguments.get("other", "")}
    if key.startswith("strip."):
        return any(each.split(".")[:2] == key.split(".")[:2] for each in keys)
    return key in keys


def _advice(right: Inspection, wrong: Inspection) -> bool:
    """Whether something is to be turned or moved of which the right job knows nothing."""

    def told(inspection: Inspection) -> set[tuple[str, str]]:
        parts = (*inspection.cameras, *inspection.strips, *inspection.raised_marks)
        return {
            (part.name, part.verdict)
            for part in parts
            if part.verdict in ("re-aim", "re-measure", "re-shoot")
        }

    return bool(told(wrong) - told(right))


def tried(
    text: str, pictures: tuple[Picture, ...], right: Inspection, slip: Slip, seed: int
) -> Result | None:
    """Make one slip and check the job."""
    keys = copy.deepcopy(tomlkit.parse(text).unwrap())
    key = slip(keys, np.random.default_rng(seed))
    if key is None:
        return None
    start = time.perf_counter()
    try:
        job = job_from_text(tomlkit.dumps(keys), "job.toml")
    except BadInputError as error:
        named = [fault.key for fault in error.faults]
        return Result(
            key=key,
            moved_px=np.inf,
            named="reading" if key in named else "-",
            advice=False,
            said=str(error.faults[0]),
            seconds=time.perf_counter() - start,
        )
    # What the file says of mirroring is undone when its picture is read.
    stills = tuple(
        still
        if job.camera(still.name).mirrored == right.job.camera(still.name).mirrored
        else replace(still, mirrored=not still.mirrored, bgr=still.bgr[:, ::-1])
        for still in pictures
    )
    found = inspect(job, stills)
    words = [f"{each.name} {each.verdict}" for each in found.cameras if each.verdict != "keep"]
    return Result(
        key=key,
        moved_px=moved_px(right, job),
        named=_named(found, key),
        advice=_advice(right, found),
        said=f"{found.verdict}: {', '.join(words)} {[r.code for r in found.warnings]}",
        seconds=time.perf_counter() - start,
    )


def main() -> None:
    """Print a line per slip, and a table."""
    parser = argparse.ArgumentParser(description="What becomes of jobs with a wrong entry.")
    parser.add_argument("sets", nargs="+", type=Path)
    parser.add_argument("--only", nargs="*", default=list(SLIPS))
    parser.add_argument("--draws", type=int, default=1)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    results: dict[str, list[Result]] = {name: [] for name in asked.only}
    for folder in asked.sets:
        text = (folder / "job.toml").read_text(encoding="utf-8")
        job, pictures = read_inspection_input(folder / "job.toml")
        start = time.perf_counter()
        right = inspect(job, pictures)
        print(f"{folder.name}: right job {time.perf_counter() - start:.1f} s", flush=True)
        for name in asked.only:
            for draw in range(asked.draws):
                seed = asked.seed * 1000 + draw * 37 + list(SLIPS).index(name)
                result = tried(text, pictures, right, SLIPS[name], seed)
                if result is not None:
                    results[name].append(result)
                    print(f"  {name:18} {result.key:30} {result.moved_px:7.1f} px  "
                          f"{result.named:8} {'ADVICE' if result.advice else '':6} "
                          f"{result.seconds:5.1f} s  {result.said[:150]}", flush=True)  # fmt: skip
    print(
        f"\n{'slip':20} {'made':>5} {'no difference':>14} {'named':>6} {'one of':>7} {'advice':>7}"
    )
    for name, of_kind in results.items():
        matter = [each for each in of_kind if each.moved_px > MOVED_PX]
        named = sum(each.named in ("reading", "looking") for each in matter)
        one_of = sum(each.named == "one of" for each in matter)
        advice = sum(each.advice for each in of_kind)
        print(f"{name:20} {len(of_kind):5} {len(of_kind) - len(matter):14} "
              f"{named:3}/{len(matter):<3} {one_of:6} {advice:7}")  # fmt: skip


if __name__ == "__main__":
    main()
