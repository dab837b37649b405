"""Proves that what is predicted of a turn or a load is what then happens.

Proves: a lowered vehicle moves what a display draws by the closed form of similar triangles; a
predicted seam, aim and number of marks agree with a second, simulated check after that turn; how
covariances are carried agrees with differences; a turned picture is the one that would be taken;
wrong options are all told at once.

Does not prove that a person turns a camera by what was asked for, nor what a real suspension does.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from typer.testing import CliRunner

from cli.main import app
from cli.whatif_table import show_sensitivities
from tests.accuracy.compare import Between, epoch_of, later_check
from tests.accuracy.simulation import Truth, simulate
from tests.conftest import hand_made_job
from tests.fits import perfect_adjustment, perfect_camera, perfect_fit
from tests.paths import CLEAR_DAY
from vision.adjustment.adjusted import Adjustment
from vision.adjustment.plan_fit import PlanFit
from vision.adjustment.state import UNKNOWNS
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.camera.solver import NoFit
from vision.comparison.change import Epoch
from vision.documents.forecast_words import change_words, outcome
from vision.documents.turned_picture import turned_picture
from vision.inspection.inspected import InspectedCamera, Inspection
from vision.inspection.verdict.rule import Action
from vision.inspection.whatif.asked import asked_change, recommended, small_changes
from vision.inspection.whatif.change import Change
from vision.inspection.whatif.forecast import (
    changed_adjustment,
    predict,
    sensitivities,
    without_marks,
)
from vision.job.job import Job
from vision.job.job_file import job_from_text
from vision.marks.picture import Picture
from vision.units.arrays import Array
from vision.units.errors import BadInputError
from vision.units.length_words import METRIC
from vision.units.reason import Reason
from vision.views.seams.gaps import seam_gaps

WIDTH, HEIGHT = 1280, 720
LENS = Lens(width=WIDTH, height=HEIGHT, fx=390.0, fy=390.0, cx=639.5, cy=359.5)


def inspection_of(
    job: Job, adjustment: Adjustment, fits: dict[str, PlanFit], verdict: str = "keep"
) -> Inspection:
    """What an inspection says of these fits; the pictures are black."""
    black = np.zeros((HEIGHT, WIDTH, 3), dtype=np.uint8)
    cameras = tuple(
        InspectedCamera(
            camera=camera,
            picture=Picture.from_delivered(
                name=camera.name, file="a.png", sha256="0" * 64, mirrored=False, bgr=black
            ),
            verdict=verdict,
            plan_fit=fits[camera.name],
            adjusted=adjustment.camera(camera.name),
        )
        for camera in job.cameras
    )
    return Inspection(job=job, verdict=verdict, cameras=cameras, adjustment=adjustment)


@pytest.fixture(scope="module")
def exact() -> Inspection:
    """Every camera exactly where and how the job has it, display and adjustment alike."""
    job = hand_made_job()
    cameras = tuple(
        perfect_camera(
            camera.name,
            Pose.at(camera.position_m, camera.aim.rotation()),
            LENS,
            1e-8 * np.eye(UNKNOWNS),
        )
        for camera in job.cameras
    )
    adjustment = perfect_adjustment(cameras, 1e-8 * np.eye(UNKNOWNS * len(cameras)))
    return inspection_of(job, adjustment, {c.name: perfect_fit(c.pose, LENS) for c in cameras})


@pytest.fixture(scope="module")
def simulated() -> tuple[Truth, Epoch, Inspection]:
    job = job_from_text(CLEAR_DAY.read_bytes(), CLEAR_DAY.name)
    truth = simulate(job, np.random.default_rng(8))
    assert truth is not None
    epoch = epoch_of(truth)
    assert epoch is not None
    return truth, epoch, inspection_of(job, epoch.adjustment, truth.fits)


def test_nothing_changed_changes_nothing(simulated):
    forecast = predict(simulated[2], Change())
    assert not isinstance(forecast, NoFit)
    assert not forecast.notes
    for seam in forecast.seams:
        for then in (seam.as_set, seam.set_anew):
            assert then.value_m == pytest.approx(seam.now.value_m)
            assert then.sigma_m == pytest.approx(seam.now.sigma_m)
            assert then.verdict == seam.now.verdict
        assert seam.moved_m == pytest.approx(0, abs=1e-9)
        assert seam.overlap_now.value_m == pytest.approx(seam.overlap_then.value_m)
    for camera in forecast.cameras:
        assert camera.marks_now == camera.marks_then
        assert camera.nearest_now.value_m == camera.nearest_then.value_m


def test_a_lowered_vehicle_by_similar_triangles(exact):
    down = 0.05
    forecast = predict(exact, Change(lower_m=down))
    assert not isinstance(forecast, NoFit)
    for seam in forecast.seams:
        line = next(g for g in _gaps(exact, exact.adjustment) if g.between == seam.between)
        drawn = []
        for name in seam.between:
            camera = exact.adjustment.camera(name)
            place = camera.pose.camera_in_ground_m
            # A camera lower by d sees a point at distance r as the display draws it r h / (h - d)
            # away; the display takes its height to be h still.
            away = line.points_m - place[:2]
            drawn.append(place[:2] + away * place[2] / (place[2] - down))
        gap = np.linalg.norm(drawn[0] - drawn[1], axis=1)
        known = np.isfinite(line.gaps_m).all(axis=1)
        assert seam.now.value_m == pytest.approx(0, abs=1e-9)
        assert seam.as_set.value_m == pytest.approx(gap[known].max(), rel=1e-6)
        assert seam.moved_m == pytest.approx(seam.as_set.value_m)


def _gaps(inspection: Inspection, adjustment: Adjustment):
    fits = {c.camera.name: without_marks(c.plan_fit) for c in inspection.cameras}
    return seam_gaps(inspection.job, fits, adjustment)


def test_a_lean_to_the_right_lowers_the_right(exact):
    after = changed_adjustment(exact.adjustment, Change(lean_rad=np.radians(1)))
    heights = {c.name: c.pose.camera_in_ground_m[2] for c in after.cameras}
    assert heights["right"] < heights["front"] < heights["left"]
    after = changed_adjustment(exact.adjustment, Change(nose_down_rad=np.radians(1)))
    heights = {c.name: c.pose.camera_in_ground_m[2] for c in after.cameras}
    assert heights["front"] < heights["left"] < heights["rear"]
    tilts = {c.name: np.degrees(c.aim.tilt_rad) for c in after.cameras}
    assert tilts["front"] == pytest.approx(46)
    assert tilts["rear"] == pytest.approx(44)


def test_turns_add_to_the_angles(exact):
    change = Change(turns_rad={"left": (0.02, -0.05, 0.01)})
    before = exact.adjustment.camera("left").aim
    after = changed_adjustment(exact.adjustment, change).camera("left").aim
    np.testing.assert_allclose(after.minus(before), [0.02, -0.05, 0.01], atol=1e-12)


def test_how_covariances_are_carried(exact):
    change = Change(turns_rad={"front": (0.1, -0.2, 0.05)}, lean_rad=0.03, nose_down_rad=-0.02)
    front = exact.adjustment.camera("front")
    rng = np.random.default_rng(3)
    root = rng.normal(0, 1e-6, (14, 14))
    spread = 1e-8 * np.eye(56)
    spread[:14, :14] = root @ root.T
    unsure = replace(
        exact.adjustment,
        cameras=(replace(front, covariance=root @ root.T), *exact.adjustment.cameras[1:]),
        parameter_covariance=spread,
    )
    carried = changed_adjustment(unsure, change).camera("front")
    # The turn stays the same turn in the camera's own axes, whatever the pose it starts from.
    Q = carried.pose.R @ change.stance.R @ front.pose.R.T
    columns = []
    for step in np.eye(6) * 1e-6:
        moved = front.pose.perturbed(step)
        place = change.stance.transform(moved.camera_in_ground_m)
        R = Q @ moved.R @ change.stance.R.T
        turn = R @ carried.pose.R.T
        w = Rotation.from_matrix(turn).as_rotvec()
        columns.append(np.r_[place - carried.pose.camera_in_ground_m, w] / 1e-6)
    by_hand = np.array(columns).T @ (root @ root.T)[:6, :6] @ np.array(columns)
    np.testing.assert_allclose(carried.covariance[:6, :6], by_hand, rtol=1e-4, atol=1e-16)


def test_a_second_check_after_the_turn_agrees(simulated):
    truth, epoch, inspection = simulated
    turn = np.radians([-2.0, 0.0, 0.0])
    between = Between(camera="front", turn=turn, relaid=False)
    after = later_check(truth, between, np.random.default_rng(4))
    assert after is not None
    second = epoch_of(after)
    assert second is not None
    asked = epoch.adjustment.camera("front").pose
    angles = asked.perturbed(np.r_[0, 0, 0, turn]).aim.minus(asked.aim)
    forecast = predict(inspection, Change(turns_rad={"front": tuple(angles)}))
    assert not isinstance(forecast, NoFit)
    for fits, which in ((after.fits, "set_anew"), (truth.fits, "as_set")):
        maps = {name: without_marks(fit) for name, fit in fits.items()}
        for gap in seam_gaps(truth.job, maps, second.adjustment):
            found = float(np.nanmax(np.linalg.norm(gap.gaps_m, axis=1)))
            seam = next(each for each in forecast.seams if each.between == gap.between)
            # Each check has its own noise; the stated sigmas of these gaps are 4 to 6 cm.
            assert found == pytest.approx(getattr(seam, which).value_m, abs=0.03)
    front = next(camera for camera in forecast.cameras if camera.name == "front")
    seen = next(o for o in after.observations if o.name == "front").points
    # There marks from 12 px on are drawn, here those from 5 px on are counted; cartons are not.
    assert front.marks_then >= sum(mark_id.strip is not None for mark_id in seen.ids)
    off = second.adjustment.camera("front").aim.minus(truth.job.cameras[0].aim)
    sigma = second.adjustment.camera("front").aim_sigma_rad
    assert np.abs((off - front.off_rad) / sigma).max() < 4


def test_what_is_recommended_is_predicted(simulated):
    _, epoch, inspection = simulated
    left = next(c for c in inspection.cameras if c.camera.name == "left")
    off = epoch.adjustment.camera("left").aim.minus(left.camera.aim)
    turn = (float(-off[0]), float(-off[1]), float(-off[2]))
    turned_by = Reason("turn", camera="left")
    turned = replace(left, actions=(Action(what=turned_by, turn_rad=turn), Action(what=turned_by)))
    cameras = tuple(turned if c is left else c for c in inspection.cameras)
    found = recommended(replace(inspection, cameras=cameras))
    assert list(found) == ["left"]
    change, forecast = found["left"]
    assert change == Change(turns_rad={"left": turn})
    assert not isinstance(forecast, NoFit)
    camera = next(each for each in forecast.cameras if each.name == "left")
    np.testing.assert_allclose(camera.off_rad, 0, atol=1e-9)
    said = outcome(forecast, "left", METRIC)
    others = {name for seam in forecast.seams if "left" in seam.between for name in seam.between}
    assert others == {"front", "left", "rear"}
    for told in (f"{camera.marks_then} marks", "front", "rear"):
        assert told in said
    assert outcome(forecast, "roof", METRIC) == ""


def test_the_table_of_small_changes(exact):
    rows = sensitivities(exact, small_changes(exact.job))
    assert len(rows) == 3 + 4
    by_label = {change_words(row.change, METRIC): row.moved_m for row in rows}
    left = by_label["left tilted 0.5 degree down"]
    assert {seam for seam, moved in left.items() if moved > 1e-6} == {
        seam for seam in left if "left" in seam
    }
    assert all(moved > 0.02 for moved in by_label["5 cm lower"].values())


def test_without_seams_there_is_no_table_but_a_word(exact, capsys):
    rows = sensitivities(exact, small_changes(exact.job))
    show_sensitivities(tuple(replace(row, moved_m={}) for row in rows), exact.job.lengths)
    assert len(capsys.readouterr().out.splitlines()) == 1


def test_without_an_adjustment(exact):
    nothing = replace(exact, adjustment=None)
    forecast = predict(nothing, Change(lower_m=0.1))
    assert isinstance(forecast, NoFit)
    assert sensitivities(nothing, small_changes(exact.job)) == ()


def _sky(rays: Array) -> Array:
    """A smooth colour for every direction in ground coordinates, (..., 3)."""
    unit = rays / np.linalg.norm(rays, axis=-1, keepdims=True)
    return 128 + 100 * np.sin(3 * unit + np.array([0.3, 1.1, 2.0]))


def _taken(pose: Pose, mirrored: bool = False) -> Picture:
    v, u = np.mgrid[:180, :320].astype(float)
    lens = Lens(width=320, height=180, fx=97.0, fy=97.0, cx=159.5, cy=89.5)
    bgr = _sky(lens.unproject(np.stack([u, v], axis=-1)) @ pose.R).round().astype(np.uint8)
    delivered = bgr[:, ::-1] if mirrored else bgr
    return Picture.from_delivered(
        name="front", file="a.png", sha256="0" * 64, mirrored=mirrored, bgr=delivered
    )


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_turned_picture_is_the_one_that_would_be_taken(exact, mirrored):
    lens = Lens(width=320, height=180, fx=97.0, fy=97.0, cx=159.5, cy=89.5)
    camera = replace(exact.adjustment.camera("front"), lens=lens)
    after = Change(turns_rad={"front": (0.05, -0.2, 0.1)}).pose("front", camera.pose)
    drawn = turned_picture(_taken(camera.pose, mirrored), camera, after)
    truth = _taken(after).bgr
    truth = truth[:, ::-1] if mirrored else truth
    off = np.abs(drawn.astype(int) - truth)
    same = (off <= 2).all(axis=-1)
    # The rest is hatched: it lies outside the present picture.
    assert same.mean() > 0.75
    hatched = np.isin(drawn, (118, 150)).all(axis=-1)
    assert (same | hatched).mean() > 0.995


def test_options_are_read_and_faults_told_together(exact):
    job = exact.job
    change = asked_change(job, ["front.tilt=-3", "front.tilt=1", "left.pan=2"], "5 cm", 1.0, -0.5)
    np.testing.assert_allclose(np.degrees(change.turns_rad["front"]), [0, -2, 0])
    np.testing.assert_allclose(np.degrees(change.turns_rad["left"]), [2, 0, 0])
    assert change.lower_m == pytest.approx(0.05)
    assert asked_change(job, [], "-2 in", 0, 0).lower_m == pytest.approx(-0.0508)
    with pytest.raises(BadInputError) as raised:
        asked_change(job, ["fron.tilt=1", "front.tlit=x", "left", "left.roll=nan"], "5", 50.0, 0.0)
    text = str(raised.value)
    assert "`front`" in text
    assert "`tilt`" in text
    assert len(raised.value.faults) == 7


def test_the_command(tmp_path: Path):
    job = CLEAR_DAY
    ran = CliRunner().invoke(
        app, ["whatif", str(job), "--turn", "front.tilt=-3", "--out", str(tmp_path / "seen")]
    )
    assert ran.exit_code == 0, ran.output
    (picture,) = (tmp_path / "seen").iterdir()
    assert picture.name == "1-front-turned.jpg"
    ran = CliRunner().invoke(app, ["whatif", str(job), "--turn", "up"])
    assert ran.exit_code == 5
    assert "CAMERA.ANGLE=DEGREES" in ran.output
