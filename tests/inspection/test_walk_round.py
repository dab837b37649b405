"""The walk round: where cones go, what no camera sees, and how it compares with zones.

Proves against figures worked out by hand that a cone's place is told from the body, that a camera
that looks past the ground near its side leaves just that unseen, that the body hides what is behind
it, that height matters, and that page and command hold together without a picture. Sizes of zones
are from memory and only compared.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.paths import CLEAR_DAY
from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.documents.cautions import CAUTION
from vision.documents.walk_page import walk_page
from vision.documents.walk_words import cone_words, place_words, walk_words
from vision.files.disk import read_job
from vision.inspection.walk_round import (
    Viewer,
    unseen_at,
    walk_round,
)
from vision.job.job import Job
from vision.job.visibility import sees

HALF_X, HALF_Y = 4.1, 1.175


@pytest.fixture(scope="module")
def job() -> Job:
    return read_job(CLEAR_DAY)[0]


def narrow(tilt_deg: float) -> Viewer:
    """A camera on the left side whose picture ends 30 degrees above and below its axis."""
    lens = Lens(
        width=1280, height=600, fx=300 / np.radians(30), fy=300 / np.radians(30), cx=639.5, cy=299.5
    )
    pose = Pose.at(np.array([0.0, 1.175, 2.0]), Aim.from_degrees(90, tilt_deg, 0).rotation())
    return Viewer(name="left", pose=pose, lens=lens)


def test_ground_under_a_camera_that_looks_out(job: Job) -> None:
    """Looking 40 degrees down with 30 to each side, the first ground is 2 / tan 70 out."""
    unseen = unseen_at(job.vehicle, [narrow(40.0)], 0.0)
    column = np.abs(unseen.x_m).argmin()
    beside = unseen.unseen[column][unseen.y_m > HALF_Y]
    first = 2.0 / np.tan(np.radians(70.0))
    assert unseen.y_m[unseen.y_m > HALF_Y][~beside].min() - HALF_Y == pytest.approx(first, abs=0.06)
    # All of the other side is behind the body.
    assert unseen.unseen[:, unseen.y_m < -HALF_Y].all()
    assert unseen.blind_to_m[3] == pytest.approx(4.0, abs=0.05)
    # Higher up the picture's lower edge is reached sooner: less room is unseen straight beside.
    up = unseen_at(job.vehicle, [narrow(40.0)], 1.2)
    assert not up.unseen[column][(up.y_m > HALF_Y + 0.4) & (up.y_m < HALF_Y + 0.8)].any()
    inside = (np.abs(unseen.x_m) < HALF_X)[:, None] & (np.abs(unseen.y_m) < HALF_Y)
    assert not unseen.unseen[inside].any()


def test_what_is_seen(job: Job) -> None:
    points = np.array([[0.0, 3.0, 0.0], [0.0, -3.0, 0.0], [0.0, 3.0, 2.8], [0.0, 1.3, 0.0]])
    camera = narrow(40.0)
    seen = sees(job.vehicle, camera.pose, camera.lens, points)
    np.testing.assert_array_equal(seen, [True, False, False, False])


def test_places_in_words(job: Job) -> None:
    ahead = place_words(job.vehicle, np.array([5.0, 2.0]))
    assert ahead == "0.90 m ahead of the front, 0.82 m left of the left side"
    beside = place_words(job.vehicle, np.array([-1.0, -3.0]))
    assert beside == "1.82 m right of the right side, 1.00 m behind the middle of its length"
    right, left = (place_words(job.vehicle, np.array([-6.0, y])) for y in (-0.5, 0.5))
    assert right.replace("right", "left") == left
    assert "0.50 m" in left


def test_the_list_as_planned(job: Job) -> None:
    walk = walk_round(job)
    assert len(walk.cones) == 8
    assert walk.planned == ("front", "rear", "left", "right")
    assert {cone.seen_by for cone in walk.cones} == {cone.between for cone in walk.cones}
    assert [unseen.height_m for unseen in walk.unseen] == [0.0, 0.3, 0.8, 1.2]
    assert all(0 <= zone.seen_share <= 1 for zone in walk.zones)
    blind = replace(job, cameras=job.cameras[:1])
    assert sum(u.area_m2 for u in walk_round(blind).unseen) > 100


def test_one_view_or_none_is_said(job: Job) -> None:
    cone = walk_round(job).cones[0]
    one = cone_words(job.vehicle, replace(cone, seen_by=cone.between[:1]))
    none = cone_words(job.vehicle, replace(cone, seen_by=()))
    assert len({one, none, cone_words(job.vehicle, cone)}) == 3
    assert cone.between[0] in one


def test_a_body_too_thin_for_a_zone_of_its_own(job: Job) -> None:
    thin = replace(job, vehicle=replace(job.vehicle, width_m=0.001))
    shares = [zone.seen_share for zone in walk_round(thin).zones]
    assert len(shares) == 4
    assert all(0 <= share <= 1 for share in shares)


def test_a_plan_in_which_nothing_is_unseen_is_left_out(job: Job) -> None:
    walk = walk_round(job)
    first, *rest = walk.unseen
    nothing = replace(first, area_m2=0.0, unseen=np.zeros_like(first.unseen))
    without = replace(walk, unseen=(nothing, *(replace(each, area_m2=1.0) for each in rest)))
    page = walk_page(job, without)
    assert page.count('<path class="blind"') == len(rest)
    assert "is seen on the ground" in page
    lines = walk_words(job, without)
    assert sum(line.startswith("unseen ") for line in lines) == len(rest)
    assert any(line.endswith("is seen on the ground") for line in lines)


@pytest.mark.parametrize(("verdict", "said"), [(None, 0), ("keep", 0), ("re-aim", 1)])
def test_a_job_that_is_not_kept_is_said_to_be_none(job: Job, verdict: str, said: int) -> None:
    walk = replace(walk_round(job), verdict=verdict)
    assert sum("not keep" in line for line in walk_words(job, walk)) == said
    assert walk_page(job, walk).count("not keep") == said


def test_page_with_a_hostile_name(job: Job) -> None:
    name = '<script>alert("x")</script>'
    page = walk_page(replace(job, name=name), walk_round(job))
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert CAUTION in page


def test_the_command_needs_no_picture_when_planned(tmp_path: Path) -> None:
    copied = tmp_path / "job.toml"
    copied.write_bytes(CLEAR_DAY.read_bytes())
    result = CliRunner().invoke(app, ["walk", str(copied), "--planned"])
    assert result.exit_code == 0, result.output
    assert len([line for line in result.output.splitlines() if line[:1].isdigit()]) == 8
    assert (tmp_path / "seamtrue-report" / "walk-round.html").is_file()
    missing = CliRunner().invoke(app, ["walk", str(copied)])
    assert missing.exit_code == 5
