"""Break and kink of a tape edge at a seam, against plane geometry.

Proves: a plan fit shifted on the ground breaks an edge by the part of the shift across it and kinks
nothing; one turned about its own vertical kinks an edge by that angle; edges that do not meet the
seam are left out. Does not prove that a plan fit or a joint adjustment is right.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tests.fits import perfect_strip
from tests.seam_cameras import adjusted, adjustment, job, plan_fit, pose
from vision.adjustment.adjusted import Adjustment
from vision.camera.geometry import Aim, Pose
from vision.job.job import Job, Strip
from vision.job.kinds.cross import Cross
from vision.views.seam_edges import EdgeCrossing, edge_crossings
from vision.views.seams.lines import seam_lines

ENDS = {"left": ((-5.0, 1.7), (6.5, 1.7)), "far": ((-5.0, 9.0), (6.5, 9.0))}


def yard() -> tuple[Job, Adjustment]:
    """Front and left camera, a strip along the left side and one far off; all lie as planned."""
    planned = tuple(
        Strip(
            name=name,
            from_m=np.array(ends[0]),
            to_m=np.array(ends[1]),
            at_m=np.array([0.0, 11.5]),
            shape=Cross(arm_along_m=0.12, arm_across_m=0.08, line_m=0.02),
            tape_width_m=0.2,
            position_sigma_m=0.01,
        )
        for name, ends in ENDS.items()
    )
    laid = tuple(
        perfect_strip(strip.name, np.array([strip.from_m, strip.to_m])) for strip in planned
    )
    truth = adjustment(adjusted("front", pose("front")), adjusted("left", pose("left")))
    return (
        dataclasses.replace(job("front", "left"), strips=planned),
        dataclasses.replace(truth, strips=laid),
    )


def crossings(front: Pose) -> tuple[EdgeCrossing, ...]:
    at, truth = yard()
    fits = {"front": plan_fit(front), "left": plan_fit(pose("left"))}
    return edge_crossings(at, seam_lines(at)[0], fits, truth)


def test_an_edge_is_whole_where_plan_and_truth_agree() -> None:
    found = crossings(pose("front"))
    assert [(one.strip, one.side) for one in found] == [("left", "left"), ("left", "right")]
    for one in found:
        assert one.break_m == pytest.approx(0, abs=1e-9)
        assert one.kink_rad == pytest.approx(0, abs=1e-9)
        assert one.break_sigma_m > 0
        assert one.kink_sigma_rad > 0
    # The seam leaves the corner (4.2, 1.15) at 45 degrees; the edge lies at y 1.8.
    np.testing.assert_allclose(found[0].at_m, (4.85, 1.8), atol=1e-9)


def test_a_shift_breaks_by_its_part_across() -> None:
    here = pose("front")
    moved = Pose.at(here.camera_in_ground_m + np.array([0.05, 0.03, 0.0]), here.R)
    for one in crossings(moved):
        assert one.break_m == pytest.approx(0.03, abs=1e-9)
        assert one.kink_rad == pytest.approx(0, abs=1e-9)


def test_a_turn_kinks_by_its_angle() -> None:
    turn = np.radians(0.5)
    here = pose("front")
    aim = Aim(pan_rad=turn, tilt_rad=here.aim.tilt_rad, roll_rad=0.0)
    for one in crossings(Pose.at(here.camera_in_ground_m, aim.rotation())):
        assert one.kink_rad == pytest.approx(turn, rel=1e-3)
