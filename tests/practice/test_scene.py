"""Drawn scenes: the picture shows what the truth says, and the truth what was asked for.

Proves: the drawing agrees with the renderer of `tests.scenes`, written apart from it, in geometry
and in where marks fall; every kind of mark is drawn the right way round, on the ground and on a
trestle; body, shadow and mirroring; that the truth's hidden marks are hidden; that stated
deviations are the ones a check names; that no picture of the job is ever overwritten.

Does not prove: anything about the lens model, which the drawing shares with the checker; that real
asphalt, light or paint look like this.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from cli.main import app
from tests import scenes
from tests.paths import CLEAR_DAY, ROOT
from tests.refusing import refused
from tests.scenes import Eye as OtherEye
from tests.scenes import Light as OtherLight
from tests.scenes import Tape as OtherTape
from tests.scenes import draw as draw_otherwise
from tests.yards import PLAIN, YARD_JOB, level, probe, sighting
from vision.files import disk
from vision.job.body import body_hides
from vision.job.job import Job
from vision.job.job_file import job_from_text
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId
from vision.practice import as_laid, spots
from vision.practice.deviations import Deviations, Moved
from vision.practice.deviations_file import deviations_from_text
from vision.practice.drawing import draw, lattice
from vision.practice.ground_texture import Texture, Yard
from vision.practice.scene import draw_scene
from vision.practice.truth import NOTE, truth_of
from vision.practice.world import true_world
from vision.units.errors import BadInputError

SMALL = Deviations(width=640, height=360, light=PLAIN)


@pytest.fixture(scope="module")
def job() -> Job:
    return job_from_text(YARD_JOB, "job.toml")


# --------------------------------------------------------------------------------- against another


def test_agrees_with_a_renderer_written_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    # Both draw one strip through one lens in the same greys: the crosses must be the same.
    text = YARD_JOB.replace("field_of_view_deg = 186", 'file = "wide.json"')
    text = text.replace('radius = "14 cm"', "arm = [0.12, 0.082]\nline = 0.025")
    text = text.replace(
        "pan_deg = 0\ntilt_deg = 45\nroll_deg = 0", "pan_deg=4\ntilt_deg=45\nroll_deg=3"
    )
    text = text.replace('"40 cm"', '"18 cm"').replace('mark = "quadrant"', 'mark = "cross"', 1)
    eye = OtherEye(place_m=(3.02, 0, 2.3), aim_deg=(4, 45, 3))
    lens = {"schema": "seamtrue.lens/1", "model": "kannala-brandt", "width": 1280, "height": 720}
    lens |= {"fx": 427.0, "fy": 427.0, "cx": 642.5, "cy": 361.0, "k": list(eye.k)}
    job = job_from_text(text, "job.toml", {"wide.json": json.dumps(lens).encode()})
    job = replace(job, strips=job.strips[:1], marks=(), cameras=job.cameras[:1])
    # Its usual six rows of samples a pixel put a nearly upright edge up to .02 px off.
    monkeypatch.setattr(scenes, "SAMPLES", 17)
    monkeypatch.setattr(as_laid, "ASPHALT", (92.0,) * 3)
    for name, grey in {"LIGHT_TAPE": 195.0, "DARK_INK": 40.0}.items():
        monkeypatch.setattr(spots, name, (grey,) * 3)
    flat = Texture(levels=(np.zeros((8, 8), np.float32),) * 2, cell_m=1.0, repeats=True)
    clean = Texture(levels=(np.ones((8, 8), np.float32),) * 2, cell_m=1.0, repeats=False)
    rng = np.random.default_rng(1)
    world = true_world(job, Deviations(), rng)
    yard = Yard(grain=flat, blotches=flat, painted=clean)
    drawn = draw(world, world.eyes[0], yard, Deviations(light=PLAIN), rng)
    tape = OtherTape(start_m=(4.6, -1.2), heading_deg=90, at_m=(0.0, 1.2, 2.4))
    other = draw_otherwise(eye, (tape,), rng, OtherLight(noise=0))
    for index, pixel in enumerate(eye.pixel(tape.centres())):
        seen = sighting(truth_of(world, Deviations(), 0), "front", f"across/{index}")
        np.testing.assert_allclose(seen["pixel"], pixel, atol=1e-4)
        u, v = np.round(pixel).astype(int)
        ours, theirs = (
            grey[v - 12 : v + 13, u - 12 : u + 13].astype(np.float64)
            for grey in (drawn.mean(axis=2), other)
        )
        # The other's ground has blotches of 5 %, and ours is darker near the body.
        assert np.abs(ours - theirs).max() < 15
        # One step of least squares for the shift, beside gain and a ramp of light.
        parts = (theirs, *np.gradient(theirs), np.ones((25, 25)), *np.indices((25, 25)))
        rows = np.stack([part.ravel() for part in parts], axis=-1)
        gain, *shift = np.linalg.lstsq(rows, ours.ravel(), rcond=None)[0][:3]
        assert np.hypot(*shift) / gain < 0.015


def test_rays_of_a_pixel_share_an_edge_evenly() -> None:
    du, dv = lattice()
    assert abs(du.mean()) < 1e-12
    assert abs(dv.mean()) < 1e-12
    dense = (np.indices((200, 200)).reshape(2, -1) + 0.5) / 200 - 0.5
    off = []
    for turn in np.linspace(0, np.pi, 17):
        for cut in (-0.3, -0.1, 0.05, 0.2):
            share = np.mean(np.cos(turn) * du + np.sin(turn) * dv < cut)
            exact = np.mean(np.cos(turn) * dense[0] + np.sin(turn) * dense[1] < cut)
            off.append(share - exact)
    # Worst where an edge runs along the lattice; on average far better.
    assert np.abs(off).max() < 0.11
    assert np.std(off) < 0.035


# --------------------------------------------------------------------------------- what is drawn


@pytest.fixture(scope="module")
def scene(job: Job):
    return draw_scene(job, Deviations(light=PLAIN), seed=3)


@pytest.mark.parametrize(("mark", "reach"), [("across/1", 0.06), ("trestle", 0.05)])
def test_quadrants_are_dark_ahead_left_and_behind_right(scene, mark: str, reach: float) -> None:
    dark = [probe(scene, "front", mark, s * reach, s * reach) for s in (-1, 1)]
    light = [probe(scene, "front", mark, s * reach, -s * reach) for s in (-1, 1)]
    assert max(dark) + 80 < min(light)


def test_a_boards_square_behind_right_is_dark(scene) -> None:
    # Corners [4, 3]: five squares along and four across, of 10 cm.
    levels = np.array(
        [
            [probe(scene, "front", "boards/0", 0.1 * (i - 2), 0.1 * (j - 1.5)) for i in range(5)]
            for j in range(4)
        ]
    )
    dark = np.add.outer(np.arange(4), np.arange(5)) % 2 == 0
    assert levels[dark].max() + 60 < levels[~dark].min()
    assert probe(scene, "front", "boards/0", 0.265, 0.0) > levels[dark].max() + 60


def test_light_ink_and_a_sheet_seen_by_a_mirrored_camera(scene) -> None:
    assert probe(scene, "left", "side/4", 0, 0) > probe(scene, "left", "side/4", 0.06, 0.06) + 80
    assert probe(scene, "left", "sheet", 0, 0) + 80 < probe(scene, "left", "sheet", 0.1, 0.1)
    seen = sighting(scene.truth, "left", "sheet")
    assert seen["status"] == "visible"
    assert level(scene.pictures["left"], seen["pixel"]) < 60


def test_a_mirrored_picture_is_the_other_turned_round(job: Job) -> None:
    cameras = tuple(replace(camera, mirrored=False) for camera in job.cameras)
    straight = draw_scene(replace(job, cameras=cameras), SMALL, seed=3)
    mirrored = draw_scene(job, SMALL, seed=3)
    assert np.array_equal(straight.pictures["left"][:, ::-1], mirrored.pictures["left"])
    there = sighting(straight.truth, "left", "sheet")["pixel"]
    here = sighting(mirrored.truth, "left", "sheet")["pixel"]
    assert here == pytest.approx([639 - there[0], there[1]])


def test_what_the_truth_calls_hidden_is_what_the_body_hides(job: Job, scene) -> None:
    layout, by_body = planned_layout(job), 0
    for eye in scene.world.eyes:
        place = eye.pose.camera_in_ground_m
        for mark in layout.points:
            seen = sighting(scene.truth, eye.camera.name, str(mark.id))
            if seen["status"] == "outside":
                continue
            hidden = body_hides(job.vehicle, place, mark.centre_m[None], margin_m=0.0)[0]
            assert (seen.get("hidden_by") == "body") == hidden
            by_body += hidden
    assert by_body > 0


def test_a_trestle_and_a_later_tape_hide_marks(job: Job) -> None:
    # The trestle moved between the camera and a board; the boards' tape laid over the quadrants.
    moved = {MarkId("trestle"): Moved(shift_m=np.array([0.35, -1.15, 0.0]))}
    over = {"boards": Moved(shift_m=np.array([-1.4, 0.0, 0.0]))}
    trestle = draw_scene(job, replace(SMALL, marks=moved)).truth
    tape = draw_scene(job, replace(SMALL, strips=over)).truth
    assert sighting(trestle, "front", "boards/0/1/1")["hidden_by"] == "trestle"
    assert sighting(tape, "front", "across/1")["hidden_by"] == "boards"


def test_the_shadow_ends_where_the_sun_says(job: Job) -> None:
    # Sun behind at 45 degrees: a body 2.6 m high throws 2.6 m of shadow ahead of its front, x = 3.
    sunny = replace(PLAIN, sun_elevation_rad=np.radians(45), sun_azimuth_rad=np.pi, blur_px=0.3)
    bare = replace(job, strips=job.strips[2:], marks=(), cameras=job.cameras[:1])
    scene = draw_scene(bare, Deviations(light=sunny))
    eye = scene.world.eyes[0]
    x = np.array([5.4, 5.5, 5.55, 5.65, 5.7, 5.8])
    places = np.stack([x, np.full(6, 0.4), np.zeros(6)], axis=-1)
    pixels = eye.lens.project(eye.pose.transform(places))
    levels = [level(scene.pictures["front"], pixel) for pixel in pixels]
    assert max(levels[:3]) < 0.65 * min(levels[3:])


def test_the_same_seed_gives_the_same_pictures(job: Job) -> None:
    tiny = Deviations(width=240, height=136)
    first, again, other = (draw_scene(job, tiny, seed) for seed in (5, 5, 6))
    assert np.array_equal(first.pictures["front"], again.pictures["front"])
    assert first.truth == again.truth
    assert not np.array_equal(first.pictures["front"], other.pictures["front"])


def test_blur_noise_and_vignetting_are_as_stated(job: Job) -> None:
    bare = replace(job, strips=job.strips[2:], marks=(), cameras=job.cameras[:1])
    clean = draw_scene(bare, SMALL, 2).pictures["front"].astype(float)
    noisy = draw_scene(bare, replace(SMALL, light=replace(PLAIN, noise=6)), 2)
    inside = (clean > 40) & (clean < 215)
    assert np.std((noisy.pictures["front"] - clean)[inside]) == pytest.approx(6, rel=0.03)
    soft = draw_scene(bare, replace(SMALL, light=replace(PLAIN, blur_px=3)), 2)
    assert np.abs(np.diff(soft.pictures["front"].astype(float), axis=1)).mean() < (
        0.7 * np.abs(np.diff(clean, axis=1)).mean()
    )
    dim = draw_scene(bare, replace(SMALL, light=replace(PLAIN, vignetting=0.5)), 2)
    share = dim.pictures["front"] / np.maximum(clean, 1)
    assert share[180, 320].mean() == pytest.approx(1, abs=0.03)
    # Half way out along the row: (320 / 734)^2 of the corner's loss.
    assert share[150:210, 600].mean() == pytest.approx(1 - 0.5 * (280 / 367) ** 2, abs=0.04)


# ------------------------------------------------------------------------------ where things are


def test_deviations_move_what_they_name(job: Job) -> None:
    text = b"""
    [scene]
    units = "cm"
    exact_lenses = true
    [camera.left]
    tilt_deg = 5
    shift = [1, "2 mm", -3]
    [strip.across]
    shift = [0, 6]
    turn_deg = 90
    [mark."side/3"]
    shift = ["1 in", 0]
    [mark.trestle]
    shift = [0, 0, -4]
    """
    truth = draw_scene(job, replace(deviations_from_text(text, "d.toml", job), width=64, height=64))
    left = truth.truth["cameras"][1]
    assert left["turned_deg"] == pytest.approx({"pan": 0, "tilt": 5, "roll": 0}, abs=1e-6)
    assert left["position_m"] == pytest.approx([0.01, 1.122, 2.27])
    assert left["lens"]["focal_over_guess"] == 1
    marks = {mark["id"]: mark["true_m"] for mark in truth.truth["marks"]}
    # The strip ran from y = -1.2 to 1.2; a quarter turn about its middle, then 6 cm to the left.
    assert marks["across/0"] == pytest.approx([4.6 + 1.2, 0.06, 0])
    assert marks["side/3"] == pytest.approx([-0.4 + 0.0254, 1.6, 0])
    assert marks["trestle"] == pytest.approx([5, 2.1, 0.71])
    assert truth.truth["strips"][0]["turn_deg"] == pytest.approx(90)


def test_small_errors_have_the_stated_sigmas(job: Job) -> None:
    ends, marks, cameras = [], [], []
    for seed in range(150):
        world = true_world(job, Deviations(small_errors=1), np.random.default_rng(seed))
        planned = np.array([mark.centre_m for mark in world.planned])
        true = np.array([mark.centre_m for mark in world.marks])
        ends.append(world.tapes[2].middle_m - [-1, 1.6])
        marks.append((true - planned)[5:11, 0] - world.tapes[2].middle_m[0] - 1)
        cameras.append(world.eyes[0].pose.camera_in_ground_m - job.cameras[0].position_m)
    assert np.std(ends) == pytest.approx(0.01 / np.sqrt(2), rel=0.12)
    assert np.std(marks) == pytest.approx(0.003, rel=0.08)
    assert np.std(cameras) == pytest.approx(0.02, rel=0.12)


def test_a_drawn_lens_keeps_its_field_and_rises_throughout(job: Job) -> None:
    for seed in range(50):
        lens = true_world(job, Deviations(), np.random.default_rng(seed)).eyes[0].lens
        edges = lens.unproject(np.array([[lens.cx - 640, lens.cy], [lens.cx + 640, lens.cy]]))
        field = np.degrees(np.arctan2(np.abs(edges[:, 0]), edges[:, 2])).sum()
        assert field == pytest.approx(186, abs=4)
        assert lens.monotone_limit_rad > np.radians(100)
        assert 1.01 < lens.fx / (640 / np.radians(93)) < 1.11


def test_every_fault_of_a_deviations_file_is_told_at_once(job: Job) -> None:
    text = b"""
    [camera.frnt]
    tilt_deg = 5
    [camera.left]
    tilt = 5
    shift = [0, 0, -3]
    [strip.across]
    shift = [0, "6 parsec"]
    [mark."side/9"]
    shift = [0, 0]
    [light]
    sun_azimuth_deg = 20
    jpeg_quality = 200
    """
    with pytest.raises(BadInputError) as caught:
        deviations_from_text(text, "d.toml", job)
    told = str(caught.value)
    keys = ("camera.frnt", "did you mean `front`", "tilt_deg", "below the ground")
    keys += ("strip.across.shift", "mark.side/9", "sun_elevation_deg", "jpeg_quality")
    for key in keys:
        assert key in told
    with refused("not-toml"):
        deviations_from_text(b"[camera", "d.toml", job)


# ------------------------------------------------------------------------------------- on disk


@pytest.fixture
def yard(tmp_path: Path) -> Path:
    (tmp_path / "yard").mkdir()
    (tmp_path / "yard" / "job.toml").write_text(YARD_JOB)
    (tmp_path / "small.toml").write_text("[scene]\nwidth = 320\nheight = 180\n")
    return tmp_path


def run(*arguments: object):
    return CliRunner().invoke(app, ["scene", *map(str, arguments)])


def test_the_copied_job_reads_the_drawn_pictures(yard: Path) -> None:
    # A pattern and a picture in a folder of its own: the job file is copied to the letter.
    options = ("--deviations", yard / "small.toml", "--seed", 4)
    result = run(yard / "yard" / "job.toml", "--out", yard / "drawn", *options)
    assert result.exit_code == 0, result.output
    assert NOTE in result.output
    assert (yard / "drawn" / "job.toml").read_text() == YARD_JOB
    _, pictures = disk.read_inspection_input(yard / "drawn" / "job.toml")
    assert [picture.file for picture in pictures] == ["front_0.jpg", "left.png"]
    assert {(picture.width, picture.height) for picture in pictures} == {(320, 180)}
    truth = json.loads((yard / "drawn" / "truth.json").read_text())
    assert truth["seed"] == 4
    assert [camera["name"] for camera in truth["cameras"]] == ["front", "left"]


def test_the_jobs_own_folder_is_refused(yard: Path) -> None:
    picture = yard / "yard" / "front_0.jpg"
    picture.write_bytes(b"the real one")
    (yard / "linked").symlink_to(yard / "yard")
    (yard / "half").mkdir()
    (yard / "half" / "front_0.jpg").symlink_to(picture)
    for out in ("yard", "linked", "half"):
        result = run(yard / "yard" / "job.toml", "--out", yard / out)
        assert result.exit_code == 5
        assert ": --out: " in result.output
    assert picture.read_bytes() == b"the real one"
    assert sorted(path.name for path in (yard / "yard").iterdir()) == ["front_0.jpg", "job.toml"]


def test_bad_input_is_told_without_a_traceback(yard: Path) -> None:
    (yard / "bad.toml").write_text("[strip.nowhere]\n")
    job_file = yard / "yard" / "job.toml"
    for options in (("--deviations", yard / "bad.toml"), ("--deviations", yard / "none.toml")):
        result = run(job_file, "--out", yard / "drawn", *options)
        assert result.exit_code == 5
    assert run(yard / "none.toml", "--out", yard / "drawn").exit_code == 5
    twice = YARD_JOB.replace("shots/left.png", "front_*.jpg")
    (yard / "yard" / "job.toml").write_text(twice)
    result = run(job_file, "--out", yard / "drawn")
    assert result.exit_code == 5
    assert ": camera.left.picture: " in result.output
    assert not (yard / "drawn").exists()


# ---------------------------------------------------------------------------------- round trip


def test_a_check_names_exactly_the_faults_that_were_drawn(tmp_path: Path) -> None:
    asked = tmp_path / "asked.toml"
    # Smaller than what a camera gives, for speed.
    asked.write_text(
        "[scene]\nwidth = 800\nheight = 450\n"
        '[camera.front]\ntilt_deg = 5\n[strip.right]\nshift = [0, "-6 cm"]\n'
    )
    result = run(CLEAR_DAY, "--out", tmp_path / "drawn", "--deviations", asked, "--seed", 3)
    assert result.exit_code == 0, result.output
    # In a process of its own with one thread: many on matrices this small only wait for each other.
    checked = subprocess.run(
        [sys.executable, "-m", "cli.main", "check", tmp_path / "drawn" / "job.toml"],
        cwd=ROOT,
        env=os.environ | {"OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert checked.returncode == 3, checked.stderr
    found = json.loads((tmp_path / "drawn" / "seamtrue-report" / "inspection.json").read_text())
    assert found["verdict"] == "re-measure"
    cameras = {each["name"]: each for each in found["cameras"]}
    verdicts = {name: each["verdict"] for name, each in cameras.items()}
    assert verdicts == {"front": "re-aim", "rear": "keep", "left": "keep", "right": "keep"}
    strips = {each["name"]: each for each in found["strips"]}
    verdicts = {name: each["verdict"] for name, each in strips.items()}
    assert verdicts == {"left": "keep", "right": "re-measure", "front": "keep", "rear": "keep"}
    np.testing.assert_allclose(strips["right"]["shift_m"], [0, -0.06], atol=0.01)
    assert cameras["front"]["joint"]["aim_deg"]["tilt"] == pytest.approx(50, abs=0.5)
