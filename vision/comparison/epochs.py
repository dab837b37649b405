"""From a kept check to what a comparison needs of it: its marks are adjusted again, as they were.

The result file holds each measured centre as delivered with its covariance, and the plan fits; the
job and its lens files are kept beside it. That is all an adjustment starts from.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from vision.adjustment.adjusted import CameraObservations
from vision.adjustment.plan_fit import Points
from vision.adjustment.search import adjust
from vision.camera.geometry import ANGLES, Aim, Pose
from vision.camera.lens import Lens
from vision.camera.lens_prior import lens_prior
from vision.camera.solver import NoFit
from vision.comparison.change import EVERYTHING, Comparison, Epoch, Shared
from vision.comparison.compared import compare
from vision.comparison.record import KeptCheck
from vision.job.job import Job
from vision.job.job_file import job_from_text
from vision.job.layout import Layout, planned_layout
from vision.job.mark_id import MarkId
from vision.units.cures import nearest_step
from vision.units.errors import BadInputError, fault_of
from vision.units.reason import Reason


def epoch_of(check: KeptCheck, fraction: int = 16) -> Epoch | NoFit:
    """Adjust what a kept check measured; `fraction` is the finest of an inch to be read.

    BadInputError where its job can no longer be read; NoFit where it had no joint adjustment.
    """
    texts = {name: text.encode("utf-8") for name, text in check.lens_files.items()}
    job = job_from_text(check.job_text, check.job_file, texts).to_fraction(fraction)
    layout = planned_layout(job)
    cameras = {entry["name"]: entry for entry in check.result["cameras"]}
    seen = [
        _observations(job, layout, name, entry)
        for name, entry in cameras.items()
        if entry["plan_fit"] is not None and any(camera.name == name for camera in job.cameras)
    ]
    adjustment = adjust(job, layout, tuple(seen))
    if isinstance(adjustment, NoFit):
        return adjustment
    taking_part = {camera.name for camera in adjustment.cameras}
    return Epoch(
        job=job,
        observations=tuple(each for each in seen if each.name in taking_part),
        adjustment=adjustment,
        displays={each.name: each.start for each in seen},
    )


def _observations(
    job: Job, layout: Layout, name: str, entry: Mapping[str, Any]
) -> CameraObservations:
    """One camera's measured marks in the picture turned back, its lens prior and its plan fit."""
    picture = entry["picture"]
    width, height = picture["width"], picture["height"]
    camera = job.camera(name)
    marks = [mark for mark in entry["marks"] if mark["pixel"] and mark["covariance_px2"]]
    pixels = np.array([mark["pixel"] for mark in marks]).reshape(-1, 2)
    if picture.get("sources"):
        pixels = pixels - np.array(picture["sources"][0]["crop"][:2])
    covariance = np.array([mark["covariance_px2"] for mark in marks]).reshape(-1, 2, 2)
    if picture["mirrored"]:
        pixels[:, 0] = width - 1 - pixels[:, 0]
        covariance *= [[1, -1], [-1, 1]]
    strips = [strip.name for strip in job.strips]
    planned = [layout.mark(MarkId.parse(mark["id"], strips)) for mark in marks]
    points = Points.of(job, planned, pixels, covariance)
    fit = entry["plan_fit"]
    aim = Aim.from_degrees(*(fit["aim_deg"][angle] for angle in ANGLES))
    pose = Pose.at(np.array(fit["position_m"]), aim.rotation())
    found = fit["lens"]
    lens = Lens(
        width=width,
        height=height,
        k=np.array(found["k"]),
        **{each: found[each] for each in ("fx", "fy", "cx", "cy")},
    )
    prior = lens_prior(job.lens_of(camera), width, height)
    return CameraObservations(name=name, prior=prior, points=points, start=(pose, lens))


def compare_checks(
    baseline: KeptCheck, later: Sequence[KeptCheck], shared: Shared, fraction: int = 16
) -> tuple[Comparison | NoFit, ...]:
    """Compare each later check with the baseline, which is adjusted once.

    `fraction`: the finest of an inch to be read where a job is in feet or inches. A name in
    `shared` that the last check's job does not have is BadInputError.
    """
    first = epoch_of(baseline)
    if isinstance(first, NoFit):
        why = Reason("no-baseline", check=baseline.number, why=first.reason)
        return (NoFit(reason=why),) * len(later)
    results: list[Comparison | NoFit] = []
    for check in later:
        epoch = epoch_of(check, fraction)
        if isinstance(epoch, NoFit):
            results.append(epoch)
            continue
        if check is later[-1]:
            _known(shared, epoch.job, check.job_file)
        results.append(compare(first, epoch, shared))
    return tuple(results)


def _known(shared: Shared, job: Job, file: str) -> None:
    names = [*(strip.name for strip in job.strips), *(mark.name for mark in job.marks)]
    faults = []
    for name in sorted(shared.not_relaid - {EVERYTHING, *names}):
        step = nearest_step(name, names, f"name one of them, or `{EVERYTHING}`")
        expected = f"a strip or mark of that job: {', '.join(names)}"
        faults.append(
            fault_of("unknown-name", file, repr(name), expected, step, key="--not-relaid")
        )
    if faults:
        raise BadInputError(faults)
