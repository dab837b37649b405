"""`seamtrue lens` from pictures to a lens file, and what it answers to bad input.

Proves: the file written is one that a job reads, in each form; exit codes 0, 4 and 5 with their
messages, all faults at once; a folder, the page, a wrong count, two zoom settings. Does not
prove: accuracy (see test_lens_fit).
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.board_pictures import BOARD, LENS, drawn, pose_at
from vision.camera.lens_formats import read_lens
from vision.units.errors import Fault

OPTIONS = ("--board", "7x5", "--square", "30mm")


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    folder = tmp_path_factory.mktemp("boards")
    names = []
    for row, (middle, turn) in enumerate([(0, 10), (40, 60), (55, -30)]):
        picture = drawn(LENS, BOARD, pose_at(middle, turn, 0.25), np.random.default_rng(row))
        names.append(str(folder / f"{row}.png"))
        assert cv2.imwrite(names[-1], picture.astype(np.uint8))
    return names


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["lens", *arguments])
    return result.exit_code, result.output


@pytest.mark.parametrize("form", ["seamtrue", "opencv", "ros"])
def test_a_lens_file_that_a_job_reads(pictures: list[str], tmp_path: Path, form: str) -> None:
    out = tmp_path / "new" / "wide.lens"
    code, text = run(
        *pictures, "--board", "7x5", "--square", "30mm", "--out", str(out), "--format", form
    )
    assert code == 0, text
    faults: list[Fault] = []
    stated = read_lens(out.read_bytes(), "wide.lens", "wide", faults)
    assert not faults
    assert stated is not None
    assert stated.fitted is not None
    if form == "seamtrue":
        assert stated.covariance is not None
        off = stated.fitted.as_vector() - LENS.as_vector()
        assert off @ np.linalg.solve(stated.covariance, off) < 30


def test_all_faults_at_once(pictures: list[str], tmp_path: Path) -> None:
    missing, text_file = str(tmp_path / "none.png"), tmp_path / "words.png"
    text_file.write_text("words")
    small = tmp_path / "small.png"
    assert cv2.imwrite(str(small), np.zeros((100, 100), np.uint8))
    out = str(tmp_path / "l.json")
    given = [pictures[0], missing, str(text_file), str(small)]
    code, text = run(*given, "--board", "1x5", "--square", "wide", "--out", out)
    assert code == 5
    for each in ("--board", "--square", "none.png", "words.png", "small.png"):
        assert each in text
    assert "Traceback" not in text


def test_no_board_in_any_picture(tmp_path: Path) -> None:
    grey = tmp_path / "wall.png"
    assert cv2.imwrite(str(grey), np.full((100, 120), 128, np.uint8))
    out = tmp_path / "l.json"
    code, text = run(str(grey), "--board", "7x5", "--square", "30mm", "--out", str(out))
    assert code == 4
    assert "wall.png: " in text
    assert "8 x 6" in text
    assert not out.exists()


def test_a_folder_and_a_page(pictures: list[str], tmp_path: Path) -> None:
    folder = Path(pictures[0]).parent
    out, page = tmp_path / "l.json", tmp_path / "deep" / "l.html"
    code, text = run(
        str(folder), *OPTIONS, "--out", str(out), "--report", str(page), "--pixel-aspect", "1"
    )
    assert code == 0, text
    assert text.count("35/35") == 3
    body = page.read_text("utf-8")
    for each in ("0.png", "1.png", "2.png"):
        assert each in body
    assert "http" not in body.replace("http-equiv", "")
    assert "<script" not in body


def test_a_wrong_count_is_told(pictures: list[str], tmp_path: Path) -> None:
    out = tmp_path / "l.json"
    code, text = run(*pictures, "--board", "8x6", "--square", "30mm", "--out", str(out))
    assert code == 4
    assert "7x5" in text
    assert not out.exists()


def test_two_cameras_are_named(
    pictures: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Six pictures, every second one enlarged about its middle, as by another zoom."""
    monkeypatch.setattr("cli.lens_input.FEWEST_APART", 99)
    names = []
    for row, (middle, turn) in enumerate([(0, 10), (35, 60), (-35, -30), (20, 0), (-20, 45)]):
        grey = drawn(LENS, BOARD, pose_at(middle, turn, 0.3), np.random.default_rng(row))
        for zoom, name in ((1.0, "wide"), (1.3, "tele")):
            turn_px = cv2.getRotationMatrix2D((319.5, 199.5), 0, zoom)
            picture = cv2.warpAffine(grey, turn_px, (640, 400), flags=cv2.INTER_CUBIC)
            names.append(str(tmp_path / f"{name}{row}.png"))
            assert cv2.imwrite(names[-1], np.clip(picture, 0, 255).astype(np.uint8))
    names.sort(key=lambda name: "wide" not in name)
    code, text = run(*names, *OPTIONS, "--out", str(tmp_path / "l.json"))
    assert code == 4, text
    assert "pictures 1 to 5, and 6 to 10" in text


def test_a_pixel_shape_that_cannot_be(pictures: list[str], tmp_path: Path) -> None:
    out = str(tmp_path / "l.json")
    code, text = run(pictures[0], *OPTIONS, "--out", out, "--pixel-aspect", "oval")
    assert code == 5
    assert "--pixel-aspect" in text
    empty = tmp_path / "empty"
    empty.mkdir()
    code, text = run(str(empty), *OPTIONS, "--out", out)
    assert code == 5
    assert "empty" in text
