"""Identifying in the even rows of a picture: they are one of half its height, in its own right.

Nothing is made up between rows, so that the noise of neighbours stays as independent as it was and
covariances hold. What is found is given in px of the whole picture.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.camera.lens_prior import LensPrior, with_rows
from vision.identification.corners import with_box_corners
from vision.identification.decision import identify
from vision.identification.identified import Identified, NotIdentified
from vision.job.job import Camera, Job
from vision.job.layout import Layout
from vision.marks.picture import Picture, Rows


def in_rows(prior: LensPrior, grey: np.ndarray, rows: Rows) -> tuple[LensPrior, np.ndarray]:
    """Give the prior and the grey picture (height, width) of what of it is measured."""
    if rows != "even":
        return prior, grey
    even = grey[::2]
    return prior.with_rows(0.5, len(even)), even


def identified(
    job: Job, layout: Layout, camera: Camera, prior: LensPrior, grey: np.ndarray, rows: Rows
) -> Identified | NotIdentified:
    """`identify` in those rows of a grey picture (height, width) that are measured."""
    outcome = identify(job, layout, camera, *in_rows(prior, grey, rows))
    if rows != "even":
        return outcome
    if isinstance(outcome, Identified):
        return with_row_scale(outcome, 2.0, len(grey))
    held = outcome.held
    return replace(outcome, held=None if held is None else with_row_scale(held, 2.0, len(grey)))


def with_corners(job: Job, camera: Camera, outcome: Identified, picture: Picture) -> Identified:
    """`with_box_corners` likewise."""
    if picture.rows != "even":
        return with_box_corners(job, camera, outcome, picture.bgr, picture.covered)
    even = picture.bgr[::2]
    covered = None if picture.covered is None else picture.covered[::2]
    halved = with_row_scale(outcome, 0.5, len(even))
    found = with_box_corners(job, camera, halved, even, covered)
    return with_row_scale(found, 2.0, picture.height)


def with_row_scale(outcome: Identified, scale: float, height: int) -> Identified:
    """What was found, in a picture of other rows, `height` of them: row v becomes `scale` v."""
    fit, unit = outcome.fit, np.array([1.0, scale])
    turned = np.ones(14)
    turned[[7, 9]] = scale
    points = replace(
        fit.points,
        pixels_px=fit.points.pixels_px * unit,
        covariance_px2=fit.points.covariance_px2 * np.outer(unit, unit),
    )
    fit = replace(
        fit,
        lens=with_rows(fit.lens, scale, height),
        covariance=fit.covariance * np.outer(turned, turned),
        points=points,
        residual_px=fit.residual_px * unit,
    )
    sightings = tuple(
        each
        if (measured := each.measured) is None
        else replace(
            each,
            measured=replace(
                measured,
                pixel_px=measured.pixel_px * unit,
                covariance_px2=measured.covariance_px2 * np.outer(unit, unit),
            ),
        )
        for each in outcome.sightings
    )
    prior = outcome.prior.with_rows(scale, height)
    return replace(outcome, fit=fit, prior=prior, sightings=sightings)
