"""An assessment as text: what is printed, and the table of every mark in every picture."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from vision.camera.geometry import ANGLES
from vision.documents.cautions import CAUTION
from vision.documents.check_words.saying import several
from vision.documents.plan_words import limit_words, say_plan, sigma_words
from vision.documents.sheets.mark_pages import pages_of
from vision.documents.sheets.paper import Paper
from vision.documents.templates import written_text
from vision.inspection.verdict.rule import COVERAGE
from vision.job.job import Job, SingleMark, Strip
from vision.job.settings import SETTINGS as JOB
from vision.planning.assessment import (
    AimChoice,
    Assessment,
    Given,
    Hope,
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
OPEN_UNTIL: dict[tuple[Given, ...], str] = {
    ("small-marks-found",): "a first picture of each camera",
    ("lenses-fitted",): "lenses fitted from a board",
    ("lenses-fitted", "small-marks-found"): "lenses fitted from a board, and a first picture",
}
"""What decides all that a layout leaves open."""
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
    job, write = prediction.job, prediction.job.lengths
    chance, laid_m = _chance_of_slips(prediction)
    return written_text(
        "plan.txt.j2",
        assessment=assessment,
        prediction=prediction,
        light=prediction.light,
        size_px=prediction.size_px,
        tables=(
            _table(_of_cameras(write), prediction.cameras, words=2),
            _table(_of_layings(write), prediction.layings, words=3),
            _table(_of_seams(write), prediction.seams, words=2),
        ),
        limits_shown=LIMITS_SHOWN,
        others=_other_aims,
        verdict=_verdict(assessment),
        given=OPEN_UNTIL,
        small=_small_marks,
        least_px=JOB.least_size_px,
        accepted_m=job.tolerances.seam_gap_m,
        coverage=COVERAGE,
        chance=chance,
        laid_m=laid_m,
        worth_saying=WORTH_SAYING,
        rounding=write.note("ground, overlap, lengths of tape and added places"),
        caution=CAUTION,
        in_degrees=np.degrees,
        **_words(job),
    )


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


def proposal_words(proposal: Proposal, without_raised: Prediction | None, paper: Paper) -> str:
    """What was proposed, what it takes to print and lay, and what its raised marks bring."""
    job, size = proposal.job, proposal.choice.size
    laid: tuple[Strip | SingleMark, ...] = (*job.strips, *job.marks)
    limits = without_raised.limits[:1] if without_raised is not None else ()
    return written_text(
        "proposal.txt.j2",
        job=job,
        kind=size.kind,
        marks=sum(len(strip.at_m) for strip in job.strips),
        tape_m=sum(strip.length_m for strip in job.strips),
        widths_m=(size.side_tape_m, size.end_tape_m),
        pages=1 + sum(pages_of(each, paper) for each in laid),
        paper=paper.name,
        minutes=5 * np.ceil(proposal.minutes / 5),
        tried=proposal.tried,
        margin=SETTINGS.margin,
        with_and_without=[
            (flat, raised)
            for flat in limits
            for raised in proposal.prediction.limits
            if raised.of == flat.of
        ][:1],
        several=several,
        **_words(job),
    )


def _words(job: Job) -> dict[str, object]:
    """What both texts are written with."""
    words = {"limit_words": limit_words, "sigma_words": sigma_words}
    return {"say": say_plan(job.lengths), "write": job.lengths, **words}


def _of_cameras(write: LengthWords) -> list[Column]:
    def sigma_deg(index: int) -> Callable[[PredictedCamera], str]:
        return lambda camera: f"{np.degrees(camera.aim_sigma_rad[index]):.2f}"

    return [
        ("camera", lambda camera: camera.name),
        ("verdict", lambda camera: camera.verdict),
        ("marks", lambda camera: str(camera.marks)),
        *((f"{angle} deg", sigma_deg(index)) for index, angle in enumerate(ANGLES)),
        (write.head("place", "cm"), lambda c: write.doubt_cell(max(c.position_sigma_m), "cm")),
        (write.head("ground", "m"), lambda c: write.roughly.cell(c.nearest_ground_m, "m")),
    ]


def _of_layings(write: LengthWords) -> list[Column]:
    return [
        ("strip, mark", lambda laid: laid.name),
        ("verdict", lambda laid: laid.verdict),
        ("worst mark", lambda laid: str(laid.mark or "-")),
        (write.head("sigma", "cm"), lambda laid: write.doubt_cell(laid.sigma_m, "cm")),
        (write.head("noticed from", "cm"), lambda laid: write.cell(laid.found_m, "cm")),
    ]


def _of_seams(write: LengthWords) -> list[Column]:
    return [
        ("seam", lambda seam: " - ".join(seam.between)),
        ("verdict", lambda seam: seam.verdict),
        ("shared", lambda seam: str(seam.shared_marks)),
        (write.head("sigma", "cm"), lambda seam: write.doubt_cell(seam.sigma_m, "cm")),
        (write.head("faultless", "cm"), lambda seam: write.cell(seam.usual_gap_m, "cm")),
        (write.head("overlap", "m"), lambda seam: write.roughly.cell(seam.overlap_m, "m")),
        (write.head("unseen", "m"), lambda seam: write.roughly.cell(seam.uncovered_m, "m")),
    ]


def _verdict(assessment: Assessment) -> str:
    """The verdict in words, with what decides where the layout by itself does not."""
    word = assessment.prediction.word
    decides = [hope for hope in assessment.hopes if hope.verdict == "decides"]
    if word != "cannot-decide" or not decides:
        return VERDICTS[word]
    return f"this layout decides every verdict only with {OPEN_UNTIL[decides[0].given]}"


def _small_marks(hope: Hope) -> str:
    """Where the small marks are: `left sees 2 of front and 2 of rear`."""
    counts: dict[str, Counter[str]] = {}
    for view in hope.small:
        counts.setdefault(view.camera, Counter())[view.mark.name] += 1
    return "; ".join(
        f"{camera} sees {' and '.join(f'{n} of {name}' for name, n in of.items())}"
        for camera, of in counts.items()
    )


def _other_aims(choice: AimChoice) -> list[tuple[str, TriedAim]]:
    """The aims that stand beside the best one, with what they are; each once."""
    told, others = [choice.best], []
    for words, aim in (("as intended", choice.intended), ("at 45 degrees", choice.at_45)):
        if not any(_same(aim, other) for other in told):
            told.append(aim)
            others.append((words, aim))
    return others


def _same(a: TriedAim, b: TriedAim) -> bool:
    off = np.array([a.pan_rad - b.pan_rad, a.tilt_rad - b.tilt_rad])
    return bool(np.abs(off).max() < AIM_STEP_RAD)


def _chance_of_slips(prediction: Prediction) -> tuple[float, float]:
    """How often an end laid as well as stated still comes out too far off to be surely within.

    Of the strip where that is likeliest, with the sigma it is laid to, m; 0 where nothing is known.
    An end's distance from the plan is that of two normal coordinates, so beyond r with
    exp(-r2 / 2 s2).
    """
    known = {each.name: each.sigma_m for each in prediction.layings if each.sigma_m is not None}
    worst = 0.0, 0.0
    for strip in prediction.job.strips:
        room = prediction.job.tolerances.strip_m - COVERAGE * known.get(strip.name, np.inf)
        own = float(np.hypot(strip.position_sigma_m, strip.mark_sigma_m))
        chance = float(np.exp(-0.5 * (room / own) ** 2)) if room > 0 else 0.0
        worst = max(worst, (chance, strip.position_sigma_m), key=lambda each: each[0])
    return worst


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
