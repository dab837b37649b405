"""Print what is identified in pictures that hold no marks: nothing ought to be.

    python -m tests.accuracy.false_alarms [FOLDER ...] [--drawn 25] [--seed 1] [--mixed]

Drawn yards with paint, cracks, covers, leaves, people, wet ground, glossy flanks, and blank tapes
where the strips should be; the photographs that scikit-image brings along; and every picture below
the folders given, for instance the sample data of Debian's opencv-doc (`apt-get download
opencv-doc && dpkg-deb -x opencv-doc_*.deb opencv-doc`). Each is shown to every camera of the
sample job; with --mixed also to those of a job with quadrants, boards and light ink.
"""

from __future__ import annotations

import argparse
import dataclasses
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import skimage

from tests.accuracy.conditions import jpeg
from tests.accuracy.mixed_yard import mixed_job
from tests.paths import CLEAR_DAY
from vision.camera.lens_prior import lens_prior
from vision.files.disk import read_job
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.job.job import Job
from vision.job.kinds.cross import Cross
from vision.job.layout import planned_layout
from vision.practice.deviations import Deviations, Ground, Light, Person
from vision.practice.scene import draw_scene

WIDTH = 1280
SUFFIXES = {".jpg", ".jpeg", ".png", ".bmp", ".tif", ".tiff"}
BLANK = Cross(arm_along_m=1e-4, arm_across_m=1e-4, line_m=1e-4)
Picture = tuple[str, np.ndarray]


def drawn(job: Job, count: int, seed: int, width: int = WIDTH) -> Iterator[Picture]:
    """Yards without marks as the cameras of a job see them, one camera a yard."""
    for index in range(count):
        rng = np.random.default_rng([seed, index])
        cameras = (job.cameras[index % len(job.cameras)],)
        # Every second yard has its tapes laid, with nothing printed on them.
        strips = tuple(dataclasses.replace(strip, shape=BLANK) for strip in job.strips)
        strips = strips if index % 2 else ()
        bare = dataclasses.replace(job, cameras=cameras, strips=strips, marks=())
        sun = {}
        if rng.uniform() < 0.5:
            sun["sun_elevation_rad"] = float(rng.uniform(0.2, 1.0))
        places = rng.uniform(-6, 6, (int(rng.integers(0, 5)), 2))
        people = tuple(
            Person(name=str(i), at_m=(float(x), float(y))) for i, (x, y) in enumerate(places)
        )
        asked = Deviations(
            width=width,
            height=width * 9 // 16,
            light=Light(sun_azimuth_rad=float(rng.uniform(0, 6)), noise=rng.uniform(1, 6), **sun),
            ground=Ground(
                wet=float(rng.integers(0, 2)),
                gloss=float(rng.integers(0, 2)),
                lines=int(rng.integers(5, 40)),
                cracks=int(rng.integers(5, 30)),
                covers=int(rng.integers(2, 12)),
                leaves=80 * (index % 2),
            ),
            people=people,
        )
        picture = draw_scene(bare, asked, seed + index).pictures[cameras[0].name]
        grey = jpeg(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), asked.light)
        yield f"drawn yard {index}", grey


def photographs(folder: Path) -> Iterator[Picture]:
    """Every picture below a folder, at the width a camera gives."""
    for path in sorted(folder.rglob("*")):
        if path.suffix.lower() not in SUFFIXES or not path.is_file():
            continue
        grey = cv2.imdecode(np.fromfile(path, dtype=np.uint8), cv2.IMREAD_GRAYSCALE)
        if grey is None or min(grey.shape) < 100:
            continue
        share = WIDTH / grey.shape[1]
        height = min(round(share * grey.shape[0]), WIDTH)
        way = cv2.INTER_AREA if share < 1 else cv2.INTER_CUBIC
        yield str(path.relative_to(folder)), cv2.resize(grey, (WIDTH, height), interpolation=way)


def alarms(job: Job, grey: np.ndarray) -> list[str]:
    """Marks that any camera of a job identifies in a picture that holds none of them."""
    found = []
    layout = planned_layout(job)
    for camera in job.cameras:
        prior = lens_prior(job.lens_of(camera), grey.shape[1], grey.shape[0])
        outcome = identify(job, layout, camera, prior, grey)
        if isinstance(outcome, Identified):
            found += [f"{camera.name} {s.id}" for s in outcome.sightings if s.status == "used"]
    return found


def main() -> None:
    """Draw and read, identify, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--drawn", type=int, default=25)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--mixed", action="store_true")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    sample = read_job(CLEAR_DAY)[0]
    jobs = {"clear_day": sample}
    if given.mixed:
        jobs["mixed"] = mixed_job(np.random.default_rng(given.seed))
    sources = {
        "drawn": drawn(sample, given.drawn, given.seed),
        "scikit-image": photographs(Path(skimage.__file__).parent / "data"),
    }
    sources |= {folder.name: photographs(folder) for folder in given.folders}
    pictures: Counter[str] = Counter()
    wrong = 0
    for source, shown in sources.items():
        for name, grey in shown:
            pictures[source] += 1
            for job_name, job in jobs.items():
                found = alarms(job, grey)
                wrong += len(found)
                if found:
                    print(f"{source}, {name}, job {job_name}: {len(found)} marks, {found[:3]}")
        print(f"{source}: {pictures[source]} pictures", flush=True)
    print(f"{sum(pictures.values())} pictures, {len(jobs)} jobs: {wrong} marks identified")


if __name__ == "__main__":
    main()
