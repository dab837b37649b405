"""An assessment as text: what is printed, and the table of every mark in every picture."""

from __future__ import annotations

import numpy as np

from vision.documents.cautions import CAUTION
from vision.documents.plan_words import limit_words, plan_words, sigma_words
from vision.inspection.verdict.rule import COVERAGE
from vision.planning.assessment import (
    Advice,
    AimChoice,
    Assessment,
    PlannedView,
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

SEVERAL = {"cross": "crosses", "quadrant": "quadrants", "board": "boards"}
WORTH_SAYING = 0.02
"""Share of strip ends from which the chance is told."""

Rows = list[tuple[str, ...]]


def summary(assessment: Assessment) -> str:
    """All but the single marks: tables, what limits, what would help, verdict."""
    prediction = assessment.prediction
    lengths = prediction.job.lengths
    parts = [
        _assumed(prediction),
        _columns(_cameras(prediction)),
        _columns(_layings(prediction)),
        _columns(_seams(prediction)),
        _limits(prediction),
        "\n".join(_aim(choice, lengths) for choice in assessment.aims),
        "\n".join(_advice(each, n, lengths) for n, each in enumerate(assessment.advice, start=1)),
        _verdict(prediction),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def marks_table(prediction: Prediction) -> str:
    """Every mark in every picture that shows it: pixel, size, centre sigma, or why not."""
    rows: Rows = [("camera", "mark", "status", "u px", "v px", "size px", "sigma px")]
    rows += [
        _view(view)
        for view in prediction.views
        if view.status not in ("outside-lens", "outside-picture")
    ]
    return _columns(rows, words=3) + "\n"


def proposal_words(proposal: Proposal, without_raised: Prediction | None) -> str:
    """What was proposed, what it takes to lay, and what its raised marks bring."""
    job, choice = proposal.job, proposal.choice
    lengths, widths = job.lengths, (choice.size.side_tape_m, choice.size.end_tape_m)
    tape = lengths.roughly.m(sum(strip.length_m for strip in job.strips), spec=".0f")
    marks = sum(len(strip.at_m) for strip in job.strips)
    tapes = f"{lengths.several(widths, 'cm', '.0f', between=' and ')} wide"
    lines = [
        f"proposed: {marks} {SEVERAL[choice.size.kind]} on {len(job.strips)} strips"
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
            what = plan_words(worst.of, lengths)
            lines.append(f"without the raised marks: {what} known to {flat} instead of {raised}")
    return "\n".join(lines) + "\n"


def _assumed(prediction: Prediction) -> str:
    light, (width, height) = prediction.light, prediction.size_px
    contrast = light.tape_level - light.ink_level
    return (
        f"taken for granted: pictures of {width} x {height} px unless the lens is fitted; ink"
        f" {contrast:.0f} levels below its tape, noise {light.noise:g} levels, blur"
        f" {light.blur_px:g} px, texture {light.texture_px:g} px; aims and lenses as stated"
    )


def _cameras(prediction: Prediction) -> Rows:
    write = prediction.job.lengths
    heads = ("camera", "marks", "pan deg", "tilt deg", "roll deg")
    rows: Rows = [(*heads, write.head("place", "cm"), write.head("ground", "m"))]
    for camera in prediction.cameras:
        angles = [f"{np.degrees(each):.2f}" for each in camera.aim_sigma_rad]
        place = write.doubt_cell(max(camera.position_sigma_m), "cm")
        ground = write.roughly.cell(camera.nearest_ground_m, "m")
        rows.append((camera.name, str(camera.marks), *angles, place, ground))
    return rows


def _layings(prediction: Prediction) -> Rows:
    write = prediction.job.lengths
    figures = (write.head("sigma", "cm"), write.head("found", "cm"))
    rows: Rows = [("strip, mark", "worst mark", *figures)]
    for each in prediction.layings:
        sigma, found = write.doubt_cell(each.sigma_m, "cm"), write.cell(each.found_m, "cm")
        rows.append((each.name, str(each.mark or "-"), sigma, found))
    return rows


def _seams(prediction: Prediction) -> Rows:
    write = prediction.job.lengths
    rough = write.roughly
    gaps = (write.head("sigma", "cm"), write.head("usual gap", "cm"))
    seen = (write.head("overlap", "m"), write.head("uncovered", "m"))
    rows: Rows = [("seam", "shared marks", *gaps, *seen)]
    for seam in prediction.seams:
        rows.append(
            (
                " - ".join(seam.between),
                str(seam.shared_marks),
                write.doubt_cell(seam.sigma_m, "cm"),
                write.cell(seam.usual_gap_m, "cm"),
                rough.cell(seam.overlap_m, "m"),
                rough.cell(seam.uncovered_m, "m"),
            )
        )
    return rows


def _limits(prediction: Prediction) -> str:
    if not prediction.limits:
        return "nothing can be predicted: no camera sees enough marks"
    lengths = prediction.job.lengths
    lines = ["what limits, two sigma against the tolerance:"]
    lines += [f"  {limit_words(limit, lengths)}" for limit in prediction.limits[:LIMITS_SHOWN]]
    return "\n".join(lines)


def _advice(advice: Advice, number: int, lengths: LengthWords) -> str:
    before, after = f"{advice.worst_before:.0%}", f"{advice.worst_after:.0%}"
    worst = "" if before == after else f"; the worst then uses {after} of its tolerance"
    limit = advice.limit
    known, unhelped = (sigma_words(limit, each, lengths) for each in (advice.after, limit.sigma))
    gain = f"{plan_words(limit.of, lengths)} known to {known} instead of {unhelped}{worst}"
    if known == unhelped:
        gain = "gains next to nothing"
    return f"{number}. one more {advice.kind}: {plan_words(advice.addition, lengths)}: {gain}"


def _aim(choice: AimChoice, lengths: LengthWords) -> str:
    turned = " and ".join(choice.adjustable)
    lines = [f"best {turned} of camera {choice.camera}: {_tried(choice.best, lengths)}"]
    told = [choice.best]
    for words, aim in (("as intended", choice.intended), ("at 45 degrees", choice.at_45)):
        if not any(_same(aim, other) for other in told):
            lines.append(f"  {words}: {_tried(aim, lengths)}")
            told.append(aim)
    return "\n".join(lines)


def _same(a: TriedAim, b: TriedAim) -> bool:
    off = np.array([a.pan_rad - b.pan_rad, a.tilt_rad - b.tilt_rad])
    return bool(np.abs(off).max() < AIM_STEP_RAD)


def _tried(aim: TriedAim, lengths: LengthWords) -> str:
    where = f"tilt {np.degrees(aim.tilt_rad):.0f}, pan {np.degrees(aim.pan_rad):.0f} degrees"
    if aim.limit is None:
        known = "nothing can be decided"
    else:
        what, sigma = (
            plan_words(aim.limit.of, lengths),
            sigma_words(aim.limit, aim.limit.sigma, lengths),
        )
        known = f"{what} known to {sigma}, {aim.worst:.0%} of its tolerance"
    wrong = "".join(f"; {plan_words(each, lengths)}" for each in aim.problems)
    return f"{where}: {known}{wrong}"


def _verdict(prediction: Prediction) -> str:
    lines = [f"verdict: {VERDICTS[prediction.word]}"]
    lengths, accepted = prediction.job.lengths, prediction.job.tolerances.seam_gap_m
    lines += [f"  {plan_words(each.reason, lengths)}" for each in prediction.problems]
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


def _view(view: PlannedView) -> tuple[str, ...]:
    status = STATUS.get(view.status, view.status)
    if view.hidden_by:
        status = f"hidden by {view.hidden_by}"
    u, v = ("-", "-") if view.pixel_px is None else (f"{each:.0f}" for each in view.pixel_px)
    size = "-" if view.extent_px is None else f"{view.extent_px:.1f}"
    sigma = "-" if view.sigma_px is None else f"{view.sigma_px:.3f}"
    return view.camera, str(view.mark), status, u, v, size, sigma


def _columns(rows: Rows, words: int = 1) -> str:
    """Columns of text two spaces apart; words to the left, figures to the right."""
    if len(rows) < 2:
        return ""
    widths = [max(len(row[index]) for row in rows) for index in range(len(rows[0]))]
    return "\n".join(
        "  ".join(
            cell.ljust(width) if index < words else cell.rjust(width)
            for index, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    )
