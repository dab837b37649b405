"""Print what photographs of a display's screen give: names, verdicts, poses over their sigmas.

    python -m tests.accuracy.photographed_screens SETS [--rounds 2] [--first 0]

Every camera's picture of a set is shown on a screen and photographed as a seed says (up to 30
degrees aslant, a lens that bends by a percent, stripes of the screen behind the cells of a sensor,
glare, blur, noise, JPEG, some with a corner cut off), and the job checked from the photographs. A
photograph that is refused leaves its camera out: its plain picture's camera is then not counted.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

from tests.photographed import photographed, taken_by
from vision.camera.geometry import Pose
from vision.files.disk import read_job, read_picture
from vision.files.screen_input import of_screens
from vision.inspection.inspect import inspect
from vision.inspection.running import nothing_yet


@dataclass(kw_only=True)
class Counted:
    """Sums over all photographs."""

    taken: int = 0
    refused: int = 0
    judged: int = 0
    wrong_names: int = 0
    wrong_verdicts: list[str] = field(default_factory=list)
    off: list[float] = field(default_factory=list)
    centres: list[float] = field(default_factory=list)
    sigmas: list[float] = field(default_factory=list)


def pose_off(adjusted, told: dict) -> list[float]:
    """Errors of place and turn over their sigmas, six numbers."""
    true = Pose(R=np.array(told["true"]["R"]), t_m=np.array(told["true"]["t"]))
    turn = cv2.Rodrigues(true.R @ adjusted.pose.R.T)[0].ravel()
    step = np.concatenate([true.camera_in_ground_m - adjusted.pose.camera_in_ground_m, turn])
    sigma = np.sqrt(np.diag(adjusted.covariance)[:6])
    return list(step / sigma)


def check(folder: Path, seed: int, counted: Counted) -> None:
    """Photograph one set and check it."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as place:
        text = (folder / "job.toml").read_text(encoding="utf-8")
        (Path(place) / "job.toml").write_text(text + '\n[display]\nphotographed = "16:9"\n')
        for other in folder.glob("*.json"):
            (Path(place) / other.name).write_bytes(other.read_bytes())
        for number, name in enumerate(truth["cameras"]):
            shown = cv2.imread(str(folder / f"{name}.jpg"))
            photo = photographed(shown, taken_by(4 * seed + number))
            cv2.imwrite(f"{place}/{name}.jpg", photo, [cv2.IMWRITE_JPEG_QUALITY, 98])
        job, _ = read_job(Path(place) / "job.toml")
        stills, refused = {}, []
        counted.taken += len(job.cameras)
        for camera in job.cameras:
            one = read_picture(Path(place), camera.picture, camera.name, mirrored=camera.mirrored)
            alone, straight, faults = of_screens(job, [one], "job.toml")
            if faults:
                refused.append(camera.name)
                continue
            stills[camera.name] = (alone, straight[0])
    counted.refused += len(refused)
    lenses = {n: a.lens_of(a.camera(n)) for n, (a, _) in stills.items()}
    job = _with_own_lenses(job, lenses)
    pictures = {name: picture for name, (_, picture) in stills.items()}
    order = [pictures.get(c.name) or nothing_yet(c, pictures) for c in job.cameras]
    inspection = inspect(job, order)
    said = []
    for camera in inspection.cameras:
        if camera.name in refused:
            continue
        told = truth["cameras"][camera.name]
        due = truth["expected"]["cameras"][camera.name] if "expected" in truth else ""
        due = due if isinstance(due, str) else due.get("verdict", "")
        counted.judged += camera.verdict in ("keep", "re-aim")
        if camera.verdict in ("keep", "re-aim") and due and camera.verdict != due:
            counted.wrong_verdicts.append(f"{folder.name} {camera.name} {seed} {camera.verdict}")
        width, height = told["resolution"]
        share = np.array([camera.picture.width / width, camera.picture.height / height])
        true = {m["id"]: np.array(m["px"]) for m in told["marks"] if m["px"]}
        for mark in camera.marks:
            if mark.status == "used" and str(mark.id) in true:
                error = (mark.pixel_px + 0.5) / share - 0.5 - true[str(mark.id)]
                counted.wrong_names += float(np.linalg.norm(error)) > 5.0
                counted.centres.append(float(np.linalg.norm(error)))
        if camera.adjusted is not None:
            counted.off += pose_off(camera.adjusted, told)
            counted.sigmas.append(float(np.degrees(camera.adjusted.aim_sigma_rad.max())))
        said.append(f"{camera.name} {camera.verdict} {camera.marks_used}/{camera.marks_expected}")
    strips = [f"{e.name} {e.verdict}" for e in inspection.strips if e.verdict != "keep"]
    print(f"{folder.name} {seed}: {', '.join(said)}; refused {refused}; {strips}", flush=True)


def _with_own_lenses(job, lenses):
    from dataclasses import replace

    cameras = tuple(
        replace(c, lens=lenses[c.name].name) if c.name in lenses else c for c in job.cameras
    )
    return replace(job, cameras=cameras, lenses=(*job.lenses, *lenses.values()))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--rounds", type=int, default=1)
    parser.add_argument("--first", type=int, default=0)
    given = parser.parse_args()
    counted = Counted()
    seed = given.first
    for _ in range(given.rounds):
        for folder in given.folders:
            check(folder, seed, counted)
            seed += 1
    off = np.array(counted.off)
    print(
        f"photographs {counted.taken}, refused {counted.refused}, judged {counted.judged}; names "
        f"wrong {counted.wrong_names}; verdicts wrong {counted.wrong_verdicts}; centres "
        f"{np.median(counted.centres):.3f} px in the median; aim sigma "
        f"{np.median(counted.sigmas):.2f} degrees; pose over sigma RMS "
        f"{np.sqrt(np.mean(off**2)):.2f}, largest {np.abs(off).max():.1f}"
    )


if __name__ == "__main__":
    main()
