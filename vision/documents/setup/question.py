"""The questions as values, and which of them some answers lead to."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from vision.documents.setup.answers import Answers
from vision.job.picture_names import camera_of_file
from vision.units.lengths import IMPERIAL

CAMERAS = (
    *("front", "left", "rear", "right"),
    *("front_left", "rear_left", "rear_right", "front_right"),
)
"""Names that say where a camera looks, as a job reads them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question: `ask` in words, `kind` how its answer is read, `default` what Enter takes.

    `default` is None where the answer has to be given, and empty where it may stay open, which
    `left_open` then says in words; `origin` says where a default comes from. `words` are the ways
    of a length that may lie to either side; `choices` what a file may be.
    """

    key: str
    kind: str
    ask: str
    default: str | None = None
    origin: str = ""
    left_open: str = ""
    drawing: str = ""
    least: str = ""
    most: str = ""
    words: tuple[str, ...] = ()
    say_side: bool = False
    choices: tuple[str, ...] = ()


def questions_for(answers: Answers, pictures: Sequence[str] = ()) -> tuple[Question, ...]:
    """Every question that the answers so far lead to, in order.

    Which cameras there are decides what is asked of each; `pictures`, the names of those that lie
    in the folder, whether it has to be asked which of them is whose.
    """
    data = _data()
    cameras = tuple(dict.fromkeys(each for each in answers.cameras if each in CAMERAS))
    found: list[Question] = []
    for values in data["question"]:
        found.append(_question(values, answers))
        if values["key"] == "tilt":
            found += [each for camera in cameras for each in _of_camera(camera, answers)]
        if values["key"] == "sure":
            found += _of_pictures(cameras, pictures, answers)
    return tuple(found)


def next_question(answers: Answers, pictures: Sequence[str] = ()) -> Question | None:
    """The first question that is not answered; None where all are."""
    every = questions_for(answers, pictures)
    return next((each for each in every if each.key not in answers), None)


def previous_question(answers: Answers, pictures: Sequence[str] = ()) -> Question | None:
    """The last answered question before the next one; None where it is the first."""
    coming = next_question(answers, pictures)
    before = None
    for each in questions_for(answers, pictures):
        if coming is not None and each.key == coming.key:
            break
        before = each
    return before


def drawing_of(question: Question) -> str:
    """The drawing of what is meant, lines of text; empty where there is none."""
    drawn: str = _data()["drawings"].get(question.drawing, "")
    return drawn.strip("\n")


def _of_camera(camera: str, answers: Answers) -> Iterator[Question]:
    """What is asked of one camera; of a corner, as of its end, and how far aside."""
    end = camera.split("_")[0]
    for values in _data()["camera"]:
        if end in values["of"]:
            key = f"{camera}.{values['key']}"
            named = values | {"key": key, "ask": values["ask"].format(camera=camera)}
            named["ask"] = named["ask"].replace("_", " ")
            if "_" in camera and values["key"] == "aside":
                # A corner camera is not in the middle.
                named.pop("default")
            yield _question(named | _as_its_opposite(camera, values["key"], answers), answers)


def _as_its_opposite(camera: str, key: str, answers: Answers) -> dict[str, str]:
    """A right camera is mounted as the left one is, where nothing else is said."""
    opposite = camera.replace("right", "left")
    typed = answers.get(f"{opposite}.{key}")
    if opposite == camera or typed is None:
        return {}
    if key == "aside":
        swap = {"left": "right", "right": "left"}
        typed = " ".join(swap.get(word, word) for word in typed.split())
    return {"default": typed, "origin": f"as the {opposite.replace('_', ' ')} one"}


def _of_pictures(
    cameras: Sequence[str], pictures: Sequence[str], answers: Answers
) -> Iterator[Question]:
    """Whose picture a file is, where names do not say; each file is somebody's once."""
    owners = {each: camera_of_file(each, cameras) for each in pictures}
    nobodys = [each for each in pictures if owners[each] is None]
    (values,) = _data()["picture"]
    for camera in cameras:
        if camera in owners.values() or not nobodys:
            continue
        key = f"{camera}.picture"
        ask = values["ask"].format(camera=camera.replace("_", " "), files=", ".join(nobodys))
        yield _question(values | {"key": key, "ask": ask}, answers, choices=tuple(nobodys))
        given = (answers.get(key) or "").casefold()
        nobodys = [each for each in nobodys if each.casefold() != given]


def _question(
    values: Mapping[str, Any], answers: Answers, choices: tuple[str, ...] = ()
) -> Question:
    default = "" if "optional" in values else values.get("default")
    if answers.unit in IMPERIAL:
        default = values.get("default_imperial", default)
    return Question(
        key=values["key"],
        kind=values["kind"],
        ask=values["ask"],
        default=default,
        origin=values.get("origin", ""),
        left_open=values.get("optional", ""),
        drawing=values.get("drawing", ""),
        least=values.get("least", ""),
        most=values.get("most", ""),
        words=tuple(values.get("words", ())),
        say_side=values.get("say_side", False),
        choices=choices,
    )


@cache
def _data() -> dict[str, Any]:
    text = files("vision.documents.setup").joinpath("questions.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
