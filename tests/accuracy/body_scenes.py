"""Pairs of drawn pictures of one camera on one body: a day when it was right, and a later one.

The body has depth (`vision.practice.fittings`). The later picture has another place, light, noise
and blur, and by choice a turn, a shift of the lens, a drop, dirt, half the size, or something about
the body that changed though nobody knocked the camera.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from vision.adjustment.adjusted import AdjustedCamera
from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.camera.stated_lens import StatedLens
from vision.job.job import Camera, Job, Tolerances, Vehicle
from vision.marks.picture import Picture, Pixels
from vision.practice.boxes import Box
from vision.practice.deviations import Deviations, Ground, Light
from vision.practice.drawing import draw
from vision.practice.fittings import fittings
from vision.practice.ground_texture import yard
from vision.practice.spots import Spots
from vision.practice.world import Eye, World, true_world
from vision.units.arrays import Array

NAMES = ("front", "left", "rear", "right")
ROWS_CUT = 250
"""Rows of a picture of 720 above which no camera here sees the body: they are not drawn."""
CHANGES = ("door", "mirror", "wet", "snow", "sticker", "mud", "night", "shade")


@dataclass(frozen=True, kw_only=True)
class Happened:
    """What is otherwise on the later day."""

    turn_deg: tuple[float, float, float] = (0.0, 0.0, 0.0)
    shift_m: Array = field(default_factory=lambda: np.zeros(3))
    change: str = ""
    half_size: bool = False
    drop: bool = False


@dataclass(frozen=True, kw_only=True)
class Day:
    """A camera as it was adjusted on the day it was right, and its picture."""

    job: Job
    camera: Camera
    adjusted: AdjustedCamera
    world: World
    picture: Picture


def day(seed: int, name: str) -> Day:
    """Draw the first day of a vehicle's camera."""
    rng = np.random.default_rng([seed, 1])
    job = _job(rng, name)
    size = Deviations(small_errors=1, fittings=True)
    world = true_world(job, size, np.random.default_rng([seed, 2]))
    eye = _cut(world.eyes[0])
    light = Light(
        level=rng.uniform(0.7, 1.1), blur_px=rng.uniform(0.6, 0.9),
        noise=rng.uniform(1.5, 3), curved=True, jpeg_quality=90,
    )  # fmt: skip
    asked = Deviations(light=light, ground=Ground(gloss=float(rng.uniform(0, 0.6))))
    bgr = _drawn(world, eye, asked, rng)
    return Day(
        job=job,
        camera=job.cameras[0],
        adjusted=_adjusted(eye, rng),
        world=replace(world, eyes=(eye,)),
        picture=_picture(name, bgr),
    )


def later(day_: Day, seed: int, happened: Happened) -> Pixels:
    """The picture of a later day in another yard."""
    rng = np.random.default_rng([seed, 3])
    eye = day_.world.eyes[0]
    turn = np.radians(happened.turn_deg)
    pan, tilt, roll = (float(each) for each in eye.pose.aim.as_array() + turn)
    R = Aim(pan_rad=pan, tilt_rad=tilt, roll_rad=roll).rotation()
    moved = replace(eye, pose=Pose.at(eye.pose.camera_in_ground_m + happened.shift_m, R))
    boxes = _changed(day_, happened.change, rng)
    world = replace(day_.world, eyes=(moved,), boxes=boxes)
    sun = rng.uniform() < 0.6
    light = Light(
        level=float(rng.uniform(0.6, 1.25)), blur_px=float(rng.uniform(0.6, 1.1)),
        noise=float(rng.uniform(1.5, 4)), curved=True, jpeg_quality=90,
        sun_elevation_rad=float(rng.uniform(0.3, 1.1)) if sun else None,
        sun_azimuth_rad=float(rng.uniform(-np.pi, np.pi)),
    )  # fmt: skip
    ground = Ground(
        gloss=float(rng.uniform(0, 1)), lines=3, wet=float(rng.uniform() < 0.2),
        turn_rad=float(rng.uniform(0.5, 5.5)),
    )  # fmt: skip
    if happened.change == "wet":
        ground = replace(ground, wet=1.0, gloss=1.0)
    if happened.change == "night":
        light = replace(light, level=0.03, noise=7.0, sun_elevation_rad=None)
    bgr = _drawn(world, moved, Deviations(light=light, ground=ground), rng)
    if happened.drop or happened.change == "mud":
        bgr = _before_the_lens(bgr, rng, mud=happened.change == "mud")
    if happened.half_size:
        bgr = cv2.resize(bgr, (bgr.shape[1] // 2, bgr.shape[0] // 2), interpolation=cv2.INTER_AREA)
    return bgr


def _job(rng: np.random.Generator, name: str) -> Job:
    """A vehicle with one camera on the named side, and no tape."""
    vehicle = Vehicle(
        length_m=float(rng.uniform(6.5, 11)),
        width_m=float(rng.uniform(2.1, 2.5)),
        height_m=float(rng.uniform(2.8, 3.3)),
    )
    pan = {"front": 0.0, "left": 90.0, "rear": 180.0, "right": -90.0}[name]
    out = np.array([np.cos(np.radians(pan)), np.sin(np.radians(pan))])
    half = np.array([vehicle.length_m, vehicle.width_m]) / 2
    along = rng.uniform(-0.15, 0.15) * half[::-1]
    place = out * (half + rng.uniform(0.02, 0.12)) + np.abs(out[::-1]) * along[::-1]
    off = rng.normal(0, 1.0, 3)
    camera = Camera(
        name=name,
        picture=f"{name}.jpg",
        lens="wide",
        position_m=np.array([*place, rng.uniform(2.2, 2.6)]),
        position_sigma_m=0.01,
        aim=Aim.from_degrees(pan + off[0], 45 + off[1], off[2]),
    )
    lens = StatedLens(name="wide", field_of_view_rad=float(np.radians(187)))
    return Job(
        name="body",
        vehicle=vehicle,
        lenses=(lens,),
        cameras=(camera,),
        strips=(),
        tolerances=Tolerances(),
    )


def _cut(eye: Eye) -> Eye:
    """The eye without the rows that show no body."""
    lens = eye.lens
    cut = Lens(width=lens.width, height=lens.height - ROWS_CUT, fx=lens.fx, fy=lens.fy,
               cx=lens.cx, cy=lens.cy - ROWS_CUT, k=lens.k)  # fmt: skip
    return replace(eye, lens=cut)


def _adjusted(eye: Eye, rng: np.random.Generator) -> AdjustedCamera:
    """What an adjustment would say of it: a little off in pose and lens."""
    step = np.r_[rng.normal(0, 0.006, 3), rng.normal(0, np.radians(0.06), 3)]
    lens = eye.lens
    vector = lens.as_vector()
    vector[:2] *= 1 + rng.normal(0, 0.002)
    vector[2:4] += rng.normal(0, 1.0, 2)
    return AdjustedCamera(
        name=eye.camera.name,
        pose=eye.pose.perturbed(step),
        lens=lens.with_vector(vector),
        covariance=1e-6 * np.eye(14),
        used=np.ones(0, dtype=bool),
        residual_px=np.zeros((0, 2)),
    )


def _drawn(world: World, eye: Eye, asked: Deviations, rng: np.random.Generator) -> Pixels:
    world = replace(world, spots=Spots(each=()))
    bgr = draw(world, eye, yard(rng, asked.ground), asked, rng)
    data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, asked.light.jpeg_quality])[1]
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), dtype=np.uint8)


def _picture(name: str, bgr: Pixels) -> Picture:
    return Picture(name=name, file=f"{name}.jpg", sha256="", mirrored=False, bgr=bgr)


def _changed(day_: Day, change: str, rng: np.random.Generator) -> tuple[Box, ...]:
    """The boxes of the body as they are on the later day."""
    boxes = list(fittings(day_.job.vehicle))
    vehicle, side = day_.job.vehicle, day_.camera.name
    end, half = vehicle.length_m / 2, vehicle.width_m / 2
    if change == "mirror":
        boxes = [box for box in boxes if not box.name.endswith(("/arm", "/mirror"))]
    if change == "door":
        # A door or flap of a third of the face stands open: what is on it turned along.
        open_ = rng.uniform(np.radians(1), np.radians(4))
        boxes = [_turned(box, side, end, half, open_) for box in boxes]
    if change in ("snow", "sticker"):
        boxes.append(_stuck(change, side, end, half, rng))
    if change == "shade":
        boxes = [replace(box, colour=(40.0, 40.0, 42.0)) if "bumper" in box.name or
                 "lip" in box.name else box for box in boxes]  # fmt: skip
    return tuple(boxes)


def _turned(box: Box, side: str, end: float, half: float, angle: float) -> Box:
    """A box on the opened third of the side turns about the door's hinge."""
    x, y = box.middle_m
    on = {"front": x > end, "rear": x < -end, "left": y > half, "right": y < -half}[side]
    place = y if side in ("front", "rear") else x
    low, high = (0.1 * half, half) if side in ("front", "rear") else (0.05 * end, 0.4 * end)
    if not on or not low < place < high:
        return box
    hinge = np.array([x, low]) if side in ("front", "rear") else np.array([low, y])
    c, s = np.cos(angle), np.sin(angle)
    turned = hinge + np.array([[c, -s], [s, c]]) @ (box.middle_m - hinge)
    return replace(box, middle_m=turned, heading_rad=box.heading_rad + angle)


def _stuck(change: str, side: str, end: float, half: float, rng: np.random.Generator) -> Box:
    """Snow on the bumper or the sill, or a sticker on the face."""
    snow = change == "snow"
    z = (0.58, 0.68) if snow else (1.2, 1.5)
    deep = 0.2 if snow else 0.004
    wide = rng.uniform(0.8, 1.6) if snow else 0.4
    along = rng.uniform(-0.3, 0.3)
    if side in ("front", "rear"):
        way = 1 if side == "front" else -1
        middle, size = np.array([way * (end + deep / 2), along]), (deep / 2, wide / 2)
    else:
        way = 1 if side == "left" else -1
        middle, size = np.array([along, way * (half + deep / 2)]), (wide / 2, deep / 2)
    colour = (235.0, 232.0, 228.0) if snow else (60.0, 160.0, 90.0)
    return Box(name=change, middle_m=middle, heading_rad=0.0, half_m=size, height_m=z[1],
               foot_m=z[0], colour=colour)  # fmt: skip


def _before_the_lens(bgr: Pixels, rng: np.random.Generator, *, mud: bool) -> Pixels:
    """Drops that blur what is behind them, or mud that hides it."""
    out = bgr.copy()
    height, width = bgr.shape[:2]
    soft = cv2.GaussianBlur(bgr, (0, 0), 9)
    for _ in range(6 if mud else 4):
        mask = np.zeros((height, width), dtype=np.float32)
        at = int(rng.uniform(0.1, 0.9) * width), int(rng.uniform(0.3, 1.0) * height)
        cv2.circle(mask, at, int(rng.uniform(40, 110)), 1.0, -1)
        mask = cv2.GaussianBlur(mask, (0, 0), 10)[..., None]
        behind = np.full_like(bgr, 45) if mud else soft
        out = (out * (1 - mask) + behind * mask).astype(np.uint8)
    return out
