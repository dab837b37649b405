"""All answers to a `Setup`: the vehicle and its cameras in metres, and what there is to lay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

from vision.documents.setup.answers import Answers
from vision.documents.setup.question import CAMERAS, Question, questions_for
from vision.documents.setup.reading import Value, value_of
from vision.units.cures import nearest_step
from vision.units.errors import BadInputError, Fault, fault_of

Place = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupCamera:
    """A camera by its name, which says where it looks; `picture` None where a name says it."""

    name: str
    position_m: Place
    field_of_view_deg: float
    mirrored: bool
    picture: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """What a first job is made of; lengths in metres, None where something was left open."""

    name: str
    unit: str
    length_m: float
    width_m: float
    height_m: float | None
    tilt_deg: float
    position_sigma_m: float
    cameras: tuple[SetupCamera, ...]
    tape_width_m: float
    paper: str
    lot_length_m: float | None
    lot_width_m: float | None

    @property
    def fields_deg(self) -> tuple[float, ...]:
        """Each angle of view that any of the cameras has, once."""
        return tuple(dict.fromkeys(camera.field_of_view_deg for camera in self.cameras))


def setup_from_answers(answers: Answers, pictures: Sequence[str] = (), file: str = "") -> Setup:
    """The setup that answers describe; what was not answered takes its default.

    Raises BadInputError with every fault: an answer that is none, one that has to be given and is
    not, one to a question that nobody asked.
    """
    faults: list[Fault] = []
    known: dict[str, Question] = {}
    values: dict[str, Value] = {}
    # The first answers decide what is asked next, and so do defaults that nobody typed.
    while question := _not_read(answers, pictures, known):
        known[question.key] = question
        typed = answers.get(question.key)
        if typed is None and question.default is None:
            step = f"answer it: {question.ask}"
            faults.append(fault_of("missing", file, "nothing", "an answer", step, key=question.key))
            continue
        text = (question.default or "") if typed is None else typed
        if typed is None and text:
            answers = answers.with_answer(question.key, text)
        try:
            cameras = cast(tuple[str, ...], values.get("cameras") or ())
            values[question.key] = value_of(question, text, answers.unit, cameras, file)
        except BadInputError as error:
            faults.extend(error.faults)
    faults.extend(_unasked(answers, known, file))
    if faults:
        raise BadInputError(faults)
    return _setup(values)


def answers_behind(faults: Sequence[Fault], answers: Answers) -> tuple[str, ...]:
    """The answers that faults come from, to be asked again; the last one where none is told.

    A fault of an answer names it; one of the job that was made of answers names the job's key.
    """
    found = []
    for fault in faults:
        section, _, rest = fault.key.partition(".")
        name, _, key = rest.partition(".")
        behind = _BEHIND.get(f"{section}.{key}", _BEHIND.get(section, rest))
        of_camera = section == "camera" and behind == ""
        found += [
            each
            for each in answers
            if each in (fault.key, behind) or (of_camera and _of(each) == name)
        ]
    return tuple(dict.fromkeys(found)) or tuple(answers)[-1:]


_BEHIND = {
    "camera": "",
    "camera.tilt_deg": "tilt",
    "camera.position_sigma": "sure",
    "lens": "field_of_view",
    "tape": "tape_width",
}
"""Answers behind keys of a job, where they are not called alike; of a camera all of its own."""


def place_of(camera: str, values: Mapping[str, float], length_m: float, width_m: float) -> Place:
    """Where a lens is, x ahead, y left and z up from the ground under the body's middle.

    `values` are the camera's own answers by the last word of their key. An end is measured from
    its bumper, a side from the body's side, a corner as its end and from the middle.
    """
    from_rear = "before" in values
    x = values["before"] - length_m / 2 if from_rear else length_m / 2 - values["behind"]
    side = 1 if camera == "left" else -1
    y = values["aside"] if "aside" in values else side * (width_m / 2 + values["out"])
    return x, y, values["up"]


def _not_read(
    answers: Answers, pictures: Sequence[str], known: Mapping[str, Question]
) -> Question | None:
    every = questions_for(answers, pictures)
    return next((each for each in every if each.key not in known), None)


def _setup(values: Mapping[str, Value]) -> Setup:
    length_m, width_m = cast(float, values["length"]), cast(float, values["width"])
    names = cast(tuple[str, ...], values["cameras"])
    fields = cast(tuple[float, ...], values["field_of_view"])
    fields = fields * len(names) if len(fields) == 1 else fields
    mirrored = cast(tuple[str, ...], values["mirrored"])
    cameras = []
    for name, field_deg in zip(names, fields, strict=True):
        own = {key.partition(".")[2]: each for key, each in values.items() if _of(key) == name}
        picture = cast(str | None, own.pop("picture", None))
        place = place_of(name, cast(dict[str, float], own), length_m, width_m)
        cameras.append(
            SetupCamera(
                name=name,
                position_m=place,
                field_of_view_deg=field_deg,
                mirrored=name in mirrored,
                picture=picture,
            )
        )
    return Setup(
        name=cast(str, values["name"]),
        unit=cast(str, values["units"]),
        length_m=length_m,
        width_m=width_m,
        height_m=cast(float | None, values["height"]),
        tilt_deg=cast(float, values["tilt"]),
        position_sigma_m=cast(float, values["sure"]),
        cameras=tuple(cameras),
        tape_width_m=cast(float, values["tape_width"]),
        paper=cast(str, values["paper"]),
        lot_length_m=cast(float | None, values["lot_length"]),
        lot_width_m=cast(float | None, values["lot_width"]),
    )


def _of(key: str) -> str:
    return key.partition(".")[0]


def _unasked(answers: Answers, known: Mapping[str, Question], file: str) -> list[Fault]:
    """Answers to what was not asked; of a camera that is not there, one fault for all."""
    faults = []
    cameras = {_of(key) for key in known if "." in key}
    for key in answers:
        camera = _of(key)
        # Which pictures lie there may have changed since they were asked for.
        if key in known or (key.endswith(".picture") and camera in cameras):
            continue
        step = nearest_step(key, known, "remove it")
        if camera in CAMERAS and camera not in cameras and "." in key:
            step = f"name {camera} in `cameras`, or remove it"
        found, expected = "an answer that nobody asked for", "one of " + ", ".join(known)
        faults.append(fault_of("unknown-key", file, found, expected, step, key=key))
    return faults
