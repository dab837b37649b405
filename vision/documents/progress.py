"""What is left to turn, and what changed since another check, of two results as written.

Both may be years apart in version: only keys of the first version are read, and what is not there
is not said. A difference is worth a line where it changes a judgement, or where it is more than two
sigma of both.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from vision.camera.geometry import ANGLES, wrap_degrees
from vision.documents.check_words.words import say_check
from vision.documents.result import aim_judged
from vision.documents.templates import written_text
from vision.inspection.inspected import InspectedCamera
from vision.inspection.running import JudgedAim
from vision.inspection.verdict.rule import COVERAGE, Judgement
from vision.units.length_words import LengthWords
from vision.units.plain import plain

TOO_FAR = {
    "pan": ("too far right", "too far left"),
    "tilt": ("too far up", "too far down"),
    "roll": ("too far anticlockwise", "too far clockwise"),
}
"""Words for a negative and a positive deviation; right, left and clockwise as seen from behind."""
SEEN_DEG = 0.05
"""What is smaller is written as 0.0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleLeft:
    """How far one angle of a camera is off in degrees, plus as in every result, and its verdict."""

    name: str
    off_deg: float
    sigma_deg: float | None
    word: Judgement

    @property
    def too_far(self) -> str:
        """Which way it is off; empty where it is written as 0.0."""
        return TOO_FAR[self.name][int(self.off_deg > 0)] if abs(self.off_deg) >= SEEN_DEG else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleChange:
    """One angle of a camera, before and after."""

    camera: str
    before: AngleLeft
    after: AngleLeft

    @property
    def matters(self) -> bool:
        """Whether its judgement changed, or it did by more than two sigma of both."""
        if self.before.word != self.after.word:
            return True
        then, now = self.before.sigma_deg, self.after.sigma_deg
        if then is None or now is None:
            return False
        moved = abs(float(wrap_degrees(self.after.off_deg - self.before.off_deg)))
        doubt = COVERAGE * float(np.hypot(then, now))
        return moved > max(doubt, SEEN_DEG)


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictChange:
    """One camera, strip, mark or seam whose verdict changed."""

    what: str
    before: str
    after: str


def angles_left(entry: Mapping[str, Any]) -> tuple[AngleLeft, ...]:
    """Pan, tilt and roll of a camera as a result has it; nothing without a joint adjustment."""
    aim, sigmas = aim_judged(entry["joint"])
    codes = {reason["code"] for reason in entry["reasons"]}
    words: tuple[Judgement, ...] = ("beyond", "not-judged")
    return tuple(
        AngleLeft(
            name=name,
            off_deg=float(wrap_degrees(aim[name] - entry["intended_aim_deg"][name])),
            sigma_deg=sigmas.get(name),
            word=next((word for word in words if f"{name}-{word}" in codes), "within"),
        )
        for name in ANGLES
        if aim.get(name) is not None
    )


def angles_of(aim: JudgedAim) -> tuple[AngleLeft, ...]:
    """The same of an aim that is known before there is a result."""
    sigmas = [float(each) if np.isfinite(each) else None for each in np.degrees(aim.sigma_rad)]
    rows = zip(ANGLES, np.degrees(aim.off_rad), sigmas, aim.words, strict=True)
    return tuple(
        AngleLeft(name=name, off_deg=float(off), sigma_deg=sigma, word=word)
        for name, off, sigma, word in rows
    )


def left_text(entry: Mapping[str, Any]) -> str:
    """What is left to turn of a camera, or the first reason why it is not kept; none for keep."""
    if entry["verdict"] == "keep":
        return ""
    angles = [each for each in angles_left(entry) if each.word != "within"]
    return _left(angles, next((each["text"] for each in entry["reasons"]), ""))


def left_of(aim: JudgedAim) -> str:
    """What is left to turn of a camera of which no more is known yet."""
    return _left([each for each in angles_of(aim) if each.word != "within"], "nothing to turn")


def _left(angles: Sequence[AngleLeft], reason: str) -> str:
    return written_text("left.txt.j2", angles=angles, reason=reason).strip()


def changed_text(before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    """What changed of a camera from one picture to the next; empty where nothing did."""
    found = [each for each in angle_changes(before, after) if each.matters]
    return ", ".join(
        f"{c.after.name} {abs(c.before.off_deg):.1f} -> {abs(c.after.off_deg):.1f}" for c in found
    )


def camera_entry(found: InspectedCamera, lengths: LengthWords) -> dict[str, Any]:
    """One camera as its result will have it, before there is one."""
    entry: dict[str, Any] = plain(found, say_check(lengths))
    return entry


def angle_changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[AngleChange, ...]:
    """Every angle of one camera that both entries have."""
    then = {each.name: each for each in angles_left(before)}
    return tuple(
        AngleChange(camera=after["name"], before=then[each.name], after=each)
        for each in angles_left(after)
        if each.name in then
    )


def changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """What changed from one result to another, a line for each thing; none where nothing did."""
    cameras = [pair for pair in _pairs(before, after, "cameras") if _other_picture(*pair)]
    return written_text(
        "progress.txt.j2",
        angles=[c for pair in cameras for c in angle_changes(*pair) if c.matters],
        verdicts=list(_verdict_changes(before, after)),
        verdict=(before["verdict"], after["verdict"]),
    ).splitlines()


def _other_picture(before: Mapping[str, Any], after: Mapping[str, Any]) -> bool:
    """A camera whose picture is the same was not turned: only what is known of it changed."""
    return bool(before["picture"]["sha256"] != after["picture"]["sha256"])


def _verdict_changes(
    before: Mapping[str, Any], after: Mapping[str, Any]
) -> Iterator[VerdictChange]:
    kinds = {"cameras": "{} camera", "strips": "{} strip", "raised_marks": "{}", "seams": "{} seam"}
    for kind, words in kinds.items():
        for then, now in _pairs(before, after, kind):
            if then["verdict"] != now["verdict"]:
                what = words.format(_name(now))
                yield VerdictChange(what=what, before=then["verdict"], after=now["verdict"])


def _pairs(
    before: Mapping[str, Any], after: Mapping[str, Any], kind: str
) -> Iterator[tuple[Mapping[str, Any], Mapping[str, Any]]]:
    """Entries of one kind that both results have, in the order of the later."""
    then = {_name(each): each for each in before.get(kind, ())}
    for each in after.get(kind, ()):
        if _name(each) in then:
            yield then[_name(each)], each


def _name(entry: Mapping[str, Any]) -> str:
    return " - ".join(entry["between"]) if "between" in entry else str(entry["name"])
