"""A carton's corner in pictures drawn by a small ray caster of the tests' own.

Proves: the corner is found within its stated uncertainty for cartons of several colours, turned
and standing in sun and shadow, with their size and turn known or not; what is no carton is never
one: bare ground, tape, a box elsewhere; and a corner goes into a camera's fit like any other mark.
Does not prove it on real cardboard, dented, printed on and taped.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.carton_scenes import Carton, draw
from tests.paths import FRAMES, SAMPLES
from tests.scenes import Eye
from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import lens_prior
from vision.files.disk import read_inspection_input
from vision.identification.corners import with_box_corners
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.job.kinds.box_corner import BoxCorner
from vision.job.layout import planned_layout
from vision.marks.box_corner.carton import carton_edges, upright_edge_seen, ways_to_stand
from vision.marks.box_corner.corner_fit import FoundCorner
from vision.marks.box_corner.edge_search import planes_of
from vision.marks.box_corner.find import find_box_corner
from vision.units.reason import Reason

EYE = Eye(place_m=(0.0, 1.25, 2.45), aim_deg=(90.0, 45.0, 0.0))
BOX = (610, 390, 210, 190)
CORNER = np.array([0.35, 2.3, 0.5])
KNOWN = BoxCorner(size_m=(0.46, 0.34), turn_rad=float(np.radians(35)))
SIGMA_PX = 3.0


def camera() -> tuple[Pose, Lens]:
    pose = Pose.at(np.array(EYE.place_m), Aim.from_degrees(*EYE.aim_deg).rotation())
    centre = EYE.centre_px
    lens = Lens(width=EYE.size[0], height=EYE.size[1], fx=EYE.f_px, fy=EYE.f_px, cx=centre[0],
                cy=centre[1], k=np.array(EYE.k))  # fmt: skip
    return pose, lens


def carton(**changes: object) -> Carton:
    ways = {"corner_m": tuple(CORNER), "turn_deg": 35.0, "along_m": 0.46, "left_m": 0.34}
    return Carton(**{**ways, **changes})


def find(picture: np.ndarray, shape: BoxCorner = KNOWN, corner: np.ndarray = CORNER):
    pose, lens = camera()
    beside = np.array(EYE.place_m[:2])
    covariance = SIGMA_PX**2 * np.eye(2)
    return find_box_corner(planes_of(picture), pose, lens, covariance, corner, shape, beside)


@pytest.mark.parametrize(
    "colours",
    [
        {},
        {"top": (150, 150, 150), "side_along": (60, 60, 60), "side_left": (110, 110, 110)},
        {"top": (200, 205, 210), "side_along": (130, 130, 130), "side_left": (165, 165, 165)},
    ],
    ids=["brown", "grey", "white"],
)
@pytest.mark.parametrize("sun", [None, (0.5, 0.3), (-0.7, -0.2)])
def test_the_corner_is_found_within_its_sigma(colours, sun) -> None:
    rng = np.random.default_rng(7)
    moved = CORNER + rng.normal(0, 0.008, 3) * [1, 1, 0.5]
    picture = draw(EYE, carton(corner_m=tuple(moved), **colours), rng, BOX, sun=sun, tape_y=2.7)
    for shape in (KNOWN, BoxCorner()):
        found = find(picture, shape)
        assert isinstance(found, FoundCorner), found
        off = found.pixel_px - EYE.pixel(moved)
        assert np.linalg.norm(off) < 0.5
        assert off @ np.linalg.solve(found.covariance_px2, off) < 9.2
        assert np.sqrt(np.linalg.eigvalsh(found.covariance_px2)[-1]) < 1.0


def test_a_carton_turned_a_little_otherwise_is_found_too() -> None:
    rng = np.random.default_rng(8)
    found = find(draw(EYE, carton(turn_deg=38.5), rng, BOX))
    assert isinstance(found, FoundCorner), found
    assert np.linalg.norm(found.pixel_px - EYE.pixel(CORNER)) < 0.5


@pytest.mark.parametrize("shape", [KNOWN, BoxCorner()], ids=["known", "unknown"])
def test_without_the_carton_nothing_is_found(shape: BoxCorner) -> None:
    rng = np.random.default_rng(9)
    found = []
    for tape_y in (None, 2.0, 2.3, 2.6):
        picture = draw(EYE, None, rng, BOX, tape_y=tape_y)
        for _ in range(12):
            corner = CORNER + rng.uniform(-1, 1, 3) * [0.25, 0.2, 0.2]
            turned = shape
            if shape.turn_rad is not None:
                turned = BoxCorner(size_m=shape.size_m, turn_rad=float(rng.uniform(0, 3)))
            found.append(isinstance(find(picture, turned, corner), FoundCorner))
    assert not any(found)


@pytest.mark.parametrize("shape", [KNOWN, BoxCorner()], ids=["known", "unknown"])
def test_another_place_on_the_carton_is_not_its_corner(shape: BoxCorner) -> None:
    rng = np.random.default_rng(10)
    picture = draw(EYE, carton(), rng, BOX, tape_y=2.7)
    for _ in range(30):
        away = rng.uniform(-0.35, 0.35, 2)
        if np.hypot(*away) < 0.12:
            continue
        found = find(picture, shape, CORNER + np.array([*away, 0.0]))
        assert isinstance(found, Reason), (away, found)


def test_a_carton_seen_from_behind_is_not_looked_for() -> None:
    ways = ways_to_stand(CORNER, KNOWN.turn_rad, KNOWN, np.array(EYE.place_m[:2]))
    assert ways == [(1.0, 1.0)]
    assert upright_edge_seen(CORNER, KNOWN.turn_rad, ways[0], np.array(EYE.place_m))
    assert not upright_edge_seen(CORNER, KNOWN.turn_rad, ways[0], np.array([0.6, 6.0, 2.4]))
    assert not upright_edge_seen(CORNER, KNOWN.turn_rad, ways[0], np.array([0, 1.2, 0.4]))


def test_near_the_middle_of_a_side_two_ways_to_stand_are_tried() -> None:
    beside = np.array([CORNER[0] + 0.05, 0.0])
    assert len(ways_to_stand(CORNER, 0.0, KNOWN, beside)) == 2
    long, short, down = carton_edges(CORNER, 0.0, KNOWN, (1.0, -1.0))
    assert long[0] > 0 > short[1]
    assert down[2] < 0
    np.testing.assert_allclose([long @ short, long @ down, short @ down], 0, atol=1e-12)


def test_the_far_edge_of_a_narrow_side_is_not_taken_for_the_near_one() -> None:
    """A side seen 10 px wide, in a stored picture: its top edge is faint, its foot is clear."""
    folder = FRAMES / "board_panels"
    job, pictures = read_inspection_input(folder / "job.toml")
    index = [camera.name for camera in job.cameras].index("left")
    camera, picture = job.cameras[index], pictures[index]
    grey = 110 + 0.5 * (np.asarray(picture.grey, dtype=np.float32) - 110)
    prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
    seen = identify(job, planned_layout(job), camera, prior, grey)
    assert isinstance(seen, Identified)
    bgr = 110 + 0.5 * (picture.bgr.astype(np.float32) - 110)
    found = with_box_corners(job, camera, seen, bgr)
    true = np.array([827.34, 545.10])
    (carton,) = [each for each in found.sightings if str(each.id) == "left_carton"]
    if carton.measured is not None:
        assert np.linalg.norm(carton.measured.pixel_px - true) < 2
    assert carton.reason == Reason("side-narrow")


def test_outside_the_picture_is_said() -> None:
    found = find(np.zeros((720, 1280, 3), dtype=np.uint8), KNOWN, np.array([0.0, -9.0, 0.5]))
    assert found == Reason("outside-picture")


def test_a_fit_answers_for_its_marks_and_not_for_corners_added_to_it() -> None:
    """Cartons never enter a plan fit, stand less exactly than tape, and say nothing of its fit."""
    job, pictures = read_inspection_input(SAMPLES / "long_shadow" / "job.toml")
    index = [camera.name for camera in job.cameras].index("right")
    camera, picture = job.cameras[index], pictures[index]
    prior = lens_prior(job.lens_of(camera), picture.width, picture.height)
    seen = identify(job, planned_layout(job), camera, prior, picture.grey)
    assert isinstance(seen, Identified)
    found = with_box_corners(job, camera, seen, picture.bgr)
    assert len(found.fit.points.ids) > len(seen.fit.points.ids)
    assert found.fit.reprojection_px == seen.fit.reprojection_px
    assert found.fit.off_ground_m == seen.fit.off_ground_m
