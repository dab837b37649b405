"""Proves that a screen of several cameras comes in as a picture of each, whosever pane is where."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.compositions import Screen, compose
from tests.paths import CLEAR_DAY
from vision.files.disk import read_inspection_input
from vision.units.errors import BadInputError

CAMERAS = ("front", "left", "rear", "right")


def screen_of(order: tuple[str, ...]) -> Screen:
    views = [cv2.imread(str(CLEAR_DAY.parent / f"{name}.jpg")) for name in order]
    return compose(views, "2x2", (1920, 1080), bar=4)


def job_with(folder: Path, screen: Screen, panes: str) -> Path:
    text = CLEAR_DAY.read_text(encoding="utf-8")
    for name in CAMERAS:
        text = text.replace(f'"{name}.jpg"', '"screen.png"')
    (folder / "job.toml").write_text(text + f"\n[panes]\n{panes}\n", encoding="utf-8")
    cv2.imwrite(str(folder / "screen.png"), screen.bgr)
    return folder / "job.toml"


def stated(screen: Screen, order: tuple[str, ...]) -> str:
    panes = dict(zip(order, screen.rects, strict=True))
    return "\n".join(f"{name} = {list(rect)}" for name, rect in panes.items())


def test_stated_panes_are_cut_and_whole_pictures_are_not_touched(tmp_path: Path) -> None:
    order = ("rear", "left", "right", "front")
    screen = screen_of(order)
    _, pictures = read_inspection_input(job_with(tmp_path, screen, stated(screen, order)))
    for picture in pictures:
        left, top, width, height = screen.rects[order.index(picture.name)]
        assert picture.sources[0].crop_px == (left, top, width, height)
        delivered = picture.bgr[:, ::-1] if picture.mirrored else picture.bgr
        assert (delivered == screen.bgr[top : top + height, left : left + width]).all()


@pytest.mark.parametrize(
    ("panes", "code", "key"),
    [
        ("front = [0, 0, 10]", "wrong-kind", "panes.front"),
        ("front = [0, 0, 0, 10]", "wrong-kind", "panes.front"),
        ("front = [true, 0, 10, 10]", "wrong-kind", "panes.front"),
        ("fornt = [0, 0, 10, 10]", "unknown-key", "panes.fornt"),
        ("front = [0, 0, 100, 100]", "missing", "panes"),
    ],
)
def test_panes_that_cannot_be(tmp_path: Path, panes: str, code: str, key: str) -> None:
    path = job_with(tmp_path, screen_of(CAMERAS), panes)
    with pytest.raises(BadInputError) as caught:
        read_inspection_input(path)
    assert key in {fault.key for fault in caught.value.faults}, caught.value
    assert code in {fault.code for fault in caught.value.faults} or code == "unknown-key"


def test_a_pane_beyond_the_picture(tmp_path: Path) -> None:
    screen = screen_of(CAMERAS)
    text = stated(screen, CAMERAS).replace("front = [4, 4, 954,", "front = [4, 4, 1954,")
    with pytest.raises(BadInputError) as caught:
        read_inspection_input(job_with(tmp_path, screen, text))
    assert [(f.code, f.key) for f in caught.value.faults] == [("out-of-range", "panes.front")]


def test_a_picture_without_panes_says_to_state_them(tmp_path: Path) -> None:
    view = cv2.imread(str(CLEAR_DAY.parent / "front.jpg"))
    path = job_with(tmp_path, Screen(bgr=view, rects=()), "")
    with pytest.raises(BadInputError) as caught:
        read_inspection_input(path)
    assert [fault.code for fault in caught.value.faults] == ["no-panes"]


def test_panes_that_are_found_are_handed_back_to_be_named(tmp_path: Path) -> None:
    screen = screen_of(CAMERAS)
    path = job_with(tmp_path, screen, "")
    with pytest.raises(BadInputError) as caught:
        read_inspection_input(path)
    (fault,) = caught.value.faults
    assert fault.code == "panes-unnamed"
    assert all(str(list(rect)) in fault.next_step for rect in screen.rects)


def test_a_check_of_one_screen(tmp_path: Path) -> None:
    """The whole way; pixels count in the screen."""
    order = ("rear", "left", "right", "front")
    screen = screen_of(order)
    path = job_with(tmp_path, screen, stated(screen, order))
    done = CliRunner().invoke(app, ["check", str(path), "--out", str(tmp_path)])
    assert done.exit_code in (0, 4), done.output
    result = json.loads((tmp_path / "inspection.json").read_text(encoding="utf-8"))
    truth = json.loads((CLEAR_DAY.parent / "truth.json").read_text(encoding="utf-8"))
    for camera in result["cameras"]:
        left, top, width, height = screen.rects[order.index(camera["name"])]
        assert camera["picture"]["sources"][0]["crop"] == [left, top, width, height]
        assert camera["marks_used"] >= 0.9 * camera["marks_expected"] > 0
        true = {each["id"]: each["px"] for each in truth["cameras"][camera["name"]]["marks"]}
        share = np.array([width / 1280, height / 720])
        for mark in camera["marks"]:
            if mark["status"] == "used" and true.get(mark["id"]):
                # A pixel's middle: (0, 0) is the middle of the first one, in either size.
                at = (np.array(true[mark["id"]]) + 0.5) * share - 0.5 + (left, top)
                assert np.linalg.norm(mark["pixel"] - at) < 1.0, mark["id"]
