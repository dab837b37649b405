"""The body's edges that a check kept, on its pictures, so that a person can strike some out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from vision.comparison.body.keeping import struck_out
from vision.comparison.body.values import BodyEdges, Unkept
from vision.documents.cautions import CAUTION
from vision.documents.check_words.words import say_check
from vision.documents.report.pictures import Shown, delivered, jpeg_uri
from vision.documents.templates import written_page
from vision.inspection.inspected import InspectedCamera, Inspection

BODY_PAGE = "body-edges.html"
EVERY_PX = 100
"""Between the lines of the grid, by which a person reads off pixels."""
PLACES = 7
"""Along the drawing of a piece: it is a shallow curve."""


def body_page(
    inspection: Inspection, kept: Sequence[BodyEdges | Unkept], *, shown: Shown = "whole"
) -> str:
    """The page; pictures stand on it as far as `shown` allows."""
    say = say_check(inspection.job.lengths)
    by_name = {each.camera: each for each in kept}
    return written_page(
        "body_page.html.j2",
        job=inspection.job.name,
        caution=CAUTION,
        cameras=[_camera(inspection, camera, by_name[camera.name], shown, say)
                 for camera in inspection.cameras],
    )  # fmt: skip


def _camera(
    inspection: Inspection,
    found: InspectedCamera,
    edges: BodyEdges | Unkept,
    shown: Shown,
    say: Any,
) -> dict[str, Any]:
    """One camera's picture as delivered, and the lines over it."""
    if isinstance(edges, Unkept):
        return {"name": found.name, "why": say(edges.reason)}
    picture = found.picture
    bgr = delivered(inspection.job, found, shown)
    left, top = picture.corner_px
    struck = struck_out(found.camera, edges.pieces, edges.lens, picture.corner_px)
    lines = picture.as_delivered(edges.pieces.places(PLACES)) + np.array([left, top])
    return {
        "name": found.name,
        "why": "",
        "picture": None if bgr is None else jpeg_uri(bgr),
        "box": (left, top, picture.width, picture.height),
        "grid_u": range(-(-left // EVERY_PX) * EVERY_PX, left + picture.width, EVERY_PX),
        "grid_v": range(-(-top // EVERY_PX) * EVERY_PX, top + picture.height, EVERY_PX),
        "lines": [
            (" ".join(f"{u:.1f},{v:.1f}" for u, v in line), bool(out))
            for line, out in zip(lines, struck, strict=True)
        ],
        "count": len(edges.pieces),
        "struck": int(struck.sum()),
    }
