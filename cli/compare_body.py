"""The part of `seamtrue compare` that asks the vehicle's own body, without any tape."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

import typer

from cli.printing import Lines, say, say_numbered, show_table
from cli.trouble import FAIL, KEEP, NOT_JUDGED

if TYPE_CHECKING:
    from vision.comparison.body.values import BodyComparison, BodyTurn
    from vision.comparison.record import KeptCheck
    from vision.job.job import Job
    from vision.marks.picture import Picture

NONE_KEPT = (
    "not judged: none of the kept checks holds the body's edges (records kept before hold no "
    "pixels); keep one check, with the tape laid and the cameras keep: seamtrue check --keep"
)


def with_edges(checks: Sequence[KeptCheck]) -> list[KeptCheck]:
    """Those of the checks that hold the body's edges; exits as not judged where there are none."""
    found = [each for each in checks if each.body]
    if not found:
        say(NONE_KEPT)
        raise typer.Exit(NOT_JUDGED)
    return found


def compared_bodies(
    start: KeptCheck, job: Job, pictures: Sequence[Picture], cameras: Collection[str] = ()
) -> BodyComparison:
    """What the edges kept in `start` say of pictures; of `cameras` alone, where named."""
    import json

    from vision.comparison.body.judging import compare_bodies
    from vision.comparison.body.stored import edges_of_plain

    kept = edges_of_plain(json.loads(start.body))
    by_name = {each.name: each for each in pictures}
    return compare_bodies(kept, job, by_name, cameras)


def show_bodies(result: BodyComparison, since: str) -> None:
    """Print what to do, the table of turns, then the sentences and the caution."""
    from vision.documents.body_words import body_sentences, body_steps
    from vision.documents.cautions import CAUTION, DOUBT

    steps = body_steps(result)
    say_numbered(steps)
    say(*([f"({DOUBT})", ""] if steps else []))
    heads = ("camera", "by its body", "pan deg", "tilt deg", "roll deg", "edges agreeing")
    rows = [_row(each, each.name in result.fine) for each in result.cameras]
    rows += [(name, "not-judged", "-", "-", "-", "-") for name, _ in result.not_judged]
    show_table(Lines(heads=heads, rows=tuple(rows)))
    say(*body_sentences(result, since), CAUTION)


def _row(camera: BodyTurn, fine: bool) -> tuple[str, ...]:
    import numpy as np

    figures = zip(np.degrees(camera.aim_rad), np.degrees(camera.aim_sigma_rad), strict=True)
    word = "turned" if camera.turned else "no turn seen" if fine else "not-judged"
    return (
        camera.name,
        word,
        *(f"{turn:+z.2f} +-{sigma:.2f}" for turn, sigma in figures),
        f"{camera.agreeing}/{camera.kept}",
    )


def code_of(result: BodyComparison) -> int:
    """3 where a camera turned; 4 unless every camera's figure is fine; 0 otherwise. Never keep."""
    if result.turned:
        return FAIL
    judged = {each.name for each in result.cameras}
    return KEEP if judged == result.fine and judged and not result.not_judged else NOT_JUDGED
