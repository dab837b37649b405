"""The pick list as one self-contained page: each mark's place on the screen, and its picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any

import cv2
import numpy as np
from markupsafe import Markup

from vision.documents.check_words.words import say_check
from vision.documents.picks import Pick
from vision.documents.report.pictures import jpeg_uri, turned
from vision.documents.report.words import environment
from vision.inspection.inspected import InspectedCamera, Inspection
from vision.units.length_words import LengthWords

HALF_PX, SHOWN_PX, QUALITY = 24, 144, 80


def picks_html(
    inspection: Inspection, lists: Mapping[str, Sequence[Pick]], screen: tuple[int, int] | None
) -> str:
    """Write the page; `screen` is the size that the coordinates are for, None the picture's own."""
    cameras = [
        {
            "name": found.camera.name,
            "width": screen[0] if screen else found.picture.width,
            "height": screen[1] if screen else found.picture.height,
            "picks": [
                _pick(found, pick, inspection.job.lengths) for pick in lists[found.camera.name]
            ],
        }
        for found in inspection.cameras
    ]
    style = files("vision.documents.report").joinpath("page.css").read_text("utf-8")
    return (
        environment()
        .get_template("picks.html.j2")
        .render(
            job=inspection.job.name,
            cameras=cameras,
            size=SHOWN_PX,
            # Ours, and not a person's: it is inlined as it is.
            style=Markup(style),
        )
    )


def _pick(found: InspectedCamera, pick: Pick, lengths: LengthWords) -> dict[str, Any]:
    x, y = pick.screen_px
    return {
        "number": pick.number,
        "mark": str(pick.mark),
        "x": f"{x:.0f}",
        "y": f"{y:.0f}",
        "expected": pick.expected,
        "reason": say_check(lengths)(pick.reason) if pick.reason else "",
        "uri": _small(found, pick),
    }


def _small(found: InspectedCamera, pick: Pick) -> str:
    """The picture round a mark, enlarged, as delivered; beyond the picture's edge it is black."""
    delivered = turned(found.picture.bgr, found.picture.mirrored)
    scale = SHOWN_PX / (2 * HALF_PX)
    u, v = pick.pixel_px
    # Output pixel i shows input (i + 0.5) / scale - 0.5 + first.
    first = np.array([u, v]) - HALF_PX + 0.5
    shift = first + 0.5 / scale - 0.5
    matrix = np.array([[1 / scale, 0, shift[0]], [0, 1 / scale, shift[1]]])
    part = cv2.warpAffine(
        delivered, matrix, (SHOWN_PX, SHOWN_PX), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    return jpeg_uri(np.asarray(part, dtype=np.uint8), quality=QUALITY)
