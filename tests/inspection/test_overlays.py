"""Proves that a display's text, lines and bars over the pictures cost the marks under them only."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.overlaid import barred, overlaid
from tests.paths import CLEAR_DAY
from vision.files.disk import read_inspection_input
from vision.inspection.inspect import inspect
from vision.inspection.inspected import Inspection

FOLDER = CLEAR_DAY.parent
TRUTH = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
VIEWS = {name: cv2.imread(str(FOLDER / f"{name}.jpg")) for name in TRUTH["cameras"]}


def inspected(folder: Path, views: dict[str, np.ndarray]) -> Inspection:
    for name, view in views.items():
        cv2.imwrite(str(folder / f"{name}.jpg"), view, [cv2.IMWRITE_JPEG_QUALITY, 92])
    (folder / "job.toml").write_bytes(CLEAR_DAY.read_bytes())
    return inspect(*read_inspection_input(folder / "job.toml"))


@pytest.mark.parametrize("seed", [1, 2])
def test_marks_beside_what_is_drawn_are_used_and_none_is_named_wrongly(tmp_path, seed) -> None:
    drawn = overlaid(VIEWS, seed)
    inspection = inspected(tmp_path, drawn.views)
    used = due = 0
    for camera in inspection.cameras:
        true = {m["id"]: m for m in TRUTH["cameras"][camera.name]["marks"] if m["px"]}
        for mark in camera.marks:
            told = true.get(str(mark.id))
            if told is None:
                continue
            if mark.status == "used":
                assert np.linalg.norm(mark.source_px - told["px"]) < 1.0, mark.id
            ends = np.array([each for each in told["extent_px"] if each] + [told["px"]])
            low, high = (
                np.floor(ends.min(axis=0)).astype(int),
                np.ceil(ends.max(axis=0)).astype(int),
            )
            low = np.maximum(low, 0)
            over = drawn.drawn[low[1] : high[1] + 1, low[0] : high[0] + 1].any()
            if (
                (told["clear_fraction"] or 0) > 0.9
                and np.ptp(ends, axis=0).min() >= 12
                and not over
            ):
                due, used = due + 1, used + (mark.status == "used")
    assert used >= 0.95 * due
    assert due > 30
    assert "pictures-drawn-over" in {each.code for each in inspection.warnings}
    assert [each.verdict for each in inspection.cameras] == ["keep"] * 4


def test_pixels_count_in_the_file_with_its_bars(tmp_path: Path) -> None:
    inspection = inspected(tmp_path, {n: barred(v, (1280, 960)) for n, v in VIEWS.items()})
    for camera in inspection.cameras:
        assert camera.picture.sources[0].crop_px == (0, 120, 1280, 720)
        true = {m["id"]: m["px"] for m in TRUTH["cameras"][camera.name]["marks"] if m["px"]}
        for mark in camera.marks:
            if mark.status == "used" and str(mark.id) in true:
                assert np.linalg.norm(mark.source_px - np.add(true[str(mark.id)], (0, 120))) < 1.0
