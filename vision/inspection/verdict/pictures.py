"""What is wrong with a picture: out of focus, one side soft, motion, low light, drops.

Each is answered yes, no or cannot tell, by the one decision rule. Blur is judged against the
job's `blur_px`: on the marks where marks were measured, else on the picture's own edges.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, assert_never

import numpy as np

from vision.inspection.settings import SETTINGS
from vision.inspection.verdict.rule import (
    COVERAGE,
    Action,
    Judgement,
    judge,
    judge_minimum,
)
from vision.job.job import Tolerances
from vision.units.plain import written
from vision.units.reason import Reason
from vision.views.sharpness.blur import OPPOSITE, SIDES, Blur, Sharpness, Side, SoftPatch
from vision.views.sharpness.blur_map import BLUR_WIDTH_PX

Answer = Literal["yes", "no", "cannot-tell"]
PictureFault = Literal["soft", "soft-side", "motion", "low-light", "drops"]
FAULTS: tuple[PictureFault, ...] = ("soft", "soft-side", "motion", "low-light", "drops")


TUNED = SETTINGS.pictures


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureVerdict:
    """Answers for every fault, and what follows.

    `faults` are those beyond what the job accepts; `word` is what they make of the camera's
    verdict, None where nothing. `sharpness` is what was judged.
    """

    answers: dict[PictureFault, Answer] = written()
    sharpness: Sharpness | None = written(flat=Sharpness, default=None)
    faults: tuple[PictureFault, ...] = ()
    reasons: tuple[Reason, ...] = ()
    actions: tuple[Action, ...] = ()
    word: Literal["re-shoot", "not-judged"] | None = None
    side: Side | None = None


def judge_picture(
    name: str, sharpness: Sharpness, tolerances: Tolerances, *, identified: bool
) -> PictureVerdict:
    """Judge one camera's picture. Too little light counts only where no marks could be named."""
    allowed = tolerances.blur_px * sharpness.width / BLUR_WIDTH_PX
    side = _soft_side(sharpness, allowed)
    drops = _beyond_patches(sharpness, allowed)
    answers: dict[PictureFault, Answer] = {
        "soft": _answer(_judged(_softness(sharpness), allowed)),
        "soft-side": side[0],
        "motion": _motion(sharpness),
        "low-light": _low_light(sharpness),
        "drops": "cannot-tell" if sharpness.patches is None else ("yes" if drops else "no"),
    }
    beyond = {fault for fault, answer in answers.items() if answer == "yes"}
    if "motion" in beyond and _judged(sharpness.most, allowed) != "beyond":
        beyond -= {"motion"}
    if identified:
        beyond -= {"low-light"}
    if "motion" in beyond and _judged(sharpness.least, allowed) != "beyond":
        # Then it is the motion that makes the marks soft, not the lens.
        beyond -= {"soft"}
    faults = tuple(fault for fault in FAULTS if fault in beyond)
    reasons = [_reason(fault, sharpness, allowed, side[1], drops) for fault in faults]
    actions = [Action(what=Reason("mend-picture", camera=name, why=each)) for each in reasons]
    word: Literal["re-shoot", "not-judged"] | None = "re-shoot" if faults else None
    marks = sharpness.marks
    if not faults and marks is not None and _judged(marks.median, allowed) == "not-judged":
        word = "not-judged"
        reasons.append(Reason("soft-not-judged", **_figures(marks.median, allowed)))
    if identified and answers["low-light"] == "yes":
        reasons.append(_reason("low-light", sharpness, allowed))
    return PictureVerdict(
        answers=answers,
        sharpness=sharpness,
        faults=faults,
        reasons=tuple(reasons),
        actions=tuple(actions),
        word=word,
        side=side[1],
    )


def _judged(blur: Blur | None, allowed_px: float) -> Judgement:
    return "not-judged" if blur is None else judge(blur.blur_px, blur.sigma_px, allowed_px)


def _answer(word: Judgement) -> Answer:
    return "yes" if word == "beyond" else "no" if word == "within" else "cannot-tell"


def _softness(sharpness: Sharpness) -> Blur | None:
    """What 'soft' is judged on: the marks' median, without marks the edges' blur.

    With motion it is the blur that motion does not explain.
    """
    if sharpness.marks is not None:
        return sharpness.marks.median
    return sharpness.least if _motion(sharpness) == "yes" else sharpness.blur


def _soft_side(sharpness: Sharpness, allowed_px: float) -> tuple[Answer, Side | None]:
    """Whether one side alone is beyond: the softest such side."""
    if sharpness.sides is None:
        return "cannot-tell", None
    found: list[tuple[float, Side]] = []
    unsure = False
    for side in SIDES:
        here, there = sharpness.sides[side], sharpness.sides[OPPOSITE[side]]
        more = here.blur_px - there.blur_px
        sigma = float(np.hypot(here.sigma_px, there.sigma_px))
        clearly = more - COVERAGE * sigma > TUNED.side_share * allowed_px
        if not _marks_allow(sharpness, side):
            continue
        word = _judged(here, allowed_px)
        if word == "beyond" and clearly and _judged(there, allowed_px) == "within":
            found.append((more, side))
        elif word == "not-judged" and more + COVERAGE * sigma > TUNED.side_share * allowed_px:
            unsure = True
    if found:
        return "yes", max(found)[1]
    return ("cannot-tell" if unsure else "no"), None


def _marks_allow(sharpness: Sharpness, side: Side) -> bool:
    """Whether the marks, where there are some on both sides, are softer on this one too."""
    if sharpness.marks is None:
        return True
    here, there = sharpness.marks.sides[side], sharpness.marks.sides[OPPOSITE[side]]
    return here is None or there is None or here > 1.2 * there


def _motion(sharpness: Sharpness) -> Answer:
    """Whether everything is blurred along one direction only, by a length worth the name."""
    motion, least, most = sharpness.motion, sharpness.least, sharpness.most
    if motion is None or least is None or most is None:
        return "cannot-tell"
    smallest = TUNED.least_motion_px * sharpness.width / BLUR_WIDTH_PX
    length = judge_minimum(motion.length_px, motion.sigma_px, smallest)
    alike = judge_minimum(least.blur_px / most.blur_px, least.sigma_px / most.blur_px, TUNED.alike)
    if length == "beyond" or alike == "within":
        return "no"
    return "yes" if length == "within" and alike == "beyond" else "cannot-tell"


def _low_light(sharpness: Sharpness) -> Answer:
    light = sharpness.light
    word = judge_minimum(light.signal_to_noise, light.signal_to_noise_sigma, TUNED.least_signal)
    return _answer(word)


def _beyond_patches(sharpness: Sharpness, allowed_px: float) -> tuple[SoftPatch, ...]:
    return tuple(
        patch
        for patch in sharpness.patches or ()
        if judge(patch.blur_px, patch.sigma_px, allowed_px) == "beyond"
    )


def _figures(blur: Blur, allowed_px: float) -> dict[str, object]:
    return {"blur_px": blur.blur_px, "sigma_px": blur.sigma_px, "limit_px": allowed_px}


def _reason(
    fault: PictureFault,
    sharpness: Sharpness,
    allowed_px: float,
    side: Side | None = None,
    drops: tuple[SoftPatch, ...] = (),
) -> Reason:
    """What was found of a fault."""
    motion, light = sharpness.motion, sharpness.light
    match fault:
        case "soft":
            figure = _softness(sharpness)
            assert figure is not None
            at_marks = sharpness.marks is not None
            return Reason(fault, at_marks=at_marks, **_figures(figure, allowed_px))
        case "soft-side":
            assert sharpness.sides is not None
            assert side is not None
            there = sharpness.sides[OPPOSITE[side]]
            return Reason(
                fault,
                side=side,
                other=OPPOSITE[side],
                other_blur_px=there.blur_px,
                other_sigma_px=there.sigma_px,
                **_figures(sharpness.sides[side], allowed_px),
            )
        case "motion":
            assert motion is not None
            return Reason(
                fault,
                length_px=motion.length_px,
                sigma_px=motion.sigma_px,
                direction_rad=motion.direction_rad,
                limit_px=allowed_px,
            )
        case "low-light":
            return Reason(
                fault,
                signal_to_noise=light.signal_to_noise,
                sigma=light.signal_to_noise_sigma,
                least=TUNED.least_signal,
            )
        case "drops":
            patches = tuple(
                Reason(
                    "soft-patch",
                    blur_px=each.blur_px,
                    sigma_px=each.sigma_px,
                    pixel_px=(float(each.pixel_px[0]), float(each.pixel_px[1])),
                    radius_px=each.radius_px,
                    marks=each.marks,
                )
                for each in drops
            )
            return Reason(fault, patches=patches, limit_px=allowed_px)
        case _:
            assert_never(fault)
