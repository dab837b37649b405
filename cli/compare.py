"""`seamtrue compare`: what moved since an earlier check."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.compare_table import show_comparison
from cli.options import Debug, Fraction
from cli.printing import reader_may_leave, say
from cli.report_files import now
from cli.trouble import BAD_INPUT, FAIL, KEEP, NOT_JUDGED, reported

if TYPE_CHECKING:
    from vision.comparison.change import Comparison
    from vision.comparison.record import KeptCheck

MOST_DRAWN = 40
"""Checks on the page, the last ones."""


def compare(
    what: Annotated[
        Path,
        typer.Argument(
            metavar="JOB.toml|RECORD",
            help="A job, whose pictures as they are now are compared with its record; or a record, "
            "whose last check is.",
            show_default=False,
        ),
    ],
    baseline: Annotated[
        str, typer.Option(metavar="WHICH", help="first, previous, a number, or a date: 2026-03-03.")
    ] = "first",
    record: Annotated[
        Path | None,
        typer.Option(help="The job's record; by default seamtrue-record.sqlite beside the job."),
    ] = None,
    not_relaid: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME",
            help="A strip or mark that lies where it lay then; may be repeated; `all` for all.",
        ),
    ] = None,
    untouched: Annotated[
        bool,
        typer.Option(
            "--untouched",
            help="Neither marks nor vehicle were touched in between: the check of a bracket on "
            "the same day, after tightening.",
        ),
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.html", help="Write a page with every check over time.", show_default=False
        ),
    ] = None,
    fraction: Fraction = 16,
    debug: Debug = False,
) -> None:
    """Say what moved since an earlier check: cameras, by how much, and which seams that breaks.

    A few marks for each camera are enough. Exit code: 0 nothing changed, 3 something did, 4 not
    judged, 5 bad input.
    """
    with reported(debug):
        from vision.camera.solver import NoFit
        from vision.comparison.change import Shared
        from vision.comparison.epochs import compare_checks
        from vision.comparison.record import chosen
        from vision.documents.check_words.words import say_check
        from vision.documents.comparison_page import comparison_page
        from vision.documents.comparison_words import (
            sentences,
            since_words,
            state_sentences,
            steps_back,
        )
        from vision.files import disk, record_file

        is_job = what.suffix.lower() == ".toml"
        file = (record or what.parent / record_file.RECORD_NAME) if is_job else what
        kept = record_file.read_record(file)
        say(*map(str, kept.faults), err=True)
        if not is_job and not kept.checks:
            chosen((), baseline, file.name)
        now = _inspected(what) if is_job else kept.checks[-1]
        past = [c for c in kept.checks if c.result["job"] == now.result["job"] and c is not now]
        start = chosen(past, baseline, file.name)
        later = [c for c in past if c.time > start.time and out is not None][-MOST_DRAWN:]
        shared = Shared(not_relaid=frozenset(not_relaid or ()), untouched=untouched)
        results = compare_checks(start, [*later, now], shared, fraction)
        last = results[-1]
        if isinstance(last, NoFit):
            say(f"not judged: {say_check()(last.reason)}")
            raise typer.Exit(NOT_JUDGED)
        since = since_words(start.time, now.time)
        steps = steps_back(last)
        lines = sentences(last, since, now.result["tolerances"]["seam_gap_m"])
        lines += state_sentences(start.result, now.result)
        if out is not None:
            checks = list(zip([*later, now], results, strict=True))
            page = comparison_page(start, checks, steps, lines)
            disk.write_all(out.parent, {out.name: page})
        with reader_may_leave():
            show_comparison(last, steps, lines)
            if out is not None:
                say(f"page: {out}")
        raise typer.Exit(BAD_INPUT if kept.faults else _code(last))


def _inspected(job_file: Path) -> KeptCheck:
    """Check the job's pictures as they are now, without keeping it."""
    from vision.comparison.record import kept_check
    from vision.documents.result import result_of
    from vision.files import disk
    from vision.inspection.inspect import inspect

    texts = disk.read_job_texts(job_file)
    job, pictures = disk.read_inspection_input(job_file)
    result = result_of(inspect(job, pictures))
    return kept_check(job_file.name, texts, pictures, result, taken=now())


def _code(result: Comparison) -> int:
    if result.changed or result.strips_moved or any(seam.breaks for seam in result.seams):
        return FAIL
    return NOT_JUDGED if result.not_compared else KEEP
