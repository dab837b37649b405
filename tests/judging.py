"""Verdicts on cameras, strips, marks and seams that are off by figures made by hand."""

from __future__ import annotations

import numpy as np

from tests.fits import perfect_camera
from vision.adjustment.adjusted import AdjustedMark, AdjustedStrip
from vision.adjustment.state import UNKNOWNS
from vision.camera.geometry import Aim, Pose, d_aim_d_rotation_vector
from vision.camera.lens import Lens
from vision.documents.check_words.words import say_check
from vision.inspection.verdict.cameras import CameraVerdict, camera_verdict
from vision.inspection.verdict.layings import LayingVerdict, mark_verdict, strip_verdict
from vision.inspection.verdict.rule import Action
from vision.job.job import Camera, SingleMark, Strip, Tolerances
from vision.job.kinds.box_corner import BoxCorner
from vision.job.kinds.cross import Cross
from vision.job.kinds.quadrant import Quadrant
from vision.job.mark_id import MarkId
from vision.units.arrays import Array
from vision.units.length_words import METRIC, LengthWords
from vision.units.reason import Reason
from vision.views.seams.gaps import SeamGap

TOLERANCES = Tolerances()
LENS = Lens(width=1280, height=720, fx=395.0, fy=395.0, cx=639.5, cy=359.5)
RIGHT = Strip(
    name="right",
    from_m=np.array([-5.0, -1.45]),
    to_m=np.array([5.0, -1.45]),
    at_m=np.linspace(0, 10, 11),
    shape=Cross(arm_along_m=0.18, arm_across_m=0.06, line_m=0.03),
    tape_width_m=0.15,
    position_sigma_m=0.01,
)


def codes(reasons: tuple[Reason, ...]) -> list[str]:
    return [reason.code for reason in reasons]


def text(said: Reason | Action, lengths: LengthWords = METRIC) -> str:
    """The sentence that a person reads."""
    return say_check(lengths)(said if isinstance(said, Reason) else said.what)


def seen(
    *, pan: float = 0, tilt: float = 0, roll: float = 0, sigma: float = 0.2, **more: object
) -> CameraVerdict:
    """Verdict on a front camera meant for pan 0, tilt 45, roll 0 and off by so many degrees."""
    place = np.array([4.22, 0.0, 2.45])
    camera = Camera(
        name="front",
        picture="front.jpg",
        lens="wide",
        position_m=place,
        position_sigma_m=0.02,
        aim=Aim.from_degrees(0, 45, 0),
    )
    pose = Pose.at(place, Aim.from_degrees(pan, 45 + tilt, roll).rotation())
    covariance = np.eye(UNKNOWNS) * 1e-6
    by_aim = np.radians(sigma) * np.linalg.inv(d_aim_d_rotation_vector(pose.R))
    covariance[3:6, 3:6] = by_aim @ by_aim.T
    adjusted = perfect_camera("front", pose, LENS, covariance)
    return camera_verdict(camera, adjusted, TOLERANCES, **more)


def laid(
    first: tuple[float, float],
    last: tuple[float, float],
    *,
    sigma: float = 0.006,
    displaced: dict[int, Array] | None = None,
    strip: Strip = RIGHT,
    has_been_seen: bool = True,
) -> LayingVerdict:
    """Verdict on a strip whose ends lie off their plan by `first` and `last` (x, y) in m."""
    ends = np.array([first, last])
    shares = (strip.at_m / strip.length_m)[:, None]
    shifts = (1 - shares) * ends[0] + shares * ends[1]
    for index, off in (displaced or {}).items():
        shifts[index] = shifts[index] + off
    square = np.array([-strip.along[1], strip.along[0]])
    count = len(strip.at_m)
    adjusted = AdjustedStrip(
        name=strip.name,
        ends_m=np.array([strip.from_m, strip.to_m]) + ends,
        # Both ends move together: the middle is then no better known than either.
        covariance_m2=np.tile(np.eye(2) * sigma**2, (2, 2)),
        shift_m=ends.mean(axis=0),
        shift_sigma_m=np.full(2, sigma),
        turn_rad=float(square @ (ends[1] - ends[0]) / strip.length_m),
        turn_sigma_rad=0.0003,
        mark_ids=tuple(MarkId(strip.name, i) for i in range(count)) if has_been_seen else (),
        mark_shift_m=shifts,
        mark_shift_covariance_m2=np.tile(np.eye(2) * sigma**2, (count, 1, 1)),
        seen=has_been_seen,
    )
    return strip_verdict(strip, adjusted, TOLERANCES)


def raised(
    shift: tuple[float, float, float],
    *,
    found: bool = True,
    box: bool = False,
) -> LayingVerdict:
    mark = SingleMark(
        name="front_trestle",
        at_m=np.array([6.0, 0.9, 0.75]),
        shape=BoxCorner() if box else Quadrant(radius_m=0.06),
        position_sigma_m=0.01,
    )
    adjusted = AdjustedMark(
        name=mark.name, shift_m=np.array(shift), covariance_m2=np.eye(3) * 0.005**2, seen=found
    )
    return mark_verdict(mark, adjusted, TOLERANCES)


def gap(lengths: list[float], *, mark: float | None = None, sigma: float = 0.004) -> SeamGap:
    """A seam with gaps of these lengths along x; NaN is not covered."""
    count = len(lengths)
    gaps = np.column_stack([lengths, np.where(np.isfinite(lengths), 0.0, np.nan)])
    marks = np.zeros((0, 2)) if mark is None else np.array([[0.0, mark]])
    return SeamGap(
        between=("front", "left"),
        start_m=np.array([4.4, 1.4]),
        end_m=np.array([6.0, 2.9]),
        shared_marks=len(marks),
        points_m=np.tile([5.0, 2.0], (count, 1)),
        gaps_m=gaps,
        covariances_m2=np.tile(np.eye(2) * sigma**2, (count, 1, 1)),
        mark_ids=(MarkId("left", 9),) * len(marks),
        mark_at_m=np.tile([5.0, 1.45], (len(marks), 1)),
        mark_gaps_m=marks,
        mark_covariances_m2=np.tile(np.eye(2) * sigma**2, (len(marks), 1, 1)),
        worst_gap_m=None,
        worst_gap_sigma_m=None,
        rms_gap_m=None,
        uncovered_m=0.05 * float(np.isnan(lengths).sum()),
        overlap_m=None,
        overlap_sigma_m=None,
    )
