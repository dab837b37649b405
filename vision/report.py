"""An inspection as one self-contained page: opens on a phone, needs no network and no script.

Every figure comes from the result (`vision.result`), so page and result file cannot disagree; each
is written in a `data` element whose value is the result's own number.
"""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from vision.result import ANGLES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vision.geometry import Array
    from vision.inspection_values import InspectedCamera, Inspection

WIDEST_PX = 1280
JPEG_QUALITY = 82
NO_FIGURE = "–"  # noqa: RUF001 - an en dash is what a table shows for no figure

WORDS = {
    "keep": "keep",
    "within": "within",
    "re-aim": "re-aim",
    "re-shoot": "re-shoot",
    "re-measure": "re-measure",
    "beyond": "beyond",
    "not-judged": "not judged",
}
FIGURES = {
    "joint": "joint adjustment",
    "shift_m": "shift",
    "shift_sigma_m": "its sigma",
    "turn_deg": "turn",
    "turn_sigma_deg": "its sigma",
    "worst_gap_m": "worst gap",
    "worst_gap_sigma_m": "its sigma",
    "rms_gap_m": "gap rms",
    "uncovered_m": "uncovered length",
    "overlap_m": "overlap",
    "texture_shift_m": "shift of the ground's texture",
}
FAULTS = {
    "soft": "out of focus",
    "soft-side": "one side soft",
    "motion": "moved",
    "low-light": "too little light",
    "drops": "drops or dirt",
}
ORDER = ("re-shoot", "re-measure", "re-aim", "not-judged", "keep")
SIGNS = {"keep": "✓", "within": "✓", "not-judged": "?"}
KINDS = {"keep": "good", "within": "good", "not-judged": "open"}


def report_html(inspection: Inspection, result: dict[str, Any], top_view_png: bytes) -> str:
    """Write the page for `inspection`, of which `result` is `result_of(inspection)`."""
    environment = Environment(
        loader=PackageLoader("vision", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        figure=_figure,
        cm=_cm,
        word=_word,
        sign=_sign,
        kind=_kind,
        grouped=_grouped,
        typeset=_typeset,
        fault=FAULTS.__getitem__,
    )
    shown = zip(inspection.cameras, result["cameras"], strict=True)
    return environment.get_template("report.html.j2").render(
        result=result,
        cameras=[_camera(found, entry) for found, entry in shown],
        todo=_todo(result),
        top_view=_uri(top_view_png, "image/png"),
    )


def _uri(data: bytes, kind: str) -> str:
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"


def _typeset(text: str) -> str:
    """A sentence with the sign that a terminal may lack."""
    return text.replace("+-", "±")


def _word(verdict: str) -> str:
    return WORDS.get(verdict, verdict)


def _sign(verdict: str) -> str:
    return SIGNS.get(verdict, "!")


def _kind(verdict: str) -> str:
    return KINDS.get(verdict, "bad")


def _figure(value: float | None, digits: int = 2, signed: bool = False, scale: float = 1.0) -> str:
    """Show a number, or a dash for none, in a `data` element that carries the number itself."""
    if value is None:
        return NO_FIGURE
    text = f"{value * scale:{'+' if signed else ''}.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("+-")
    return Markup('<data value="{}">{}</data>').format(value, text.replace("-", "−"))  # noqa: RUF001


def _cm(value_m: float | None, digits: int = 1, signed: bool = False) -> str:
    """Show metres as centimetres; the `data` element keeps the metres."""
    return _figure(value_m, digits, signed, 100.0)


def _grouped(missing: dict[str, str]) -> list[tuple[str, str]]:
    """Turn why-no-figure by figure into (figures, why), so that one cause is told once."""
    by_why: dict[str, list[str]] = {}
    for name, why in missing.items():
        by_why.setdefault(why, []).append(FIGURES.get(name, name.replace("_", " ")))
    return [(", ".join(names), why) for why, names in by_why.items()]


def _todo(result: dict[str, Any]) -> list[dict[str, str]]:
    """What is to be done, in the order in which to do it: the job's own list, or everybody's."""
    if result["actions"]:
        return [{"who": "", "text": action["text"]} for action in result["actions"]]
    everybody = [*result["cameras"], *result["strips"], *result["raised_marks"]]
    everybody.sort(key=lambda entry: ORDER.index(entry["verdict"]))
    return [
        {"who": entry["name"], "text": action["text"]}
        for entry in everybody
        for action in entry["actions"]
    ]


def _camera(found: InspectedCamera, entry: dict[str, Any]) -> dict[str, Any]:
    """One camera's figures with its picture, the marks drawn on it and the aim's rows."""
    picture = found.picture
    delivered = picture.bgr[:, ::-1] if picture.mirrored else picture.bgr
    return {
        **entry,
        "jpeg": _uri(_jpeg(delivered), "image/jpeg"),
        "drawn": _drawn_marks(found),
        "aim_rows": _aim_rows(entry),
        "stroke": max(picture.width / WIDEST_PX, 0.5),
    }


def _jpeg(bgr: NDArray[np.uint8]) -> bytes:
    """Encode a picture as JPEG, at most `WIDEST_PX` wide."""
    height, width = bgr.shape[:2]
    if width > WIDEST_PX:
        size = (WIDEST_PX, max(1, round(height * WIDEST_PX / width)))
        bgr = np.asarray(cv2.resize(bgr, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    done, encoded = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not done:
        raise RuntimeError("OpenCV could not encode a picture")
    return encoded.tobytes()


def _drawn_marks(found: InspectedCamera) -> list[dict[str, Any]]:
    """Where to draw which mark, in pixels of the picture as delivered.

    A mark that was not found is drawn where the plan fit expects it; without a fit it is not drawn.
    """
    drawn = []
    for mark in found.marks:
        if mark.status in ("hidden", "outside"):
            continue
        pixel = mark.pixel_px
        if pixel is None:
            pixel = _expected_px(found, mark.planned_m)
        if pixel is not None:
            u, v = (round(float(value), 1) for value in pixel)
            drawn.append({"id": mark.id, "status": mark.status, "u": u, "v": v})
    return drawn


def _expected_px(found: InspectedCamera, planned_m: Array) -> Array | None:
    """Where the plan fit expects a mark, in the picture as delivered; None outside of it."""
    fit = found.plan_fit
    if fit is None:
        return None
    pixel = fit.lens.project(fit.pose.transform(planned_m))
    if not fit.lens.contains(pixel):
        return None
    return found.picture.as_delivered(pixel)


def _aim_rows(entry: dict[str, Any]) -> list[dict[str, Any]]:
    """Pan, tilt and roll: found, intended, difference and sigma in degrees."""
    joint, intended = entry["joint"], entry["intended_aim_deg"]
    rows = []
    for name in ANGLES:
        found = joint["aim_deg"][name] if joint else None
        off = None
        if found is not None:
            # A turn from 179 to -179 degrees is one of 2, not of 358.
            off = round((found - intended[name] + 180) % 360 - 180, 4)
        sigma = joint["aim_sigma_deg"][name] if joint else None
        rows.append(
            {"name": name, "found": found, "intended": intended[name], "off": off, "sigma": sigma}
        )
    return rows
