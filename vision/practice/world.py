"""The true world of a scene: where cameras, tapes, marks and boxes really are, and the lenses.

Everything in ground coordinates and metres. The places are those of the job with the stated
deviations, and with a share of every stated sigma drawn at random where that is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from vision.camera.geometry import Aim, Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import lens_prior
from vision.camera.pixel_shape import PixelShape
from vision.camera.stated_lens import StatedLens
from vision.job.job import Camera, Job, Strip, Vehicle
from vision.job.layout import PlannedMark, planned_layout
from vision.job.mark_id import MarkId
from vision.practice.boxes import Box
from vision.practice.deviations import Deviations, Floats, Moved
from vision.practice.fittings import fittings
from vision.practice.placed import axes, to_ground
from vision.practice.settings import SETTINGS
from vision.practice.spots import Spots, cover_box, leaves_along, person_boxes, spots_on
from vision.units.arrays import Array, frozen_array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Eye:
    """A camera as it really is: pose (`camera_from_ground`), lens, and where the lens goes dark.

    `odd_rows` is the eye that odd rows are seen with, where that is another: a recorder keeps them
    from a moment later, or sets them aside.
    """

    camera: Camera
    pose: Pose
    lens: Lens
    dark_beyond_rad: float
    odd_rows: Eye | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tape:
    """A strip's tape as it really lies: its middle (2,), direction, half length and half width.

    `bow_m` is how far its middle lies to the left of the line between its ends, and `waves` (n, 3)
    are amplitude in m, radians per m and phase of its waviness.
    """

    name: str
    ink: str
    middle_m: Array
    heading_rad: float
    half_m: tuple[float, float]
    bow_m: float = 0.0
    waves: Array = field(default_factory=lambda: np.zeros((0, 3)))

    def __post_init__(self) -> None:
        object.__setattr__(self, "middle_m", frozen_array(self.middle_m, (2,), "middle_m"))
        object.__setattr__(self, "waves", frozen_array(self.waves, (None, 3), "waves"))

    @property
    def straight(self) -> bool:
        """Whether it is neither bowed nor wrinkled."""
        return self.bow_m == 0 and not len(self.waves)

    def off(self, s: Floats) -> tuple[Floats, Floats]:
        """How far its middle line lies to the left at distances along it (n,), and its slope."""
        half = s.dtype.type(self.half_m[0] - SETTINGS.tape_beyond_m)
        bow = s.dtype.type(self.bow_m)
        off, slope = bow * (1 - (s / half) ** 2), -2 * bow * s / half**2
        for amplitude, rate, phase in self.waves.astype(s.dtype):
            off = off + amplitude * np.sin(rate * s + phase)
            slope = slope + amplitude * rate * np.cos(rate * s + phase)
        return off, slope


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class World:
    """What there is to be seen. `marks` hold their true places; `planned` the same as planned.

    Tapes lie in the order of the job, the later upon the earlier. `body` is the vehicle; `boxes`
    are the trestles and cartons of raised marks, people and covers; `spots` lie flat on ground and
    marks.
    """

    job: Job
    planned: tuple[PlannedMark, ...]
    marks: tuple[PlannedMark, ...]
    tapes: tuple[Tape, ...]
    body: Box
    boxes: tuple[Box, ...]
    eyes: tuple[Eye, ...]
    spots: Spots


def true_world(job: Job, deviations: Deviations, rng: np.random.Generator) -> World:
    """Put everything where it really is; the same generator gives the same world."""
    small = deviations.small_errors
    tapes: list[Tape] = []
    places: dict[MarkId, tuple[Array, float]] = {}
    for strip in job.strips:
        tape, marks = _laid(strip, deviations.strips.get(strip.name, Moved()), small, rng)
        tapes.append(tape)
        places.update(marks)
    for single in job.marks:
        error = rng.normal(0, single.position_sigma_m, 3) * small
        error[2] *= single.at_m[2] > 0
        places[MarkId(single.name)] = (single.at_m + error, 0.0)
    planned = planned_layout(job).marks
    true = []
    for mark in planned:
        place, heading = places[mark.id]
        moved = deviations.marks.get(mark.id, Moved())
        centre = place + moved.shift_m
        centre[2] = max(centre[2], 0.0)
        true.append(replace(mark, centre_m=centre, heading_rad=heading))
    lenses = {stated.name: _true_lens(stated, deviations, rng) for stated in job.lenses}
    eyes = tuple(_eye(job, camera, deviations, lenses, rng) for camera in job.cameras)
    boxes = [_box_under(job, mark) for mark in true if mark.centre_m[2] > 0]
    for person in deviations.people:
        boxes += person_boxes(person)
    boxes += map(cover_box, deviations.covers)
    if deviations.fittings:
        boxes += fittings(job.vehicle)
    spots = leaves_along([_ends(tape) for tape in tapes], deviations.ground.leaves, rng)
    spots += spots_on(true, deviations.damages, rng)
    return World(
        job=job,
        planned=planned,
        marks=tuple(true),
        tapes=tuple(tapes),
        body=_body(job.vehicle, eyes),
        boxes=tuple(boxes),
        eyes=eyes,
        spots=Spots(each=tuple(spots)),
    )


def _ends(tape: Tape) -> tuple[Array, Array]:
    reach = tape.half_m[0] * axes(tape.heading_rad)[0]
    return tape.middle_m - reach, tape.middle_m + reach


def _waves(sigma_m: float, rng: np.random.Generator) -> Array:
    """A few waves (n, 3) that give a line this sigma."""
    if sigma_m <= 0:
        return np.zeros((0, 3))
    count = len(SETTINGS.wave_m)
    rate = 2 * np.pi / (np.array(SETTINGS.wave_m) * rng.uniform(0.8, 1.25, count))
    amplitude = np.full(count, sigma_m * np.sqrt(2 / count))
    return np.stack([amplitude, rate, rng.uniform(0, 2 * np.pi, count)], axis=-1)


def _laid(
    strip: Strip, moved: Moved, small: float, rng: np.random.Generator
) -> tuple[Tape, dict[MarkId, tuple[Array, float]]]:
    """A strip's tape, and each of its marks' true place (3,) and direction."""
    ends = np.array([strip.from_m, strip.to_m])
    ends = ends + rng.normal(0, strip.position_sigma_m, (2, 2)) * small
    middle = ends.mean(axis=0) + moved.shift_m[:2]
    along = ends[1] - ends[0]
    heading = float(np.arctan2(along[1], along[0]) + moved.turn_rad[0])
    wobble = rng.normal(0, strip.mark_sigma_m, (len(strip.at_m), 2)) * small
    tape = Tape(
        name=strip.name,
        ink=strip.ink,
        middle_m=middle,
        heading_rad=heading,
        half_m=(0.5 * strip.length_m + SETTINGS.tape_beyond_m, 0.5 * strip.tape_width_m),
        bow_m=moved.bow_m,
        waves=_waves(moved.wrinkles_m, rng),
    )
    along_m = np.array(strip.at_m) - 0.5 * strip.length_m + wobble[:, 0]
    off, slope = tape.off(along_m)
    flat = to_ground(along_m, off + wobble[:, 1], middle, heading)
    places = {}
    for index, xy in enumerate(flat):
        place = np.array([*xy, 0.0])
        places[MarkId(strip.name, index)] = (place, heading + float(np.arctan(slope[index])))
    return tape, places


def sheet_half_m(mark: PlannedMark) -> tuple[float, float] | None:
    """Half size of the panel or sheet that a mark brings with it; None for one on bare tape."""
    if not mark.shape.drawn:
        return None
    along, across = mark.shape.half_extent_m
    border = mark.shape.border_m
    if border:
        return along + border, across + border
    if mark.tape_width_m is not None:
        return None
    return along * (1 + SETTINGS.sheet_margin), across * (1 + SETTINGS.sheet_margin)


def _box_under(job: Job, mark: PlannedMark) -> Box:
    """The trestle under a raised mark, or the carton whose corner it is."""
    height = float(mark.centre_m[2])
    sheet = sheet_half_m(mark)
    if sheet is not None:
        return Box(name=str(mark.id), middle_m=mark.centre_m[:2], heading_rad=mark.heading_rad,
                   half_m=sheet, height_m=height)  # fmt: skip
    owner = job.set_up_for(mark.centre_m)
    stand = mark.shape.stand(mark.centre_m, owner.position_m)
    assert stand is not None, "what is not drawn brings its own stand"
    half = stand.size_m[0] / 2, stand.size_m[1] / 2
    return Box(name=str(mark.id), middle_m=stand.middle_m, heading_rad=stand.turn_rad,
               half_m=half, height_m=height)  # fmt: skip


def _true_lens(
    stated: StatedLens, deviations: Deviations, rng: np.random.Generator
) -> tuple[Lens, float]:
    """A lens of the stated field, and the angle beyond which it is dark."""
    if stated.fitted is not None:
        lens = stated.fitted
        corner = np.hypot(lens.width / lens.fx, lens.height / lens.fy) / 2
        edge = float(lens.theta(np.asarray(corner)))
        limit = lens.monotone_limit_rad
        return lens, limit if np.isnan(edge) else edge
    assert stated.field_of_view_rad is not None
    half = 0.5 * stated.field_of_view_rad
    if deviations.pixel_aspect is not None:
        stated = replace(stated, pixels=PixelShape(aspect=deviations.pixel_aspect))
    guess = lens_prior(stated, deviations.width, deviations.height).guess
    dark = SETTINGS.image_circle * half
    above = rng.uniform(*SETTINGS.focal_above)
    edge_share = 1 + rng.normal(0, SETTINGS.edge_sigma)
    centre = rng.normal(0, SETTINGS.centre_sigma * deviations.width, 2)
    if deviations.exact_lenses:
        return guess, dark
    terms = np.array([1 + above, *(above * np.array(SETTINGS.curve))]) * edge_share
    lens = Lens(
        width=guess.width,
        height=guess.height,
        fx=guess.fx * float(terms[0]),
        fy=guess.fy * float(terms[0]),
        cx=guess.cx + float(centre[0]),
        cy=guess.cy + float(centre[1]),
        k=terms[1:] / terms[0] / half ** np.array([2, 4, 6, 8]),
    )
    return lens, min(dark, lens.monotone_limit_rad)


def _eye(
    job: Job,
    camera: Camera,
    deviations: Deviations,
    lenses: dict[str, tuple[Lens, float]],
    rng: np.random.Generator,
) -> Eye:
    moved = deviations.cameras.get(camera.name, Moved())
    error = rng.normal(0, camera.position_sigma_m, 3) * deviations.small_errors
    pan, tilt, roll = (float(each) for each in camera.aim.as_array() + moved.turn_rad)
    place = camera.position_m + moved.shift_m + error
    pose = Pose.at(place, Aim(pan_rad=pan, tilt_rad=tilt, roll_rad=roll).rotation())
    lens, dark = lenses[camera.lens]
    eye = Eye(camera=camera, pose=pose, lens=lens, dark_beyond_rad=dark)
    if not moved.comb_m.any() and moved.row_shift_px == 0:
        return eye
    later = Eye(
        camera=camera,
        pose=Pose.at(place + moved.comb_m, pose.R),
        lens=replace(lens, cx=lens.cx + moved.row_shift_px),
        dark_beyond_rad=dark,
    )
    return replace(eye, odd_rows=later)


def _body(vehicle: Vehicle, eyes: tuple[Eye, ...]) -> Box:
    highest = max(float(eye.pose.camera_in_ground_m[2]) for eye in eyes)
    roof = highest + SETTINGS.roof_above_camera_m
    height = roof if vehicle.height_m is None else vehicle.height_m
    return Box(
        name="body",
        middle_m=np.zeros(2),
        heading_rad=0.0,
        half_m=(vehicle.length_m / 2, vehicle.width_m / 2),
        height_m=height,
    )


def body_before(eye: Eye, body: Box) -> Box:
    """The body as this camera sees it: a face that would swallow the camera gives way to it."""
    place = eye.pose.camera_in_ground_m[:2]
    low, high = body.middle_m - body.half_m, body.middle_m + body.half_m
    below_top = body.height_m - float(eye.pose.camera_in_ground_m[2])
    depth = np.concatenate([place - low, high - place])
    if depth.min() <= 0 or below_top <= 0:
        return body
    face = int(np.argmin(depth))
    if below_top < depth[face]:
        return replace(body, height_m=body.height_m - below_top - SETTINGS.clearance_m)
    side, axis = divmod(face, 2)
    (low, high)[side][axis] = place[axis] + (-1 if side else 1) * SETTINGS.clearance_m
    half = (high - low) / 2
    return replace(body, middle_m=(high + low) / 2, half_m=(float(half[0]), float(half[1])))
