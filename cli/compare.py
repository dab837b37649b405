"""`seamtrue compare`: what moved since an earlier check."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.compare_body import code_of, compared_bodies, show_bodies, with_edges
from cli.compare_table import show_comparison
from cli.options import Debug, Fraction
from cli.printing import reader_may_leave, say
from cli.report_files import now
from cli.trouble import BAD_INPUT, FAIL, KEEP, NOT_JUDGED, reported

if TYPE_CHECKING:
    from vision.comparison.change import Comparison
    from vision.comparison.record import KeptCheck
    from vision.job.job import Job
    from vision.marks.picture import Picture

    Seen = tuple[Job, Sequence[Picture]]

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
    body: Annotated[
        bool,
        typer.Option(
            "--body",
            help="Ask the vehicle's own body: no tape is needed. Done by itself for a camera whose "
            "picture shows no marks.",
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

    A few marks for each camera are enough, or none: see --body. Exit code: 0 nothing changed, 3
    something did, 4 not judged, 5 bad input.
    """
    with reported(debug):
        if body and what.suffix.lower() != ".toml":
            raise typer.BadParameter("needs a job, whose pictures it looks at", param_hint="--body")
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
        if body:
            _by_body(what, kept.checks, baseline, file.name, fraction)
        latest, seen = _inspected(what) if is_job else (kept.checks[-1], None)
        past = [
            c for c in kept.checks if c.result["job"] == latest.result["job"] and c is not latest
        ]
        start = chosen(past, baseline, file.name)
        later = [c for c in past if c.time > start.time and out is not None][-MOST_DRAWN:]
        shared = Shared(not_relaid=frozenset(not_relaid or ()), untouched=untouched)
        results = compare_checks(start, [*later, latest], shared, fraction)
        last = results[-1]
        if isinstance(last, NoFit):
            if seen is not None and start.body:
                say(f"{say_check()(last.reason)}; so the body is asked", "")
                raise typer.Exit(_say_bodies(start, seen, fraction))
            say(f"not judged: {say_check()(last.reason)}")
            raise typer.Exit(NOT_JUDGED)
        since = since_words(start.time, latest.time)
        steps = steps_back(last)
        lines = sentences(last, since, latest.result["tolerances"]["seam_gap_m"])
        lines += state_sentences(start.result, latest.result)
        if out is not None:
            checks = list(zip([*later, latest], results, strict=True))
            page = comparison_page(start, checks, steps, lines)
            disk.write_all(out.parent, {out.name: page})
        code = _code(last)
        with reader_may_leave():
            show_comparison(last, steps, lines)
            if out is not None:
                say(f"page: {out}")
        unseen = [name for name, why in last.not_compared if why.code == "took-no-part"]
        if seen is not None and start.body and unseen:
            told = "of cameras without marks, by the vehicle's own body:"
            code = FAIL if _say_bodies(start, seen, fraction, unseen, told) == FAIL else code
        raise typer.Exit(BAD_INPUT if kept.faults else code)


def _by_body(
    job_file: Path, checks: Sequence[KeptCheck], baseline: str, record: str, fraction: int
) -> None:
    """Compare a job's pictures with the body's edges of a kept check, and exit."""
    from vision.comparison.record import chosen
    from vision.files import disk

    job, pictures = disk.read_inspection_input(job_file)
    own = [each for each in checks if each.result["job"] == job.name]
    start = chosen(with_edges(own) if own else own, baseline, record)
    raise typer.Exit(_say_bodies(start, (job, pictures), fraction))


def _say_bodies(
    start: KeptCheck, seen: Seen, fraction: int, cameras: Sequence[str] = (), told: str = ""
) -> int:
    """Print what the body's edges say, after `told`, and return the exit code for that."""
    from vision.documents.comparison_words import since_words

    job, pictures = seen
    result = compared_bodies(start, job.to_fraction(fraction), pictures, cameras)
    with reader_may_leave():
        say(*(["", told] if told else []))
        show_bodies(result, since_words(start.time, datetime.fromisoformat(now())))
    return code_of(result)


def _inspected(job_file: Path) -> tuple[KeptCheck, Seen]:
    """Check the job's pictures as they are now, without keeping it."""
    from vision.comparison.record import kept_check
    from vision.documents.result import result_of
    from vision.files import disk
    from vision.inspection.inspect import inspect

    texts = disk.read_job_texts(job_file)
    job, pictures = disk.read_inspection_input(job_file)
    result = result_of(inspect(job, pictures))
    check = kept_check(job_file.name, texts, pictures, result, taken=now())
    return check, (job, pictures)


def _code(result: Comparison) -> int:
    if (
        result.changed
        or result.exchanged
        or result.strips_moved
        or any(seam.breaks for seam in result.seams)
    ):
        return FAIL
    return NOT_JUDGED if result.not_compared else KEEP
