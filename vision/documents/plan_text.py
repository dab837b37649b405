"""An assessment as text: what is printed, and the table of every mark in every picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from vision.camera.geometry import ANGLES
from vision.documents.cautions import CAUTION
from vision.documents.check_words.saying import Say
from vision.documents.plan_words import limit_words, say_plan, several, sigma_words
from vision.inspection.verdict.rule import COVERAGE
from vision.planning.assessment import (
    Advice,
    AimChoice,
    Assessment,
    PlannedView,
    PredictedCamera,
    Prediction,
    TriedAim,
)
from vision.planning.proposal import Proposal
from vision.planning.settings import SETTINGS
from vision.units.length_words import LengthWords

VERDICTS = {
    "decides": "this layout decides every verdict of a well laid and aimed job",
    "beyond": "this layout, aimed as intended, fails a tolerance however well it is measured",
    "cannot-decide": "this layout cannot decide every verdict",
}
STATUS = {
    "outside-lens": "outside the lens",
    "outside-picture": "outside the picture",
    "from-below": "seen from below",
    "small": "too small",
    "not-measured": "not measured",
}
LIMITS_SHOWN = 5
AIM_STEP_RAD = 1e-4
"""Two aims nearer to each other than this are one."""

WORTH_SAYING = 0.02
"""Share of strip ends from which the chance is told."""

Column = tuple[str, Callable[[Any], str]]
"""A head, and what stands below it of one value."""


def summary(assessment: Assessment) -> str:
    """All but the single marks: tables, what limits, what would help, verdict."""
    prediction = assessment.prediction
    say = say_plan(prediction.job.lengths)
    parts = [
        _assumed(prediction),
        _table(_of_cameras(say.lengths), prediction.cameras),
        _table(_of_layings(say.lengths), prediction.layings),
        _table(_of_seams(say.lengths), prediction.seams),
        _limits(prediction, say),
        "\n".join(_aim(choice, say) for choice in assessment.aims),
        "\n".join(_advice(each, n, say) for n, each in enumerate(assessment.advice, start=1)),
        _verdict(prediction, say),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def marks_table(prediction: Prediction) -> str:
    """Every mark in every picture that shows it: pixel, size, centre sigma, or why not."""
    columns: list[Column] = [
        ("camera", lambda view: view.camera),
        ("mark", lambda view: str(view.mark)),
        ("status", _status),
        ("u px", lambda view: "-" if view.pixel_px is None else f"{view.pixel_px[0]:.0f}"),
        ("v px", lambda view: "-" if view.pixel_px is None else f"{view.pixel_px[1]:.0f}"),
        ("size px", lambda view: "-" if view.extent_px is None else f"{view.extent_px:.1f}"),
        ("sigma px", lambda view: "-" if view.sigma_px is None else f"{view.sigma_px:.3f}"),
    ]
    shown = [view for view in prediction.views if not view.status.startswith("outside")]
    return _table(columns, shown, words=3) + "\n"


def proposal_words(proposal: Proposal, without_raised: Prediction | None) -> str:
    """What was proposed, what it takes to lay, and what its raised marks bring."""
    job, choice = proposal.job, proposal.choice
    say, widths = say_plan(job.lengths), (choice.size.side_tape_m, choice.size.end_tape_m)
    lengths = say.lengths
    tape = lengths.roughly.m(sum(strip.length_m for strip in job.strips), spec=".0f")
    marks = sum(len(strip.at_m) for strip in job.strips)
    tapes = f"{lengths.several(widths, 'cm', '.0f', between=' and ')} wide"
    lines = [
        f"proposed: {marks} {several(choice.size.kind)} on {len(job.strips)} strips"
        f" ({tape} of tape, {tapes}"
        f" along the sides and across the ends), {len(job.marks)} raised marks;"
        f" about {5 * np.ceil(proposal.minutes / 5):.0f} minutes for two",
        f"the cheapest of {proposal.tried} layouts tried that keeps {SETTINGS.margin:g} times"
        " two sigma within every tolerance",
    ]
    if without_raised is not None and without_raised.limits:
        worst = without_raised.limits[0]
        after = next((each for each in proposal.prediction.limits if each.of == worst.of), None)
        if after is not None:
            flat, raised = (sigma_words(worst, each.sigma, lengths) for each in (worst, after))
            lines.append(
                f"without the raised marks: {say(worst.of)} known to {flat} instead of {raised}"
            )
    return "\n".join(lines) + "\n"


def _assumed(prediction: Prediction) -> str:
    light, (width, height) = prediction.light, prediction.size_px
    contrast = light.tape_level - light.ink_level
    return (
        f"taken for granted: pictures of {width} x {height} px unless the lens is fitted; ink"
        f" {contrast:.0f} levels below its tape, noise {light.noise:g} levels, blur"
        f" {light.blur_px:g} px, texture {light.texture_px:g} px; aims and lenses as stated"
    )


def _of_cameras(write: LengthWords) -> list[Column]:
    def sigma_deg(index: int) -> Callable[[PredictedCamera], str]:
        return lambda camera: f"{np.degrees(camera.aim_sigma_rad[index]):.2f}"

    return [
        ("camera", lambda camera: camera.name),
        ("marks", lambda camera: str(camera.marks)),
        *((f"{angle} deg", sigma_deg(index)) for index, angle in enumerate(ANGLES)),
        (write.head("place", "cm"), lambda c: write.doubt_cell(max(c.position_sigma_m), "cm")),
        (write.head("ground", "m"), lambda c: write.roughly.cell(c.nearest_ground_m, "m")),
    ]


def _of_layings(write: LengthWords) -> list[Column]:
    return [
        ("strip, mark", lambda laid: laid.name),
        ("worst mark", lambda laid: str(laid.mark or "-")),
        (write.head("sigma", "cm"), lambda laid: write.doubt_cell(laid.sigma_m, "cm")),
        (write.head("found", "cm"), lambda laid: write.cell(laid.found_m, "cm")),
    ]


def _of_seams(write: LengthWords) -> list[Column]:
    return [
        ("seam", lambda seam: " - ".join(seam.between)),
        ("shared marks", lambda seam: str(seam.shared_marks)),
        (write.head("sigma", "cm"), lambda seam: write.doubt_cell(seam.sigma_m, "cm")),
        (write.head("usual gap", "cm"), lambda seam: write.cell(seam.usual_gap_m, "cm")),
        (write.head("overlap", "m"), lambda seam: write.roughly.cell(seam.overlap_m, "m")),
        (write.head("uncovered", "m"), lambda seam: write.roughly.cell(seam.uncovered_m, "m")),
    ]


def _limits(prediction: Prediction, say: Say) -> str:
    if not prediction.limits:
        return "nothing can be predicted: no camera sees enough marks"
    lines = ["what limits, two sigma against the tolerance:"]
    lines += [f"  {limit_words(limit, say)}" for limit in prediction.limits[:LIMITS_SHOWN]]
    return "\n".join(lines)


def _advice(advice: Advice, number: int, say: Say) -> str:
    limit = advice.limit
    before, after = f"{advice.worst_before:.0%}", f"{advice.worst_after:.0%}"
    worst = "" if before == after else f"; the worst then uses {after} of its tolerance"
    sigmas = (advice.after, limit.sigma)
    known, unhelped = (sigma_words(limit, each, say.lengths) for each in sigmas)
    gain = f"{say(limit.of)} known to {known} instead of {unhelped}{worst}"
    if known == unhelped:
        gain = "gains next to nothing"
    return f"{number}. one more {advice.kind}: {say(advice.addition)}: {gain}"


def _aim(choice: AimChoice, say: Say) -> str:
    turned = " and ".join(choice.adjustable)
    lines = [f"best {turned} of camera {choice.camera}: {_tried(choice.best, say)}"]
    told = [choice.best]
    for words, aim in (("as intended", choice.intended), ("at 45 degrees", choice.at_45)):
        if not any(_same(aim, other) for other in told):
            lines.append(f"  {words}: {_tried(aim, say)}")
            told.append(aim)
    return "\n".join(lines)


def _same(a: TriedAim, b: TriedAim) -> bool:
    off = np.array([a.pan_rad - b.pan_rad, a.tilt_rad - b.tilt_rad])
    return bool(np.abs(off).max() < AIM_STEP_RAD)


def _tried(aim: TriedAim, say: Say) -> str:
    where = f"tilt {np.degrees(aim.tilt_rad):.0f}, pan {np.degrees(aim.pan_rad):.0f} degrees"
    known = "nothing can be decided"
    if aim.limit is not None:
        sigma = sigma_words(aim.limit, aim.limit.sigma, say.lengths)
        known = f"{say(aim.limit.of)} known to {sigma}, {aim.worst:.0%} of its tolerance"
    return "; ".join([f"{where}: {known}", *map(say, aim.problems)])


def _verdict(prediction: Prediction, say: Say) -> str:
    lines = [f"verdict: {VERDICTS[prediction.word]}"]
    lengths, accepted = say.lengths, prediction.job.tolerances.seam_gap_m
    lines += [f"  {say(each.reason)}" for each in prediction.problems]
    for seam in prediction.seams:
        if seam.rare_gap_m > accepted >= COVERAGE * (seam.sigma_m or 0.0):
            lines.append(
                f"note: seam {' - '.join(seam.between)}: jobs without a fault usually show"
                f" {lengths.cm(seam.usual_gap_m or 0.0)}, so one may well come out not judged or"
                " beyond"
            )
    lines += _laying_note(prediction)
    rounding = lengths.note("ground, overlap, lengths of tape and added places")
    lines += [f"note: {rounding}"] if rounding else []
    return "\n".join([*lines, f"a forecast from stated sigmas. {CAUTION}"])


def _laying_note(prediction: Prediction) -> list[str]:
    """How often an end laid as well as stated still comes out too far off to be surely within.

    Its distance from the plan is that of two normal coordinates, so beyond r with exp(-r2 / 2 s2).
    """
    known = {each.name: each.sigma_m for each in prediction.layings if each.sigma_m is not None}
    chances = {}
    for strip in prediction.job.strips:
        room = prediction.job.tolerances.strip_m - COVERAGE * known.get(strip.name, np.inf)
        own = float(np.hypot(strip.position_sigma_m, strip.mark_sigma_m))
        if room > 0:
            chances[strip.name] = float(np.exp(-0.5 * (room / own) ** 2))
    if not chances or max(chances.values()) < WORTH_SAYING:
        return []
    worst = max(chances, key=chances.__getitem__)
    laid = prediction.job.lengths.cm(prediction.job.strip(worst).position_sigma_m)
    return [
        f"note: with ends laid to {laid}, about one in {1 / chances[worst]:.0f} comes out"
        " not judged or beyond though nobody slipped; lay them more exactly, or allow more"
    ]


def _status(view: PlannedView) -> str:
    if view.hidden_by:
        return f"hidden by {view.hidden_by}"
    return STATUS.get(view.status, view.status)


def _table(columns: Sequence[Column], values: Sequence[Any], words: int = 1) -> str:
    """Columns of text two spaces apart; words to the left, figures to the right."""
    if not values:
        return ""
    texts = [[head, *map(cell, values)] for head, cell in columns]
    widths = [max(map(len, column)) for column in texts]
    aligned = [
        [text.ljust(width) if index < words else text.rjust(width) for text in column]
        for index, (column, width) in enumerate(zip(texts, widths, strict=True))
    ]
    return "\n".join("  ".join(row).rstrip() for row in zip(*aligned, strict=True))
