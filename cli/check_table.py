"""The tables that `seamtrue check` prints, and its sentences below them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from cli.printing import Lines, say, say_numbered, show_table
from vision.camera.geometry import ANGLES, wrap_degrees
from vision.documents.cautions import DOUBT
from vision.documents.result import aim_judged
from vision.units.length_words import METRIC, NO_FIGURE, LengthWords

if TYPE_CHECKING:
    from vision.documents.steps import Finding, Step
    from vision.inspection.inspected import Inspection


def show(inspection: Inspection, result: dict[str, Any]) -> None:
    """Print verdicts, what is to be done, what is open and why, and warnings."""
    from vision.documents.open_points import open_points
    from vision.documents.steps import findings, steps

    for table in tables(result, inspection.job.lengths):
        show_table(table)
    say(f"verdict: {result['verdict']}")
    say_numbered(_lines(step) for step in steps(inspection))
    say(*(f"seam {each.name}: {each.why}" for each in findings(inspection) if _torn(each)))
    say(f"({DOUBT})")
    say(*(f"open: {point}" for point in open_points(inspection)))
    say(*(f"note: {warning}" for warning in result["warnings"]))


def tables(result: dict[str, Any], write: LengthWords = METRIC) -> list[Lines]:
    """Cameras, strips with raised marks, and seams; what the job has none of is left out."""
    cameras = tuple(_camera(entry) for entry in result["cameras"])
    laid = tuple(_laid(entry, write) for entry in [*result["strips"], *result["raised_marks"]])
    seams = tuple(_seam(entry, write) for entry in result["seams"])
    gaps = (write.head("gap", "cm"), write.head("rms", "cm"), write.roughly.head("overlap", "m"))
    heads: tuple[tuple[str, ...], ...] = (
        (
            *("camera", "verdict", "marks", "blur px", "rms px"),
            *("pan off", "tilt off", "roll off", "sigma deg"),
        ),
        (
            *("strip, mark", "verdict"),
            *(write.head("ahead", "cm"), write.head("left", "cm"), "turn deg"),
        ),
        ("seam", "verdict", *gaps),
    )
    every = zip(heads, (cameras, laid, seams), strict=True)
    return [Lines(heads=head, rows=rows) for head, rows in every if rows]


def _torn(finding: Finding) -> bool:
    return finding.kind == "seam" and finding.verdict == "beyond"


def _lines(step: Step) -> tuple[str, ...]:
    """A step: what to do, each turn of several, what to go by, and what then follows."""
    head = f"{step.owner}: {step.head}" if step.owner else step.head
    return (head, *step.lines, *step.how, *step.then)


def _number(value: float | None, digits: int, sign: str = "") -> str:
    return NO_FIGURE if value is None else f"{value:{sign}z.{digits}f}"


def _camera(entry: dict[str, Any]) -> tuple[str, ...]:
    fit, joint = entry["plan_fit"], entry["joint"]
    off = [NO_FIGURE] * len(ANGLES)
    worst_sigma = None
    if joint:
        found, sigma_deg = aim_judged(joint)
        intended = entry["intended_aim_deg"]
        turned = (float(wrap_degrees(found[name] - intended[name])) for name in ANGLES)
        off = [_number(each, 2, sign="+") for each in turned]
        sigmas = [sigma for sigma in sigma_deg.values() if sigma is not None]
        worst_sigma = max(sigmas, default=None)
    return (
        entry["name"],
        entry["verdict"],
        f"{entry['marks_used']}/{entry['marks_expected']}",
        _number(_blur_px(entry), 1),
        _number(fit["reprojection_px"]["rms"] if fit else None, 2),
        *off,
        _number(worst_sigma, 2),
    )


def _blur_px(entry: dict[str, Any]) -> float | None:
    """Blur at 1280 px width: at the marks, or without marks at the picture's own edges."""
    picture, sharpness = entry["picture"], entry.get("sharpness")
    at_marks: float | None = picture["blur_px"]
    if at_marks is not None or sharpness is None or sharpness["blur"] is None:
        return at_marks
    return float(sharpness["blur"]["px"]) * 1280 / float(picture["width"])


def _laid(entry: dict[str, Any], write: LengthWords) -> tuple[str, ...]:
    shift = entry["shift_m"] or (None, None)
    return (
        entry["name"],
        entry["verdict"],
        write.cell(shift[0], "cm", signed=True),
        write.cell(shift[1], "cm", signed=True),
        _number(entry.get("turn_deg"), 2, sign="+"),
    )


def _seam(entry: dict[str, Any], write: LengthWords) -> tuple[str, ...]:
    return (
        " - ".join(entry["between"]),
        entry["verdict"],
        write.cell(entry["gap_m"], "cm"),
        write.cell(entry["rms_gap_m"], "cm"),
        write.roughly.cell(entry["overlap_m"], "m"),
    )
