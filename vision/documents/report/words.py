"""How the page writes things: figures, verdicts, and how sure is sure."""

from __future__ import annotations

from typing import Any

import numpy as np
from jinja2 import Environment

from vision.adjustment.groups import FaultKind
from vision.camera.geometry import ANGLES, wrap_degrees
from vision.documents.cautions import CAUTION, DOUBT
from vision.documents.check_words.reliability import amount_text
from vision.documents.check_words.words import say_check
from vision.documents.report.lengths import LengthFigures, figure
from vision.documents.result import aim_judged
from vision.documents.templates import page_templates
from vision.documents.terms import Terms, term_id
from vision.inspection.inspected import Inspection
from vision.units.length_words import METRIC, LengthWords

GOOD = ("keep", "within", "agrees", "sound")
OPEN = ("not-judged", "cannot-tell", "one-of-several")
FIGURES = {
    "plan_fit": "fit to its picture",
    "joint": "fit with the other cameras",
    "shift_m": "shift",
    "shift_sigma_m": "its ±",
    "turn_deg": "turn",
    "turn_sigma_deg": "its ±",
    "gap_m": "gap",
    "gap_sigma_m": "its ±",
    "gap_at_m": "its place",
    "worst_gap_m": "worst gap",
    "worst_gap_sigma_m": "its ±",
    "rms_gap_m": "typical gap",
    "uncovered_m": "uncovered length",
    "overlap_m": "overlap",
    "texture_shift_m": "shift of the ground's texture",
    "texture_sigma_m": "its ±",
    "texture_at_m": "its place",
    "texture_marks_gap_m": "the marks' gap there",
}
SURE = (
    (0.1, "very sure: the doubt is under a tenth of what is allowed"),
    (0.25, "sure: the doubt is under a quarter of what is allowed"),
    (0.5, "sure enough: the doubt is under half of what is allowed"),
    (1.0, "barely: the doubt is nearly what is allowed"),
)
UNSURE = "not sure enough: the doubt is more than what is allowed"


def environment(lengths: LengthWords = METRIC) -> Environment:
    """The templates with everything they write figures and words with, lengths as `lengths`."""
    made = page_templates("vision.documents.report")
    terms = Terms()

    def unlinked(text: str) -> str:
        return lengths.page(text).replace("+-", "±")

    def word(verdict: str) -> str:
        return verdict.replace("-", " ") if verdict in OPEN else verdict

    def term_id_of(text: str) -> str:
        terms.shown.add(text)
        return term_id(text)

    made.filters.update(
        figure=figure,
        **LengthFigures(lengths).filters(),
        word=word,
        sign=lambda verdict: "✓" if verdict in GOOD else "?" if verdict in OPEN else "!",
        kind=lambda verdict: "good" if verdict in GOOD else "open" if verdict in OPEN else "bad",
        grouped=grouped,
        standing=lambda said: "not confirmed" if said == "cannot-tell" else word(said),
        term_id=term_id_of,
        opened=lambda text: text[:1].upper() + text[1:],
        unlinked=unlinked,
        typeset=lambda text: terms.linked(unlinked(text)),
    )
    made.globals.update(
        caution=CAUTION,
        doubt=DOUBT,
        lengths=lengths,
        units=LengthFigures(lengths).units(),
        term=terms.term,
        fresh=terms.fresh,
        told_terms=terms.told,
    )
    return made


def grouped(missing: dict[str, str]) -> list[tuple[str, str]]:
    """Turn why-no-figure by figure into (figures, why), so that one cause is told once."""
    by_why: dict[str, list[str]] = {}
    for name, why in missing.items():
        by_why.setdefault(why, []).append(FIGURES.get(name, name.replace("_", " ")))
    return [(", ".join(dict.fromkeys(names)), why) for why, names in by_why.items()]


def aim_rows(entry: dict[str, Any]) -> list[dict[str, Any]]:
    """Pan, tilt and roll: found, intended, difference and sigma in degrees."""
    intended = entry["intended_aim_deg"]
    aim, sigmas = aim_judged(entry["joint"])
    rows = []
    for name in ANGLES:
        found = aim.get(name)
        off = None
        if found is not None:
            # A turn from 179 to -179 degrees is one of 2, not of 358.
            off = round(float(wrap_degrees(found - intended[name])), 4)
        sigma = sigmas.get(name)
        rows.append(
            {"name": name, "found": found, "intended": intended[name], "off": off, "sigma": sigma}
        )
    return rows


def stated_rows(inspection: Inspection) -> list[dict[str, Any]]:
    """How each stated thing stands: by how much it may be off, and from where on it would show.

    None where that is any amount.
    """

    def joined(amounts: list[tuple[FaultKind, float]]) -> str | None:
        if not all(np.isfinite(amount) for _, amount in amounts):
            return None
        write = inspection.job.lengths
        return write.page(", ".join(amount_text(kind, size, write) for kind, size in amounts))

    say = say_check(inspection.job.lengths)
    return [
        {
            "what": say(each.what),
            "word": each.word,
            "possible": joined([(size.kind, size.possible) for size in each.sizes]),
            "sure": joined([(size.kind, size.sure) for size in each.sizes]),
        }
        for each in inspection.stated
    ]


def sure_rows(result: dict[str, Any]) -> list[dict[str, Any]]:
    """What is known how well: a sigma, the tolerance it is for, and that in words.

    Doubt is two sigma, as in every verdict; the sigma of a seam is that of its gap, as elsewhere.
    """
    allowed = result["tolerances"]
    rows = []
    for camera in result["cameras"]:
        _, sigmas = aim_judged(camera["joint"])
        limits = {name: allowed["roll_deg" if name == "roll" else "aim_deg"] for name in ANGLES}
        known = [name for name in ANGLES if sigmas.get(name) is not None]
        # The angle that is known worst, against what is allowed for it.
        worst = max(known, key=lambda name: sigmas[name] * _share(limits[name]), default="")
        what = f"{camera['name']} camera: {worst or 'aim'}"
        rows.append(_sure(what, sigmas.get(worst), limits[worst or "pan"], "deg"))
    for strip in result["strips"]:
        sigma = max(strip["shift_sigma_m"]) if strip["shift_sigma_m"] else None
        rows.append(_sure(f"{strip['name']} strip: place", sigma, allowed["strip_m"], "m"))
    for seam in result["seams"]:
        sigma = seam["gap_sigma_m"]
        name = f"{' – '.join(seam['between'])}: gap"  # noqa: RUF001
        rows.append(_sure(name, sigma, allowed["seam_gap_m"], "m"))
    return rows


def _share(limit: float) -> float:
    return 1 / limit if limit > 0 else 0.0


def _sure(what: str, sigma: float | None, limit: float, unit: str) -> dict[str, Any]:
    if sigma is None:
        words = "not known"
    else:
        doubt = 2 * sigma * _share(limit)
        words = next((text for most, text in SURE if doubt <= most), UNSURE)
    return {"what": what, "sigma": sigma, "limit": limit, "unit": unit, "words": words}
