"""What a plan says, in sentences made of codes and figures."""

from __future__ import annotations

import numpy as np

from vision.documents.check_words.saying import Arguments, Say, Words
from vision.inspection.verdict.rule import COVERAGE, degrees
from vision.planning.assessment import Limit
from vision.units.length_words import METRIC, LengthWords
from vision.views.settings import SETTINGS


def say_plan(lengths: LengthWords = METRIC) -> Say:
    """What makes the sentence of any reason that a plan may carry."""
    return Say(lengths=lengths, table=WORDS)


def several(kind: str) -> str:
    """More than one mark of a kind: `crosses`."""
    return kind + ("es" if kind.endswith("s") else "s")


def sigma_words(limit: Limit, sigma: float, lengths: LengthWords) -> str:
    """A sigma of a limit, to compare with another one."""
    return f"{np.degrees(sigma):.2f} degrees" if limit.angle else lengths.doubt(sigma, spec=".2f")


def limit_words(limit: Limit, say: Say) -> str:
    """A limit's two sigma against its tolerance."""
    unit = "rad" if limit.angle else "m"
    figures = {f"sigma_{unit}": limit.sigma, f"tolerance_{unit}": limit.tolerance}
    double, most = _against(figures, say)
    return f"{say(limit.of)}: {double} of {most} ({limit.ratio:.0%})"


def _against(a: Arguments, say: Say) -> tuple[str, str]:
    """Two sigma and the tolerance, of an angle or of a length."""
    if "sigma_rad" in a:
        return degrees(COVERAGE * a["sigma_rad"]), degrees(a["tolerance_rad"])
    return say.lengths.doubt(COVERAGE * a["sigma_m"]), say.lengths.cm(a["tolerance_m"])


def _sigma_beyond(a: Arguments, say: Say) -> str:
    double, most = _against(a, say)
    if not np.isfinite(a.get("sigma_rad", a.get("sigma_m"))):
        return f"{say(a['of'])}: nothing tells it; {most} allowed"
    return f"{say(a['of'])}: two sigma are {double}, more than the {most} allowed"


def _seam(a: Arguments, _: Say) -> str:
    return f"seam {' - '.join(a['between'])}"


def _rough(value_m: float, sigma_m: float, say: Say) -> str:
    write = say.lengths.roughly
    if np.isfinite(value_m):
        return write.m(value_m, sigma_m)
    return f"nowhere within {write.m(SETTINGS.seams.nearest_reach_m, spec='.0f')}"


def _raised(a: Arguments, say: Say) -> str:
    return f"a raised mark at {say.lengths.roughly.several(a['at_m'], 'm', labels=('x', 'y', 'z'))}"


def _found_late(a: Arguments, say: Say) -> str:
    if not np.isfinite(a["found_m"]):
        return f"{a['strip']} laid wrong would not be found"
    return f"{a['strip']} would have to lie {say.lengths.cm(a['found_m'])} wrong to be found"


def _lot_too_small(a: Arguments, say: Say) -> str:
    along, across = (say.lengths.roughly.m(a[each], spec=".1f") for each in ("along_m", "across_m"))
    return (
        f"the lot is too small: even the closest layout needs {along} along the vehicle"
        f" and {across} across, with room to walk"
    )


LIMITS: dict[str, Words] = {
    "aim": lambda a, _: f"{a['angle']} of {a['camera']}",
    "place": lambda a, _: f"place of {a['name']}",
    "seam": _seam,
}
PROBLEMS: dict[str, Words] = {
    "too-few-marks": lambda a, _: (
        f"camera {a['camera']} sees {a['marks'] or 'too few'} marks; it needs {a['least']}"
    ),
    "not-seen": lambda a, _: f"no camera sees {a['name']} well enough to place it",
    "nearest-ground": lambda a, say: (
        f"camera {a['camera']} first sees ground {_rough(a['nearest_m'], a['sigma_m'], say)} out;"
        f" {say.lengths.m(a['allowed_m'])} allowed: tilt it farther down, or accept more under"
        " [tolerance]"
    ),
    "no-gap": lambda a, say: f"{_seam(a, say)}: a camera of it has no fit",
    "uncovered": lambda a, say: (
        f"{_seam(a, say)}: {say.lengths.roughly.m(a['uncovered_m'])} of it is not covered by both"
        " cameras: turn one of them, or state where your display has its seam in a table"
        " [seam.NAME]"
    ),
    "overlap": lambda a, say: (
        f"{_seam(a, say)}: the views overlap by {_rough(a['overlap_m'], a['sigma_m'], say)};"
        f" {say.lengths.m(a['wanted_m'])} wanted"
    ),
    "sigma-beyond-tolerance": _sigma_beyond,
}
SHORTCOMINGS: dict[str, Words] = {
    "little-margin": lambda a, say: (
        f"{say(a['of'])}: two sigma are {a['share']:.0%} of the tolerance"
    ),
    "few-sure-marks": lambda a, _: (
        f"camera {a['camera']}: marks surely seen: {a['marks']}, on strips: {a['strips']};"
        f" {a['wanted']} on 2 wanted"
    ),
    "few-shared-marks": lambda a, say: (
        f"{_seam(a, say)}: marks surely seen by both cameras: {a['marks']}; {a['wanted']} wanted"
    ),
    "faultless-gap": lambda a, say: (
        f"{_seam(a, say)}: a job without a fault may show {say.lengths.cm(a['gap_m'])}"
    ),
    "found-late": _found_late,
    "tape-too-narrow": lambda a, say: (
        f"the tape is too narrow: the smallest mark needs {say.lengths.cm(a['needed_m'])}"
    ),
    "lot-too-small": _lot_too_small,
}
ADDITIONS: dict[str, Words] = {
    "mark-between": lambda a, say: (
        f"a mark on {a['strip']} {say.lengths.roughly.m(a['at_m'])} from its first"
    ),
    "mark-before": lambda a, say: (
        f"a mark on {a['strip']} {say.lengths.roughly.m(a['step_m'])} before its first"
    ),
    "mark-beyond": lambda a, say: (
        f"a mark on {a['strip']} {say.lengths.roughly.m(a['step_m'])} beyond its last"
    ),
    "strip-beside": lambda a, say: (
        f"a strip like {a['strip']}, {say.lengths.roughly.m(a['out_m'], spec='.1f')} farther out"
    ),
    "raised-before": lambda a, say: f"{_raised(a, say)}, before camera {a['where']}",
    "raised-on-seam": lambda a, say: f"{_raised(a, say)}, on the seam {' - '.join(a['where'])}",
}
WORDS = LIMITS | PROBLEMS | SHORTCOMINGS | ADDITIONS
