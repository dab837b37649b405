"""`seamtrue scene`: draw the pictures that a job would give, for practice."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer

from cli.options import Debug, JobFile
from cli.printing import reader_may_leave, say
from cli.progress import shown_progress
from cli.trouble import reported


def scene(
    job_file: JobFile,
    out: Annotated[
        Path, typer.Option(help="Folder to write to; not the job's own.", show_default=False)
    ],
    deviations: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.toml",
            help="What is to be drawn otherwise than the job says: cameras, strips, marks, light.",
            show_default=False,
        ),
    ] = None,
    seed: Annotated[int, typer.Option(min=0, help="Of yard, lenses and noise.")] = 0,
    debug: Debug = False,
) -> None:
    """Draw the pictures that a job would give, with stated faults, and the truth beside them.

    Writes the pictures, truth.json, and the job file as it is, so that `seamtrue check` runs there.
    The lens model is the checker's own: a scene proves nothing about it. Exit code: 0, 5 bad input.
    """
    with reported(debug):
        from vision.files import disk
        from vision.practice.deviations import Deviations
        from vision.practice.deviations_file import deviations_from_text
        from vision.practice.folder import refused, scene_folder
        from vision.practice.scene import draw_scene, drawn_file
        from vision.units.plain import json_text

        start = time.monotonic()
        job, _ = disk.read_job(job_file)
        asked = Deviations()
        if deviations is not None:
            text = disk.read_bytes(deviations, "a file of deviations", "name that file")
            asked = deviations_from_text(text, deviations.name, job)
        job_text = disk.read_bytes(job_file, "a job file", "name the job file")
        plan = scene_folder(job, job_file.name, job_text)
        refused(plan, job_file.parent, out)
        disk.folder_ready(out)
        with shown_progress() as progress:
            drawn = draw_scene(job, asked, seed, progress)
        contents: dict[str, bytes | str] = {
            plan.pictures[name]: drawn_file(pixels, plan.pictures[name], asked.light.jpeg_quality)
            for name, pixels in drawn.pictures.items()
        }
        for file in plan.texts:
            contents[file] = disk.read_bytes(job_file.parent / file, "a text file", "put it there")
        contents["truth.json"] = json_text(drawn.truth)
        contents[plan.job_file] = job_text
        disk.write_tree(out, contents)
        with reader_may_leave():
            say(f"{len(drawn.pictures)} pictures in {time.monotonic() - start:.1f} s: {out}")
            say(drawn.truth["note"], f"next: seamtrue check {out / plan.job_file}")
