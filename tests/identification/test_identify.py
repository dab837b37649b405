"""Which mark is it, from one rendered picture and a job that is wrong about aim and mounting.

Proves that a picture is identified from an intended aim 15 degrees off in each angle and a mounting
10 cm out of place, with no mark under another's name; and that dark, blank, noisy and textured
pictures, and a picture of another layout, come back as not identified, with a reason and without an
exception. The renderer is that of `tests.scenes`. Does not prove how often real yards confuse it:
see the stored pictures and `tests.accuracy`.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tests.scenes import Eye, Light, Tape, draw
from vision.camera.geometry import Aim
from vision.camera.lens_prior import lens_prior
from vision.camera.stated_lens import StatedLens
from vision.identification.decision import identify
from vision.identification.identified import Identified, NotIdentified
from vision.identification.settings import SETTINGS
from vision.job.job import Camera, Job, Strip, Vehicle
from vision.job.kinds.cross import Cross
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId
from vision.units.arrays import Array

EYE = Eye(place_m=(4.12, 0.01, 2.52), aim_deg=(1.2, 46.0, -0.8))
EVERY = 0.6
TAPES = {
    "front": Tape(start_m=(5.29, -2.4), heading_deg=90, at_m=tuple(EVERY * i for i in range(9))),
    "left": Tape(start_m=(-4.9, 1.54), heading_deg=0, at_m=tuple(EVERY * i for i in range(17))),
    "right": Tape(start_m=(-4.9, -1.54), heading_deg=0, at_m=tuple(EVERY * i for i in range(17))),
}


def strip(name: str, tape: Tape) -> Strip:
    ends = tape.centres()[[0, -1], :2]
    along, across = tape.arms_m
    return Strip(
        name=name,
        from_m=ends[0],
        to_m=ends[1],
        at_m=np.array(tape.at_m),
        shape=Cross(arm_along_m=along, arm_across_m=across, line_m=tape.line_m),
        tape_width_m=tape.width_m,
        position_sigma_m=0.01,
    )


def job(aim_off_deg: tuple[float, float, float] = (0, 0, 0), place_off_m: float = 0.0) -> Job:
    camera = Camera(
        name="front",
        picture="front.jpg",
        lens="wide",
        position_m=np.array(EYE.place_m) + place_off_m * np.array([1.0, -1.0, 1.0]) / np.sqrt(3),
        position_sigma_m=0.03,
        aim=Aim.from_degrees(*(np.array(EYE.aim_deg) + aim_off_deg)),
    )
    return Job(
        name="Mobile library",
        vehicle=Vehicle(length_m=8.2, width_m=2.35, height_m=2.95),
        lenses=(StatedLens(name="wide", field_of_view_rad=float(np.radians(187))),),
        cameras=(camera,),
        strips=tuple(strip(name, tape) for name, tape in TAPES.items()),
    )


def identified(picture: Array, wrong_job: Job) -> Identified | NotIdentified:
    camera = wrong_job.cameras[0]
    height, width = picture.shape
    prior = lens_prior(wrong_job.lens_of(camera), width, height)
    layout = planned_layout(wrong_job)
    return identify(wrong_job, layout, camera, prior, picture.astype(np.float32))


@pytest.fixture(scope="module")
def picture() -> Array:
    light = Light(jpeg=90, shadow=(1.9, 1.2, 0.4))
    return draw(EYE, tuple(TAPES.values()), np.random.default_rng(5), light)


@pytest.mark.parametrize("signs", [(1, 1, 1), (-1, 1, -1), (1, -1, -1)])
def test_fifteen_degrees_off_and_ten_centimetres_out(
    signs: tuple[int, int, int], picture: Array
) -> None:
    pan, tilt, roll = (15.0 * sign for sign in signs)
    outcome = identified(picture, job((pan, tilt, roll), place_off_m=0.10))
    assert isinstance(outcome, Identified)
    truth = {
        MarkId(name, index): EYE.pixel(centre)
        for name, tape in TAPES.items()
        for index, centre in enumerate(tape.centres())
    }
    used = [each for each in outcome.sightings if each.status == "used"]
    assert len(used) >= 11
    off = np.array([each.measured.pixel_px - truth[each.id] for each in used if each.measured])
    lengths = np.linalg.norm(off, axis=1)
    assert lengths.max() < 3.0, "a mark under another's name"
    assert np.median(lengths) < 0.05
    # One picture cannot tell an off-centre lens from a turned camera: the aim is only near.
    turn = np.degrees(outcome.fit.pose.aim.minus(Aim.from_degrees(*EYE.aim_deg)))
    assert np.abs(turn).max() < 2.0
    assert np.linalg.norm(outcome.fit.pose.camera_in_ground_m - EYE.place_m) < 0.12
    assert outcome.blur_px == pytest.approx(0.7, abs=0.3)
    assert outcome.log10_odds > SETTINGS.odds.least_log10_odds
    assert outcome.contradicted < 0.1


def test_every_mark_gets_a_status(picture: Array) -> None:
    outcome = identified(picture, job())
    assert isinstance(outcome, Identified)
    assert [each.id for each in outcome.sightings] == list(planned_layout(job()).ids)
    for each in outcome.sightings:
        assert each.status == "used" or each.reason
    status = {each.id: each.status for each in outcome.sightings}
    assert status[MarkId("front", 4)] == "used"
    assert status[MarkId("left", 0)] in {"hidden", "outside"}
    assert outcome.expected >= sum(each == "used" for each in status.values())


def without_the_layout(name: str) -> Array:
    rng = np.random.default_rng(9)
    height, width = EYE.size[::-1]
    y, x = np.mgrid[0:height, 0:width].astype(float)
    match name:
        case "black":
            return np.zeros((height, width))
        case "white":
            return np.full((height, width), 255.0)
        case "grey":
            return np.full((height, width), 128.0)
        case "noise":
            return rng.uniform(0, 255, (height, width))
        case "bare ground":
            return draw(EYE, (), rng).astype(float)
        case "paving":
            joints = np.where((x % 83 < 4) | (y % 57 < 4), 60.0, 170.0)
            return joints + rng.normal(0, 3, joints.shape)
        case _:
            waves = np.sin(x / 11 + 3 * np.sin(y / 23)) * np.sin(y / 13)
            return 120 + 60 * waves + rng.normal(0, 3, waves.shape)


@pytest.mark.parametrize(
    "name", ["black", "white", "grey", "noise", "bare ground", "paving", "texture"]
)
def test_pictures_without_the_layout(name: str) -> None:
    outcome = identified(without_the_layout(name), job())
    assert isinstance(outcome, NotIdentified)
    assert outcome.camera == "front"
    codes = {"black": "dark", "white": "blank", "grey": "blank"}
    assert outcome.code == codes.get(name, "no-marks")


@pytest.mark.parametrize("which", ["closer marks", "one strip only"])
def test_another_layouts_picture(which: str) -> None:
    other: dict[str, tuple[Tape, ...]] = {
        "closer marks": tuple(
            dataclasses.replace(tape, at_m=tuple(0.43 * i for i in range(14)))
            for tape in TAPES.values()
        ),
        "one strip only": (Tape(start_m=(6.5, -2.2), heading_deg=98, at_m=(0.0, 0.9, 1.5, 2.6)),),
    }
    picture = draw(EYE, other[which], np.random.default_rng(6))
    outcome = identified(picture, job())
    assert isinstance(outcome, NotIdentified)
    assert outcome.code in {"no-marks", "ambiguous", "implausible"}


def test_a_layout_with_too_few_marks(picture: Array) -> None:
    few = dataclasses.replace(TAPES["front"], at_m=(0.0, 4.8))
    outcome = identified(picture, dataclasses.replace(job(), strips=(strip("front", few),)))
    assert isinstance(outcome, NotIdentified)
    assert outcome.code == "too-few-marks"
