"""Print what is said of degraded pictures: a confusion table of faults of sharpness.

    python -m tests.accuracy.sharpness sample_frames/clear_day sample_frames/long_shadow

Every picture of the sets is degraded in one way after another (blur all over, blur growing from
left to right, motion, little light with noise, drops as local blur over marks), given a little
noise again, identified and judged. Rows are what was done, columns what was found to be beyond the
job's tolerance; `none` with `cannot tell` counted apart. The degradations are OpenCV's filters on
pictures that were drawn elsewhere: they are no photographs of soft lenses or wet ones.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from tests.accuracy.sets import extent_px
from vision.camera.lens_prior import lens_prior
from vision.files.disk import read_inspection_input
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.inspection.verdict.pictures import FAULTS, judge_picture
from vision.job.layout import planned_layout
from vision.marks.picture import Picture
from vision.views.sharpness.measurement import measure_sharpness

Array = np.ndarray
CLEAR, LARGE_PX = 0.9, 12.0


def moved(picture: Array, length_px: float, degrees: float) -> Array:
    """Even motion over a length, in a direction from right towards down."""
    reach = int(np.ceil(length_px / 2)) + 1
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1))
    for along in np.linspace(-length_px / 2, length_px / 2, 64 * reach + 1):
        u = reach + along * np.cos(np.radians(degrees))
        v = reach + along * np.sin(np.radians(degrees))
        i, j = int(u), int(v)
        for du, wu in ((0, 1 - u + i), (1, u - i)):
            for dv, wv in ((0, 1 - v + j), (1, v - j)):
                kernel[j + dv, i + du] += wu * wv
    return cv2.filter2D(picture, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)


def softening(picture: Array, most_px: float) -> Array:
    """Blur growing evenly from nothing at the left edge to `most_px` at the right edge."""
    steps = np.linspace(0, most_px, 13)
    stack = [cv2.GaussianBlur(picture, (0, 0), s) if s > 0.2 else picture for s in steps]
    place = np.linspace(0, 12, picture.shape[1])
    low = np.minimum(place.astype(int), 11)
    share = (place - low)[:, None]
    columns = np.arange(picture.shape[1])
    all_steps = np.stack(stack)
    mixed = all_steps[low, :, columns] * (1 - share[..., None])
    mixed += all_steps[low + 1, :, columns] * share[..., None]
    return mixed.swapaxes(0, 1)


def drops(picture: Array, places: list[Array], rng: np.random.Generator) -> Array:
    """Discs of 25 to 60 px in which the picture is blurred by 3 to 5 px, with soft rims."""
    v, u = np.indices(picture.shape[:2])
    out = picture
    for place in places:
        radius, blur = rng.uniform(25, 60), rng.uniform(3, 5)
        inside = np.clip((radius + 5 - np.hypot(u - place[0], v - place[1])) / 10, 0, 1)
        out = out + inside[..., None] * (cv2.GaussianBlur(out, (0, 0), blur) - out)
    return out


def degradations(
    places: list[Array], rng: np.random.Generator
) -> dict[str, tuple[str, Callable[[Array], Array], float]]:
    """By name: the fault that ought to be found (or none), the degradation, noise added after."""
    return {
        "as delivered": ("none", lambda p: p, 0.0),
        "noise 10": ("none", lambda p: p, 10.0),
        "blur 1": ("none", lambda p: cv2.GaussianBlur(p, (0, 0), 1.0), 1.0),
        "blur 3": ("soft", lambda p: cv2.GaussianBlur(p, (0, 0), 3.0), 1.0),
        "blur 6": ("soft", lambda p: cv2.GaussianBlur(p, (0, 0), 6.0), 1.0),
        "blur 0 to 3, left to right": ("soft-side", lambda p: softening(p, 3.0), 1.0),
        "motion 8 at 30 degrees": ("motion", lambda p: moved(p, 8.0, 30.0), 1.0),
        "motion 12 at -70 degrees": ("motion", lambda p: moved(p, 12.0, -70.0), 1.0),
        "light 0.2, noise 10": ("low-light", lambda p: 0.2 * p, 10.0),
        "drops": ("drops", lambda p: drops(p, places, rng), 1.0),
    }


def places_of_marks(true: dict, rng: np.random.Generator) -> list[Array]:
    """Where to put two drops: over marks that are large and clear, a little off."""
    large = [
        np.array(mark["px"])
        for mark in true["marks"]
        if mark["clear_fraction"] > CLEAR and extent_px(mark) >= LARGE_PX
    ]
    chosen = rng.choice(len(large), 2, replace=False)
    return [large[i] + rng.normal(0, 8, 2) for i in chosen]


def degraded(picture: Picture, change: Callable[[Array], Array], noise: float, rng) -> Picture:
    """The picture with `change` and noise done to it as delivered."""
    delivered = picture.bgr[:, ::-1] if picture.mirrored else picture.bgr
    out = change(delivered.astype(np.float64))
    # Noise in grey, alike in all colours: its sigma is then that of the grey picture.
    out = out + rng.normal(0, noise, out.shape[:2])[..., None]
    return Picture.from_delivered(
        name=picture.name,
        file=picture.file,
        sha256=picture.sha256,
        mirrored=picture.mirrored,
        bgr=np.clip(np.round(out), 0, 255).astype(np.uint8),
    )


def report(folders: list[Path], seed: int) -> None:
    """Judge every picture degraded in every way, and print the tables."""
    rng = np.random.default_rng(seed)
    table: dict[str, Counter[str]] = {}
    due: dict[str, str] = {}
    unsure: Counter[str] = Counter()
    named: Counter[str] = Counter()
    lengths: dict[str, list[float]] = {}
    for folder in folders:
        truth = json.loads((folder / "truth.json").read_text())
        job, pictures = read_inspection_input(folder / "job.toml")
        layout = planned_layout(job)
        for camera, picture in zip(job.cameras, pictures, strict=True):
            places = places_of_marks(truth["cameras"][camera.name], rng)
            prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
            for name, (expected, change, noise) in degradations(places, rng).items():
                bad = degraded(picture, change, noise, rng)
                outcome = identify(job, layout, camera, prior, bad.grey)
                seen = outcome if isinstance(outcome, Identified) else None
                sharp = measure_sharpness(bad, layout, seen)
                # Low light alone is no fault where the marks are named: ask as if they were not.
                judged = judge_picture(camera.name, sharp, job.tolerances, identified=False)
                due[name] = expected
                named[name] += seen is not None
                found = table.setdefault(name, Counter())
                found["+".join(judged.faults) or "none"] += 1
                if not judged.faults:
                    unsure[name] += "cannot-tell" in judged.answers.values()
                if sharp.motion is not None and "motion" in judged.faults:
                    at = np.degrees(sharp.motion.direction_rad)
                    lengths.setdefault(name, []).append(sharp.motion.length_px)
                    lengths.setdefault(f"{name}: direction", []).append(at)
                wrong = judged.faults != ((expected,) if expected != "none" else ())
                if wrong:
                    told = dataclasses.asdict(judged)["answers"]
                    print(f"  {folder.name} {camera.name}, {name}: {told}")
    _print(table, due, unsure, named, lengths)


def _print(
    table: dict[str, Counter[str]],
    due: dict[str, str],
    unsure: Counter[str],
    named: Counter[str],
    lengths: dict[str, list[float]],
) -> None:
    columns = ["none", *FAULTS]
    others = sorted({key for found in table.values() for key in found} - set(columns))
    print(f"\n{'what was done':28s}{'due':>10s}  " + "".join(f"{c:>10s}" for c in columns), end="")
    print("".join(f"  {c}" for c in others) + "  (cannot tell)  marks named")
    for name, found in table.items():
        cells = "".join(f"{found[c] or '-':>10}" for c in columns)
        more = "".join(f"{found[c] or '-':>{len(c) + 2}}" for c in others)
        print(f"{name:28s}{due[name]:>10s}  {cells}{more}{unsure[name]:>15d}{named[name]:>13d}")
    for name, values in lengths.items():
        unit = "degrees" if "direction" in name else "px"
        print(
            f"{name}: median {np.median(values):.1f}, {min(values):.1f} to {max(values):.1f} {unit}"
        )


def main() -> None:
    """Read the folders and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    report(given.folders, given.seed)


if __name__ == "__main__":
    main()
