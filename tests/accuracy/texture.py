"""Print how the texture's shift at every seam compares with the truth and with the marks' gap.

    python -m tests.accuracy.texture [FOLDER...]

Without folders: the sample sets. FOLDER holds job.toml, pictures and a truth.json of the sample
sets' kind (rendered by a path tracer that shares nothing with this program) or of `seamtrue scene`.
The true gap is where the plan fits put the true pixels of the seam's middle. Errors are whitened by
the stated covariance: two numbers a seam, each of sigma 1 where the covariance is right. The
finished pictures of the sample sets agree with their truth to 0.05 px, which is up to 2 mm here.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import cv2
import numpy as np

from vision.adjustment.plan_fit import PlanFit
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.documents.check_words.words import say_texture
from vision.files.disk import read_inspection_input
from vision.inspection.inspect import inspect
from vision.units.arrays import Array
from vision.views.ground import GroundMap, ground_map
from vision.views.texture.shift import NoTexture, TextureShift, texture_agreement

SAMPLES = (Path("sample_frames/clear_day"), Path("sample_frames/long_shadow"))


def true_maps(truth: dict) -> dict[str, GroundMap]:
    """The true ground map of each camera."""
    maps = {}
    cameras = truth["cameras"]
    if isinstance(cameras, dict):
        for name, camera in cameras.items():
            lens = camera["lens"]["kannala_brandt"]
            bends = [lens[key] for key in ("k1", "k2", "k3", "k4")]
            pose, size = camera["true"], camera["resolution"]
            maps[name] = _map(pose["R"], pose["t"], size, lens, bends)
        return maps
    for camera in cameras:
        pose, lens = camera["camera_from_ground"], camera["lens"]
        size = camera["width"], camera["height"]
        maps[camera["name"]] = _map(pose["R"], pose["t_m"], size, lens, lens["k"])
    return maps


def _map(R: list, t_m: list, size: tuple[int, int], lens: dict, k: list) -> GroundMap:
    numbers = {key: lens[key] for key in ("fx", "fy", "cx", "cy")}
    return ground_map(
        Pose(R=np.array(R), t_m=np.array(t_m)),
        Lens(width=size[0], height=size[1], k=np.array(k), **numbers),
    )


def drawn_at(fit: PlanFit, true: GroundMap, ground_m: Array) -> Array:
    """Where a plan fit puts the true pixel of a ground point."""
    return ground_map(fit.pose, fit.lens).ground_from_pixel(true.pixel_from_ground(ground_m))


def report_set(folder: Path) -> tuple[list[Array], list[Array], list[str]]:
    """Print a line per seam; whitened errors against truth and marks, and verdicts."""
    job, pictures = read_inspection_input(folder / "job.toml")
    inspection = inspect(job, pictures)
    true = true_maps(json.loads((folder / "truth.json").read_text()))
    fits = {camera.camera.name: camera.plan_fit for camera in inspection.cameras}
    against_truth, against_marks, verdicts = [], [], []
    print(f"\n{folder.name}, mm ahead and left at each seam's middle")
    for seam in inspection.seams:
        found, name = seam.texture, " - ".join(seam.between)
        if not isinstance(found, TextureShift) or seam.gap is None:
            verdicts.append("cannot-tell")
            why = say_texture()(found.reason) if isinstance(found, NoTexture) else "no fits"
            print(f"  {name:14s} cannot tell: {why}")
            continue
        first, second = (drawn_at(fits[each], true[each], found.at_m) for each in seam.between)
        error = found.shift_m - (first - second)
        z = np.linalg.solve(np.linalg.cholesky(found.covariance_m2), error)
        agreement = texture_agreement(found, seam.gap)
        verdicts.append(agreement.verdict)
        against_truth.append(z)
        line = (
            f"  {name:14s} texture {_mm(found.shift_m)} +- {_mm(found.sigma_m)}"
            f"  true {_mm(first - second)}  whitened {np.round(z, 1)}"
        )
        if agreement.marks_m is not None and agreement.marks_covariance_m2 is not None:
            both = found.covariance_m2 + agreement.marks_covariance_m2
            apart = found.shift_m - agreement.marks_m
            against_marks.append(np.linalg.solve(np.linalg.cholesky(both), apart))
            sigma = np.sqrt(np.diag(agreement.marks_covariance_m2))
            line += f"  marks {_mm(agreement.marks_m)} +- {_mm(sigma)} {agreement.verdict}"
        print(line)
    return against_truth, against_marks, verdicts


def _mm(vector_m: Array) -> str:
    return "[" + " ".join(f"{1e3 * value:6.1f}" for value in vector_m) + "]"


def main() -> None:
    """Read the folders and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="*", type=Path, default=list(SAMPLES))
    given = parser.parse_args()
    cv2.setNumThreads(1)
    truth: list[Array] = []
    marks: list[Array] = []
    verdicts: list[str] = []
    for folder in given.folders:
        for total, part in zip((truth, marks, verdicts), report_set(folder), strict=True):
            total.extend(part)
    print()
    for name, values in (("truth", truth), ("marks' gap", marks)):
        if values:
            z = np.array(values)
            print(
                f"against the {name}: {len(z)} seams, whitened errors RMS "
                f"{np.sqrt(np.mean(z**2)):.2f}, worst {np.abs(z).max():.1f}"
            )
    print({word: verdicts.count(word) for word in ("agrees", "differs", "cannot-tell")})


if __name__ == "__main__":
    main()
