"""How the cost of a check grows: in pixels, marks, cameras and jobs; and what a fleet's page costs.

    python -m tests.speed.growth pixels|marks|cameras|jobs|fleet [--runs 3] [--largest SIZE]

Pictures are drawn by `seamtrue scene` into a folder that is removed again. Each size is checked in
fresh processes; CPU is that of the process and its children, the least of the runs, since whatever
else runs only adds to it. Start-up is that of a process that loads what a check needs, and is taken
off. The exponent is the slope of log cost over log size in the upper half of the sizes: 1 is in
proportion.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from tests.paths import LONG_SHADOW, SAMPLES
from tests.speed.budget import PASSABLE, cost_of
from vision.files.disk import write_all
from vision.job.job_file import job_from_text
from vision.practice.deviations_file import deviations_from_text
from vision.practice.scene import draw_scene, drawn_file

START = """
import cli.check_table, vision.documents.report.report, vision.documents.top_view
import vision.files.disk, vision.inspection.inspect
"""
PIXELS = ((848, 477), (1280, 720), (1920, 1080), (2688, 1512), (3776, 2124))
FEW, MANY = 9, 22
"""Marks of the strips before and behind, and beside: about 60 cm apart."""
RINGS = (1, 2, 4, 8, 16)
"""How often the four strips are laid, each farther out than the one before."""
CAMERAS = (1, 2, 4, 8, 12)
JOBS = (1, 5, 25, 100, 200)
RESULTS = (1000, 10_000)

LAID = "[scene]\nsmall_errors = 1\n"
"""As people lay and fit: no two cameras look quite alike."""

Sized = Iterator[tuple[float, list[str]]]
"""A size, and the command whose cost belongs to it."""


def drawn(folder: Path, text: str, deviations: str = "") -> list[str]:
    """A job with its pictures in a folder, and the command that checks it."""
    job = job_from_text(text, "job.toml")
    asked = deviations_from_text(f"{LAID}{deviations}", "deviations.toml", job)
    scene = draw_scene(job, asked, 1)
    files: dict[str, bytes | str] = {"job.toml": text}
    for name, pixels in scene.pictures.items():
        files[f"{name}.jpg"] = drawn_file(pixels, f"{name}.jpg", 92)
    write_all(folder, files)
    return check(folder / "job.toml", folder / "report")


def check(job: Path, out: Path, *more: str) -> list[str]:
    """The command that checks a job."""
    return ["-m", "cli.main", "check", str(job), "--out", str(out), *more]


def in_pixels(folder: Path) -> Sized:
    """The same yard in larger pictures, in megapixels of one of them."""
    text = LONG_SHADOW.read_text("utf-8")
    for width, height in PIXELS:
        size = f"width = {width}\nheight = {height}\n"
        yield width * height / 1e6, drawn(folder / str(width), text, size)


def in_marks(folder: Path) -> Sized:
    """The same cameras over ever more strips, in marks of the layout."""
    for count in RINGS:
        text = yard(cameras=4, rings=count)
        marks = sum(len(each.at_m) for each in job_from_text(text, "job.toml").strips)
        yield marks, drawn(folder / str(count), text)


def in_cameras(folder: Path) -> Sized:
    """Ever more cameras along the sides of one long vehicle, in cameras."""
    for count in CAMERAS:
        yield count, drawn(folder / str(count), yard(cameras=count, rings=1))


def in_jobs(folder: Path) -> Sized:
    """Ever more copies of one job in one command, in jobs."""
    for count in JOBS:
        lot = folder / str(count)
        for number in range(count):
            shutil.copytree(SAMPLES / "clear_day", lot / f"{number:03d}")
        yield count, check(lot, lot / "out", "--workers", "1")


def of_fleet(folder: Path) -> Sized:
    """The page of ever more vehicles, in results."""
    check_once = check(SAMPLES / "clear_day" / "job.toml", folder / "one")
    cost_of(check_once, PASSABLE)
    for count in RESULTS:
        for number in range(count):
            place = folder / str(count) / f"{number:05d}"
            place.mkdir(parents=True)
            os.link(folder / "one" / "inspection.json", place / "inspection.json")
        yield count, ["-m", "cli.main", "fleet", str(folder / str(count))]


def yard(*, cameras: int, rings: int) -> str:
    """The text of a job: `cameras` round a long body, four strips for each ring."""
    long, wide, high = 12.0, 2.5, 2.6
    lines = ['[job]\nname = "Yard"\nunits = "m"', f"[vehicle]\nlength = {long}\nwidth = {wide}"]
    lines.append("height = 3\n[lens.wide]\nfield_of_view_deg = 187")
    for name, x, y, pan in list(_mountings(long, wide, cameras)):
        place = f"[{x:.3f}, {y:.3f}, {high}]"
        lines.append(f'[camera.{name}]\npicture = "{name}.jpg"\nposition = {place}')
        lines.append(f'pan_deg = {pan}\ntilt_deg = 45\nroll_deg = 0\nlens = "wide"')
    for ring in range(rings):
        away = 1.1 + 0.45 * ring
        x, y = long / 2 + away, wide / 2 + away
        for side, start, end, count in (
            ("front", (x, -2.4), (x, 2.6), FEW),
            ("rear", (-x, 2.2), (-x, -2.6), FEW),
            ("left", (-6.6, y), (6.9, y), MANY),
            ("right", (6.4, -y), (-7.2, -y), MANY),
        ):
            lines.append(f"[strip.{side}{ring}]\nfrom = {list(start)}\nto = {list(end)}")
            lines.append(f"count = {count}")
            lines.append('mark = "cross"\narm = ["12 cm", "8 cm"]\nline = "25 mm"')
            lines.append('tape_width = "18 cm"')
    return "\n".join(lines) + "\n"


def _mountings(long: float, wide: float, count: int) -> Iterator[tuple[str, float, float, int]]:
    """Name, x, y and pan of each camera: front and rear, then ever more along both sides."""
    yield "front", long / 2 + 0.02, 0.0, 0
    if count > 1:
        yield "rear", -long / 2 - 0.02, 0.0, 180
    sides = max(0, count - 2)
    for number in range(sides):
        left, along = number % 2 == 0, number // 2
        share = (along + 0.5) / math.ceil(sides / 2) - 0.5
        y = wide / 2 + 0.02
        name = f"{'left' if left else 'right'}{along}"
        yield name, share * (long - 3), y if left else -y, 90 if left else -90


GROWTHS: dict[str, Callable[[Path], Sized]] = {
    "pixels": in_pixels,
    "marks": in_marks,
    "cameras": in_cameras,
    "jobs": in_jobs,
    "fleet": of_fleet,
}


def exponent(sizes: list[float], costs: list[float]) -> float:
    """Slope of log cost over log size in the upper half of the sizes; NaN for one size."""
    if len(sizes) < 2:
        return math.nan
    half = max(2, math.ceil(len(sizes) / 2))
    x, y = np.log(sizes[-half:]), np.log(np.maximum(costs[-half:], 1e-3))
    return float(np.polyfit(x, y, 1)[0])


def main() -> None:
    """Print the cost of each size, start-up taken off, and the exponent."""
    about = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    about.add_argument("what", choices=GROWTHS)
    about.add_argument("--runs", type=int, default=3)
    about.add_argument("--largest", type=float, default=math.inf, help="size to stop at")
    about.add_argument("--json", action="store_true")
    asked = about.parse_args()
    start = min(cost_of(["-c", START], (0,))[1] for _ in range(asked.runs))
    sizes, costs = [], []
    with tempfile.TemporaryDirectory() as folder:
        for size, command in GROWTHS[asked.what](Path(folder)):
            if size > asked.largest:
                break
            every = []
            for _ in range(asked.runs):
                for done in Path(folder).rglob("done.json"):
                    done.unlink()
                every.append(cost_of(command, (*PASSABLE, 5))[1])
            sizes.append(size)
            costs.append(min(every) - start)
            if not asked.json:
                print(f"{size:10.2f} {asked.what:8s} {costs[-1]:8.2f} s CPU", flush=True)
    found = {"what": asked.what, "start_s": start, "sizes": sizes, "cpu_s": costs}
    found["exponent"] = exponent(sizes, costs)
    print(json.dumps(found) if asked.json else f"exponent {found['exponent']:.2f}")


if __name__ == "__main__":
    main()
