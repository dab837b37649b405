"""Print what each way of getting a picture costs: centre sigma, aim sigma and verdict.

    python -m tests.accuracy.sources sample_frames/clear_day [--only panes]

Each picture of a set is degraded as that way does, and the job checked from its files. Centre
errors are against the renderer's truth, scaled to the size of the set. What degrades shares nothing
with what reads.
"""

from __future__ import annotations

import argparse
import io
import json
import tempfile
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
from PIL import Image

from tests.compositions import compose
from tests.overlaid import barred, overlaid
from vision.files.disk import read_inspection_input
from vision.inspection.inspect import inspect

Views = dict[str, np.ndarray]
Files = dict[str, bytes]
Degrade = Callable[[Views, str], tuple[Files, str]]


def _each(write: Callable[[np.ndarray], bytes], ending: str) -> Degrade:
    def degrade(views: Views, text: str) -> tuple[Files, str]:
        for name in views:
            text = text.replace(f'"{name}.jpg"', f'"{name}.{ending}"')
        return {f"{name}.{ending}": write(bgr) for name, bgr in views.items()}, text

    return degrade


def _jpeg(quality: int, share: float = 1.0) -> Callable[[np.ndarray], bytes]:
    def write(bgr: np.ndarray) -> bytes:
        if share != 1.0:
            bgr = cv2.resize(bgr, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
        return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()

    return write


def _pillow(form: str, **options: int) -> Callable[[np.ndarray], bytes]:
    def write(bgr: np.ndarray) -> bytes:
        stream = io.BytesIO()
        Image.fromarray(np.ascontiguousarray(bgr[..., ::-1])).save(stream, form, **options)
        return stream.getvalue()

    return write


def _shots(count: int, noise: float) -> Degrade:
    def degrade(views: Views, text: str) -> tuple[Files, str]:
        rng, files = np.random.default_rng(3), {}
        for name, bgr in views.items():
            text = text.replace(f'picture = "{name}.jpg"', f'pictures = ["{name}_*.jpg"]')
            for number in range(count):
                noisy = np.clip(bgr + rng.normal(0, noise, bgr.shape), 0, 255).astype(np.uint8)
                files[f"{name}_{number}.jpg"] = _jpeg(88)(noisy)
        return files, text

    return degrade


def _panes(layout: str, size: tuple[int, int], bar: int) -> Degrade:
    def degrade(views: Views, text: str) -> tuple[Files, str]:
        screen = compose(list(views.values()), layout, size, bar=bar)
        for name in views:
            text = text.replace(f'"{name}.jpg"', '"screen.jpg"')
        panes = "\n".join(f"{n} = {list(r)}" for n, r in zip(views, screen.rects, strict=True))
        return {"screen.jpg": _jpeg(90)(screen.bgr)}, f"{text}\n[panes]\n{panes}\n"

    return degrade


def _overlaid(seed: int) -> Degrade:
    def degrade(views: Views, text: str) -> tuple[Files, str]:
        return _each(_jpeg(90), "jpg")(overlaid(views, seed).views, text)

    return degrade


def _barred(views: Views, text: str) -> tuple[Files, str]:
    height, width = next(iter(views.values())).shape[:2]
    tall = {name: barred(bgr, (width, height * 4 // 3)) for name, bgr in views.items()}
    return _each(_jpeg(90), "jpg")(tall, text)


WAYS: dict[str, Degrade] = {
    "as it is": _each(_jpeg(95), "jpg"),
    "JPEG 50": _each(_jpeg(50), "jpg"),
    "WebP 75": _each(_pillow("WEBP", quality=75), "webp"),
    "AVIF 60": _each(_pillow("AVIF", quality=60, speed=8), "avif"),
    "HEIC 50": _each(_pillow("HEIF", quality=50), "heic"),
    "messenger: 3/4 of the size, JPEG 70": _each(_jpeg(70, 0.75), "jpg"),
    "noise 6, one shot": _shots(1, 6.0),
    "noise 6, four shots": _shots(4, 6.0),
    "stamp, caption, guide lines drawn over": _overlaid(1),
    "black bars above and below": _barred,
    "panes 2x2 of 1920x1080, bars": _panes("2x2", (1920, 1080), 6),
    "panes 2x2 of 1280x720": _panes("2x2", (1280, 720), 0),
}


def report(folder: Path, name: str) -> None:
    """Check a set brought that way, and print a line."""
    text = (folder / "job.toml").read_text(encoding="utf-8")
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    views = {c: cv2.imread(str(folder / f"{c}.jpg")) for c in truth["cameras"]}
    files, text = WAYS[name](views, text)
    with tempfile.TemporaryDirectory() as place:
        for file, data in files.items():
            (Path(place) / file).write_bytes(data)
        (Path(place) / "job.toml").write_text(text, encoding="utf-8")
        for other in folder.glob("*.json"):
            (Path(place) / other.name).write_bytes(other.read_bytes())
        inspection = inspect(*read_inspection_input(Path(place) / "job.toml"))
    off, sigmas, aims, wrong, used, due = [], [], [], 0, 0, 0
    for camera in inspection.cameras:
        told = truth["cameras"][camera.camera.name]
        width, height = told["resolution"]
        share = np.array([camera.picture.width / width, camera.picture.height / height])
        true = {each["id"]: np.array(each["px"]) for each in told["marks"] if each["px"]}
        used, due = used + camera.marks_used, due + camera.marks_expected
        for mark in camera.marks:
            if mark.status == "used" and mark.pixel_px is not None and str(mark.id) in true:
                at = (mark.pixel_px + 0.5) / share - 0.5
                error = float(np.linalg.norm(at - true[str(mark.id)]))
                off.append(error)
                wrong += error > 3.0
                sigmas.append(float(np.sqrt(np.trace(mark.covariance_px2) / 2) / share.mean()))
        if camera.adjusted is not None:
            sigma = camera.adjusted.aim_sigma_rad
            aims.append(float(np.degrees(np.max(sigma))))
    verdicts = "/".join(camera.verdict for camera in inspection.cameras)
    print(
        f"| {folder.name} | {name} | {used} of {due} | {wrong} | {np.median(off or [np.nan]):.3f} |"
        f" {np.median(sigmas or [np.nan]):.3f} | {np.max(aims or [np.nan]):.2f} | {verdicts} |"
        f" {inspection.verdict} |",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--only", default="")
    given = parser.parse_args()
    pillow_heif.register_heif_opener()
    print(
        "| set | way | used | wrong names | error px | sigma px | aim sigma deg | cameras | job |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for folder in given.folders:
        for name in WAYS:
            if given.only in name:
                report(folder, name)


if __name__ == "__main__":
    main()
