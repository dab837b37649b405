"""An inspection as one self-contained page: opens on a phone, needs no network; works unscripted.

Every figure comes from the result (`vision.documents.result`), so page and result file cannot
disagree; each is written in a `data` element whose value is the result's own number. What is drawn
(arrows, gaps, ellipses) comes from the inspection itself and carries no figures.
"""

from __future__ import annotations

import base64
import hashlib
from importlib.resources import files
from typing import Any

import cv2
import numpy as np
from markupsafe import Markup

from vision.documents.forecast_words import outcome
from vision.documents.open_points import open_points, warnings_apart
from vision.documents.report.overlay import (
    drawn_marks,
    horizon,
    measured_edge,
    residual_arrows,
)
from vision.documents.report.pictures import (
    CROPPED_GREY,
    Shown,
    delivered,
    jpeg_uri,
    near_layout,
)
from vision.documents.report.plan import drawn_plan
from vision.documents.report.seam_views import seam_views
from vision.documents.report.todo import pictured
from vision.documents.report.words import aim_rows, environment, stated_rows, sure_rows
from vision.documents.steps import Step, findings, seam_words, steps
from vision.documents.terms import meaning_of
from vision.documents.top_view import BLEND_M, top_view_grid
from vision.inspection.inspected import InspectedCamera, InspectedSeam, Inspection
from vision.inspection.settings import SETTINGS
from vision.inspection.whatif.change import Forecast
from vision.job.job import Job

TOP_VIEW_QUALITY = 84
NARROW_PX = 1280
"""Width of a picture on which symbols are drawn at their own size."""


def report_html(
    inspection: Inspection,
    result: dict[str, Any],
    top_view_png: bytes,
    *,
    shown: Shown = "whole",
    blended: bool = True,
    made_on: str = "",
) -> str:
    """Write the page for `inspection`, of which `result` is `result_of(inspection)`.

    `shown`: how much of the pictures may be seen. `blended`: whether `top_view_png` is.
    `made_on`: the day of the check as a person writes it; empty, it is left to be filled in.
    """
    style, script = (
        files("vision.documents.report").joinpath(name).read_text("utf-8")
        for name in ("page.css", "page.js")
    )
    digest = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
    pairs = zip(inspection.cameras, result["cameras"], strict=True)
    seams = zip(inspection.seams, result["seams"], strict=True)
    every = steps(inspection)
    told, noted = warnings_apart(inspection)
    return (
        environment(inspection.job.lengths)
        .get_template("report.html.j2")
        .render(
            result=result,
            cameras=[_camera(inspection.job, found, entry, shown) for found, entry in pairs],
            seams=[entry | _seam(inspection, seam, shown) for seam, entry in seams],
            meaning=meaning_of(inspection.verdict),
            findings=findings(inspection),
            todo=_todo(inspection, every, shown),
            open_points=open_points(inspection),
            told=told,
            noted=noted,
            plan=drawn_plan(inspection, every),
            top_view=_top_view(inspection.job, top_view_png, shown),
            blended=blended,
            blend_m=BLEND_M,
            sure=sure_rows(result),
            stated=stated_rows(inspection),
            mounting_slip_m=SETTINGS.slips.mounting_m,
            shown=shown,
            made_on=made_on,
            # Ours, and not a person's: the two files are inlined as they are.
            style=Markup(style),
            script=Markup(script),
            script_digest=digest,
        )
    )


def _todo(inspection: Inspection, every: list[Step], shown: Shown) -> list[dict[str, Any]]:
    """The steps with their pictures, and for a camera's last one what is predicted of its views."""
    drawn, lengths = pictured(inspection, every, shown), inspection.job.lengths
    turns = dict(inspection.what_if.turns)
    for step in reversed(drawn):
        _, forecast = turns.pop(step["camera"], (None, None))
        step["predicted"] = ""
        if isinstance(forecast, Forecast):
            step["predicted"] = outcome(forecast, step["camera"], lengths, aim=False)
    return drawn


def _seam(inspection: Inspection, seam: InspectedSeam, shown: Shown) -> dict[str, Any]:
    """Its pictures, and what tears it."""
    views, why = seam_views(inspection, seam, shown), seam_words(inspection, seam)
    return {"views": views, "why": why}


def _camera(
    job: Job, found: InspectedCamera, entry: dict[str, Any], shown: Shown
) -> dict[str, Any]:
    """One camera's figures with its picture and all that is drawn on it."""
    picture = delivered(job, found, shown)
    factor, arrows = residual_arrows(found)
    return {
        **entry,
        "jpeg": None if picture is None else jpeg_uri(picture),
        "drawn": drawn_marks(found),
        "arrows": arrows,
        "magnification": factor,
        "horizon": horizon(found),
        "edge": measured_edge(found),
        "aim_rows": aim_rows(entry),
        "stroke": max(found.picture.width / NARROW_PX, 0.25),
    }


def _top_view(job: Job, png: bytes, shown: Shown) -> str | None:
    """The top view for the page, smaller than the file; cropped to the layout where asked."""
    if shown == "none":
        return None
    picture = cv2.imdecode(np.frombuffer(png, dtype=np.uint8), cv2.IMREAD_COLOR)
    if picture is None:
        raise ValueError("top_view_png: expected a PNG picture")
    if shown == "cropped":
        points = top_view_grid(job.vehicle).points_m()
        picture[~near_layout(job, points)] = CROPPED_GREY
    return jpeg_uri(np.asarray(picture, dtype=np.uint8), quality=TOP_VIEW_QUALITY)
