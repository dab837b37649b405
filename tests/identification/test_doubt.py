"""What the body may hide is used only where it is the mark: no mirror image, no half of one.

Proves, with marks projected through a camera on a flank and a body that hides two of them: a hidden
mark seen where it lies (past a rounded edge) is used; an image in the flank some centimetres off is
refused, also where its whole strip lies crooked and where the camera's stated place is 10 cm out;
an image that falls on the hidden mark's own place is refused and named; a board that goes on in its
own image is used up to the body's edge; a small mark that it cuts has to stand out clearly; a
small mark alone in its part of the picture is refused where it is not the mark, though a fit with
it would bend to it. In one drawn scene with polished flanks no used mark is an image. Does not
prove how often an image passes: `python -m tests.accuracy.conditions --only mirrors` counts that.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tests.accuracy.conditions import Tally, views
from tests.fits import well_measured
from vision.adjustment.plan_fit import PlanFit
from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import lens_prior, stepped
from vision.camera.solver import NoFit
from vision.camera.stated_lens import StatedLens
from vision.identification.doubt import doubts, may_be_hidden
from vision.identification.inputs import IdentificationInput, PreparedPicture
from vision.identification.measuring import fit_with_doubts
from vision.identification.refining import fit_points
from vision.job.job import Camera, Job, Strip, Vehicle
from vision.job.kinds.board import Board
from vision.job.kinds.cross import Cross
from vision.job.layout import planned_layout, points_of
from vision.job.mark_id import MarkId
from vision.marks.measure.mark_fit import Measured
from vision.units.reason import Reason

CROSS = Cross(arm_along_m=0.15, arm_across_m=0.1, line_m=0.03)
BOARD = Board(square_m=0.06, corners_along=4, corners_across=3)
SIZE = (1280, 720)
HIDDEN = MarkId("rear", 3)
"""At y = -0.6 behind a body whose flank is at y = -1.15."""


def strip(
    name: str,
    start: tuple[float, float],
    stop: tuple[float, float],
    count: int,
    shape: Cross | Board,
) -> Strip:
    return Strip(
        name=name,
        from_m=np.array(start),
        to_m=np.array(stop),
        at_m=np.linspace(0, np.hypot(*np.subtract(stop, start)), count),
        shape=shape,
        tape_width_m=0.2,
        position_sigma_m=0.01,
    )


def job(rear: Cross | Board = CROSS, first_y_m: float = -2.4) -> Job:
    camera = Camera(
        name="right",
        picture="right.jpg",
        lens="wide",
        position_m=np.array([0.5, -1.21, 2.6]),
        position_sigma_m=0.03,
        aim=Aim.from_degrees(-90, 45, 0),
    )
    rear_strip = strip("rear", (-5.2, first_y_m), (-5.2, first_y_m + 3.0), 6, rear)
    return Job(
        name="Mobile library",
        vehicle=Vehicle(length_m=8.0, width_m=2.3, height_m=3.0),
        lenses=(StatedLens(name="wide", field_of_view_rad=float(np.radians(187))),),
        cameras=(camera,),
        strips=(strip("right", (-5.0, -2.0), (5.0, -2.0), 13, CROSS), rear_strip),
    )


def input_of(planned: Job) -> IdentificationInput:
    camera = planned.cameras[0]
    marks = planned_layout(planned).marks
    return IdentificationInput(
        job=planned,
        layout=planned_layout(planned),
        camera=camera,
        prior=lens_prior(planned.lens_of(camera), *SIZE),
        marks=marks,
        clear=np.ones(len(marks), dtype=bool),
        picture=dataclasses.replace(PreparedPicture.of(np.zeros(SIZE[::-1])), noise=2.0),
    )


def camera_of(given: IdentificationInput) -> tuple[Pose, Lens]:
    """The camera as it truly is: a bit off the job in everything."""
    place_m = given.camera.position_m + np.array([0.01, 0.01, -0.02])
    pose = Pose.at(place_m, given.camera.aim.rotation())
    pose = pose.perturbed(np.array([0, 0, 0, 0.03, -0.04, 0.02]))
    return pose, stepped(given.prior.guess, np.array([3.0, 3.0, 2.0, -1.0, 0.002, 0, 0, 0]))


def refusals(
    given: IdentificationInput,
    moved_m: dict[str, tuple[float, float]],
    shift_m: tuple[float, float] = (0, 0),
    *,
    cut: bool = False,
) -> dict[str, Reason]:
    """What is refused when all is seen where it lies but some points are moved on the ground.

    `shift_m` moves the whole strip behind the body; `cut` has an edge cross what is seen of it.
    """
    rng = np.random.default_rng(3)
    pose, lens = camera_of(given)
    points = [point for mark in given.marks for point in points_of(mark)]
    doubtful = may_be_hidden(given.job.vehicle, pose.camera_in_ground_m, points)
    results: dict[str, Measured | None] = {}
    for point in points:
        off = np.array(moved_m.get(point.id, (0, 0))) + rng.normal(0, 0.001, 2)
        off += shift_m if point.strip == "rear" else (0, 0)
        pixel = lens.project(pose.transform(point.centre_m + np.array([*off, 0])))
        seen = well_measured(point.id, pixel) if lens.contains(pixel) else None
        results[point.id] = seen and dataclasses.replace(seen, shadow=cut, covered=cut)
    sure = [
        (point, result)
        for point, flag in zip(points, doubtful, strict=True)
        if not flag and (result := results[point.id]) is not None
    ]
    fit = fit_points(
        given,
        [point for point, _ in sure],
        np.array([result.pixel_px for _, result in sure]),
        np.array([result.covariance_px2 for _, result in sure]),
        (pose, lens),
    )
    assert isinstance(fit, PlanFit)
    asked = [point for point, flag in zip(points, doubtful, strict=True) if flag]
    assert set(moved_m) <= {point.id for point in asked}
    return doubts(given, fit, asked, results)


def test_a_hidden_mark_seen_where_it_lies_is_used() -> None:
    assert refusals(input_of(job(first_y_m=-2.25)), {}) == {}


def test_part_of_a_mark_beyond_the_bodys_edge_is_refused() -> None:
    refused = refusals(input_of(job(first_y_m=-2.25)), {}, cut=True)
    assert refused
    assert {reason.code for reason in refused.values()} == {"behind-body-and-cut"}


@pytest.mark.parametrize("moved", [(0.0, 0.06), (-0.05, 0.02), (0.0, -0.05)])
@pytest.mark.parametrize("shift", [(0.0, 0.0), (0.02, -0.02)])
def test_an_image_beside_its_place_is_refused(
    moved: tuple[float, float], shift: tuple[float, float]
) -> None:
    refused = refusals(input_of(job(first_y_m=-2.25)), {HIDDEN: moved}, shift)
    assert set(refused) == {HIDDEN}
    assert refused[HIDDEN].code == "astray"
    assert 0.02 < refused[HIDDEN].arguments["off_m"] < 0.12


def test_a_stated_place_that_is_wrong_hides_no_doubt() -> None:
    """As the job has it the camera sees past the body; the fit knows better."""
    given = input_of(job(first_y_m=-2.25))
    wrong = dataclasses.replace(
        given.camera, position_m=given.camera.position_m + np.array([0.1, -0.1, 0.1])
    )
    refused = refusals(dataclasses.replace(given, camera=wrong), {HIDDEN: (0.0, 0.06)})
    assert HIDDEN in refused


def test_an_image_on_the_hidden_marks_own_place_is_named() -> None:
    """Marks at y = -2.69, -2.09 ... 0.31: as far before the flank as behind it, to 8 cm."""
    refused = refusals(input_of(job(first_y_m=-2.69)), {})
    assert set(refused) == {MarkId("rear", 3), MarkId("rear", 4), MarkId("rear", 5)}
    for index in (3, 4, 5):
        assert refused[MarkId("rear", index)] == Reason(
            "mirror-image", mark=MarkId("rear", 5 - index)
        )


def test_a_board_is_used_up_to_the_bodys_edge() -> None:
    """Two of its columns lie before the flank's plane; what lies behind that is their image."""
    given = input_of(job(BOARD, first_y_m=-2.37))
    moved = {MarkId("rear", 2, row, column): (0.0, 0.012) for row in range(3) for column in (2, 3)}
    refused = refusals(given, moved)
    assert set(refused) >= set(moved)
    assert not {MarkId("rear", 2, row, 0) for row in range(3)} & set(refused)


@pytest.mark.parametrize("seen", [(0,), (0, 1)])
@pytest.mark.parametrize("off_m", [-0.18, 0.0])
def test_a_small_mark_that_stands_alone_has_to_be_where_the_others_put_it(
    seen: tuple[int, ...], off_m: float
) -> None:
    planned = job()
    others = (
        planned.strips[0],
        strip("outer", (-4.0, -3.2), (4.0, -3.2), 10, CROSS),
        strip("far", (-9.0, -4.4), (-9.0, -2.0), 4, CROSS),
    )
    given = input_of(dataclasses.replace(planned, strips=others))
    pose, lens = camera_of(given)
    results: dict[str, Measured | None] = {}
    for mark in given.marks:
        if mark.strip == "far" and mark.index not in seen:
            continue
        place = mark.centre_m + np.array([off_m * (mark.id == MarkId("far", 0)), 0.0, 0.0])
        results[mark.id] = well_measured(mark.id, lens.project(pose.transform(place)))
    why: dict[str, Reason] = {}
    fit = fit_with_doubts(given, results, why, (pose, lens))
    assert isinstance(fit, PlanFit)
    assert set(why) == ({MarkId("far", 0)} if off_m else set())
    assert set(fit.points.ids) == set(results) - set(why)


def test_what_the_fit_itself_rejected_says_nothing_of_a_doubtful_mark() -> None:
    given = input_of(job(first_y_m=-2.25))
    pose, lens = camera_of(given)
    results: dict[str, Measured | None] = {}
    for mark in given.marks:
        off = np.array([0.3, 0.2, 0.0]) if mark.id == MarkId("right", 4) else np.zeros(3)
        pixel = lens.project(pose.transform(mark.centre_m + off))
        results[mark.id] = well_measured(mark.id, pixel) if lens.contains(pixel) else None
    why: dict[str, Reason] = {}
    fit = fit_with_doubts(given, results, why, (pose, lens))
    assert isinstance(fit, PlanFit)
    assert [i for i, used in zip(fit.points.ids, fit.used, strict=True) if not used] == [
        MarkId("right", 4)
    ]
    # Others are small and behind the body; none is said to lie astray.
    assert all(each.code == "behind-body-and-small" for each in why.values())


def test_nothing_measured_is_no_fit() -> None:
    given = input_of(job())
    assert isinstance(fit_with_doubts(given, {}, {}, camera_of(given)), NoFit)


def test_no_image_in_a_polished_flank_is_used() -> None:
    """Seen from a place that is stated wrong, with marks as far before the flank as behind it."""
    tally = Tally()
    for view in views("mirrors", 2):
        if view.camera.name == "right":
            outcome = tally.judge(view)
    assert tally.used == tally.due
    assert not tally.wrong
    told = {each.id: each for each in outcome.sightings}
    assert told[MarkId("rear", 2)].status == "hidden"
    assert told[MarkId("rear", 2)].reason.code == "partly-behind-body"


@pytest.mark.parametrize(("contrast", "taken"), [(8.0, False), (40.0, True)])
def test_a_small_mark_cut_by_the_body_has_to_stand_out(contrast: float, taken: bool) -> None:
    """Its centre is 3 cm behind the flank's plane; half of it, seen past that, may look whole."""
    given = input_of(job(first_y_m=-2.92))
    pose, lens = camera_of(given)
    cut = next(mark for mark in given.marks if mark.id == MarkId("rear", 3))
    assert may_be_hidden(given.job.vehicle, pose.camera_in_ground_m, [cut]).all()
    results: dict[str, Measured | None] = {}
    for mark in given.marks:
        pixel = lens.project(pose.transform(mark.centre_m))
        seen = dataclasses.replace(well_measured(mark.id, pixel), contrast=contrast)
        results[mark.id] = seen if lens.contains(pixel) else None
    why: dict[str, Reason] = {}
    assert isinstance(fit_with_doubts(given, results, why, (pose, lens)), PlanFit)
    assert (cut.id not in why) == taken
