"""What every test shares: repeatable examples, and an inspection made by hand."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import settings

from tests.fits import perfect_fit, perfect_strip
from tests.remembered import remembered
from vision.adjustment.adjusted import AdjustedCamera, AdjustedMark
from vision.adjustment.groups import Group
from vision.adjustment.plan_fit import PlanFit
from vision.camera.geometry import ANGLES, Aim, Pose
from vision.camera.lens import Lens
from vision.camera.stated_lens import StatedLens
from vision.inspection.inspected import (
    InspectedCamera,
    InspectedMark,
    InspectedRaisedMark,
    InspectedSeam,
    InspectedStrip,
    Inspection,
)
from vision.inspection.verdict.pictures import judge_picture
from vision.inspection.verdict.rule import Action
from vision.job.job import Camera, Job, SingleMark, Strip, Tolerances, Vehicle
from vision.job.kinds.cross import Cross
from vision.job.kinds.quadrant import Quadrant
from vision.job.mark_id import MarkId
from vision.marks.picture import Picture
from vision.units.arrays import Array
from vision.units.reason import Reason
from vision.views.seams.gaps import SeamGap
from vision.views.seams.lines import SeamLine, seam_lines
from vision.views.sharpness.blur import SIDES, Blur, MarksBlur, Motion, Sharpness, SoftPatch
from vision.views.sharpness.light import Light

# The same examples on every machine, and no deadline: a busy machine is no failure.
settings.register_profile("repeatable", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("repeatable")

SIZE = (320, 180)
COLOURS_BGR = {
    "front": (200, 40, 40),
    "left": (40, 200, 40),
    "rear": (40, 40, 200),
    "right": (40, 200, 200),
}
PLACES = {
    "front": (4.0, 0.0, 2.5, 0.0),
    "left": (0.0, 1.2, 2.5, 90.0),
    "rear": (-4.0, 0.0, 2.5, 180.0),
    "right": (0.0, -1.2, 2.5, -90.0),
}


def hand_made_job(name: str = "Mobile library") -> Job:
    """Four cameras round a body of 8 x 2.4 m, one strip and one raised mark."""
    cameras = tuple(
        Camera(
            name=camera,
            picture=f"{camera}.jpg",
            lens="wide",
            position_m=np.array([x, y, z]),
            position_sigma_m=0.02,
            aim=Aim.from_degrees(pan, 45, 0),
            mirrored=camera == "rear",
        )
        for camera, (x, y, z, pan) in PLACES.items()
    )
    strip = Strip(
        name="front",
        from_m=np.array([5.0, -1.0]),
        to_m=np.array([5.0, 1.0]),
        at_m=np.array([0.0, 1.0, 2.0]),
        shape=Cross(arm_along_m=0.12, arm_across_m=0.08, line_m=0.025),
        tape_width_m=0.18,
        position_sigma_m=0.01,
    )
    trestle = SingleMark(
        name="trestle",
        at_m=np.array([6.0, 0.5, 0.75]),
        shape=Quadrant(radius_m=0.06),
        position_sigma_m=0.01,
    )
    return Job(
        name=name,
        vehicle=Vehicle(length_m=8.0, width_m=2.4, height_m=3.0),
        lenses=(StatedLens(name="wide", field_of_view_rad=3.2),),
        cameras=cameras,
        strips=(strip,),
        marks=(trestle,),
    )


def _fit(pose: Pose, lens: Lens) -> PlanFit:
    return replace(
        perfect_fit(pose, lens),
        covariance=np.eye(14) * 1e-6,
        chi2=12.0,
        used=np.ones(40, dtype=bool),
        residual_px=_residuals(0.2213, 0.5131),
        residual_m=_residuals(0.00412, 0.02131),
    )


def _residuals(rms: float, most: float, count: int = 40) -> Array:
    """Residuals (n, 2) of this RMS and greatest length."""
    lengths = np.full(count, np.sqrt((count * rms**2 - most**2) / (count - 1)))
    lengths[0] = most
    return np.stack([lengths, np.zeros(count)], axis=-1)


def _marks() -> tuple[InspectedMark, ...]:
    used = InspectedMark(
        id=MarkId("front", 0),
        status="used",
        planned_m=np.array([5.0, -1.0, 0.0]),
        pixel_px=np.array([200.1234, 100.5678]),
        covariance_px2=np.array([[0.004, 0.001], [0.001, 0.003]]),
        residual_px=np.array([0.0512, -0.0234]),
        residual_m=np.array([0.0013, -0.0021]),
    )
    rejected = InspectedMark(
        id=MarkId("front", 1),
        status="rejected",
        planned_m=np.array([5.0, 0.0, 0.0]),
        pixel_px=np.array([160.0, 101.0]),
        covariance_px2=np.eye(2) * 0.004,
        residual_px=np.array([3.5, 0.25]),
        residual_m=np.array([np.nan, np.nan]),
        reason=Reason("misfit"),
    )
    lost = InspectedMark(
        id=MarkId("front", 2),
        status="not-found",
        planned_m=np.array([5.0, 1.0, 0.0]),
        reason=Reason("nothing-there"),
    )
    outside = InspectedMark(
        id=MarkId("trestle"), status="outside", planned_m=np.array([6.0, 0.5, 0.75])
    )
    return used, rejected, lost, outside


def _sharpness(known: bool) -> Sharpness:
    bare = Sharpness(width=SIZE[0], light=Light(level=170.0, span=120.0, noise=1.5), edges=250)
    if not known:
        return bare
    patch = SoftPatch(
        pixel_px=np.array([31.0, 42.0]),
        radius_px=9,
        blur_px=3,
        sigma_px=0.4,
        marks=(MarkId("front", 0),),
    )
    blur = Blur(blur_px=0.71, sigma_px=0.04)
    return replace(
        bare,
        blur=blur,
        least=blur,
        most=replace(blur, blur_px=2.31),
        sides=dict.fromkeys(SIDES, blur),
        motion=Motion(length_px=7.9, sigma_px=0.5, direction_rad=0.5, direction_sigma_rad=0.02),
        marks=MarksBlur(median=blur, sides=dict.fromkeys(SIDES)),
        patches=(patch,),
    )


def _picture(name: str, *, known: bool) -> dict[str, Any]:
    sharp = _sharpness(known)
    judged = judge_picture(name, sharp, Tolerances(), identified=known)
    return {"picture_verdict": judged}


def _camera(camera: Camera) -> InspectedCamera:
    width, height = SIZE
    lens = Lens(width=width, height=height, fx=107.0, fy=107.0, cx=159.5, cy=89.5)
    pose = Pose.at(camera.position_m, camera.aim.rotation())
    picture = Picture.from_delivered(
        name=camera.name,
        file=camera.picture,
        sha256="0123456789abcdef" * 4,
        mirrored=camera.mirrored,
        bgr=np.full((height, width, 3), COLOURS_BGR[camera.name], dtype=np.uint8),
    )
    if camera.name == "right":
        reason = Reason("too-few-marks", marks=2, needed=4)
        action = Action(what=Reason("take-again", camera="right", why=reason))
        return InspectedCamera(
            camera=camera,
            picture=picture,
            verdict="re-shoot",
            reasons=(reason,),
            actions=(action,),
            **_picture(camera.name, known=False),
        )
    turns = {
        "turn_rad": (0.0, float(np.radians(-3.9)), 0.0),
        "sigma_rad": (0.002, 0.002, 0.002),
    }
    then = tuple((name, 0.0, 0.002, 0.05, "within") for name in ANGLES)
    turn = Action(what=Reason("turn", camera="left", then=then, **turns), **turns)
    tilt = Reason("tilt-beyond", off_rad=np.radians(3.9), sigma_rad=0.002, limit_rad=np.radians(3))
    off = camera.name == "left"
    return InspectedCamera(
        camera=camera,
        picture=picture,
        verdict="re-aim" if off else "keep",
        reasons=(tilt,) if off else (),
        actions=(turn,) if off else (),
        blur_px=0.912,
        **_picture(camera.name, known=True),
        marks=_marks(),
        plan_fit=_fit(pose, lens),
        ray_from_ground=np.column_stack([pose.R[:, 0], pose.R[:, 1], pose.t_m]),
        adjusted=AdjustedCamera(
            name=camera.name,
            pose=pose,
            lens=lens,
            covariance=np.diag(np.array([0.011, 0.012, 0.013, *[1e-3] * 11]) ** 2),
            used=np.zeros(0, dtype=bool),
            residual_px=np.zeros((0, 2)),
        ),
    )


def _strip(name: str) -> InspectedStrip:
    adjusted = replace(
        perfect_strip(name, np.array([[5.04, -1.0], [5.04, 1.0]]), sigma_m=0.003),
        shift_m=np.array([0.0412, -0.0013]),
        shift_sigma_m=np.array([0.0041, 0.0032]),
        turn_rad=0.0123,
        turn_sigma_rad=0.0021,
    )
    shift = Reason("shift-beyond", mark="front/1", off_m=0.0412, sigma_m=0.004, limit_m=0.03)
    parts = (("forward", 0.0412, 0.0041),)
    move = Reason("move-strip", strip=name, end=None, parts=parts, then="within")
    return InspectedStrip(
        name=name,
        verdict="re-measure",
        reasons=(shift,),
        actions=(Action(what=move),),
        adjusted=adjusted,
    )


def _seam(line: SeamLine) -> InspectedSeam:
    if "right" in line.between:
        reason = Reason("neighbour-not-identified", cameras=("right",))
        return InspectedSeam(between=line.between, verdict="not-judged", reasons=(reason,))
    points = line.points_m()
    gap = SeamGap(
        between=line.between,
        start_m=line.start_m,
        end_m=line.end_m,
        shared_marks=5,
        points_m=points,
        gaps_m=np.zeros_like(points),
        covariances_m2=np.zeros((len(points), 2, 2)),
        mark_ids=(MarkId("front", 0),),
        mark_at_m=np.array([[5.0, -1.0]]),
        mark_gaps_m=np.zeros((1, 2)),
        mark_covariances_m2=np.zeros((1, 2, 2)),
        worst_gap_m=np.array([0.0041, -0.0112]),
        worst_gap_sigma_m=np.array([0.0042, 0.0031]),
        rms_gap_m=0.0063,
        uncovered_m=0.0,
        overlap_m=1.934,
        overlap_sigma_m=0.02,
    )
    at_m = (float(points[3][0]), float(points[3][1]))
    decided = {"gap_m": 0.0119, "gap_sigma_m": 0.0033, "gap_at_m": at_m}
    return InspectedSeam(between=line.between, verdict="within", gap=gap, **decided)


def hand_made_inspection(job: Job | None = None) -> Inspection:
    """Every kind of outcome in one: kept, to turn, without a fit, beyond, not judged, not seen."""
    job = hand_made_job() if job is None else job
    raised = AdjustedMark(
        name="trestle",
        shift_m=np.array([0.001, 0.002, -0.003]),
        covariance_m2=np.eye(3) * 1e-5,
        seen=True,
    )
    unseen = Reason("not-seen", strip="spare")
    return Inspection(
        job=job,
        verdict="re-shoot",
        cameras=tuple(_camera(camera) for camera in job.cameras),
        strips=(
            _strip("front"),
            InspectedStrip(name="spare", verdict="not-judged", reasons=(unseen,)),
        ),
        raised_marks=(InspectedRaisedMark(name="trestle", verdict="keep", adjusted=raised),),
        seams=tuple(_seam(line) for line in seam_lines(job)),
        warnings=(Reason("reading-not-used", group=Group.of_reading(1)),),
        variance_factor=1.1234,
    )


@pytest.fixture(scope="session", autouse=True)
def _what_pictures_show(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What a picture shows is worked out once for all tests; see `tests.remembered`."""
    own = tmp_path_factory.getbasetemp()
    # Each process of a run has a folder of its own in that of the run.
    whole = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    with remembered(whole / "remembered"):
        yield


@pytest.fixture
def inspection() -> Inspection:
    """The inspection made by hand."""
    return hand_made_inspection()


@pytest.fixture
def inspection_of() -> Callable[[Job], Inspection]:
    """The same for another job with the same cameras."""
    return hand_made_inspection


@pytest.fixture
def job_called() -> Callable[[str], Job]:
    """The job made by hand, under another name."""
    return hand_made_job
