"""What a plan says, in sentences made of codes and figures: one function for each code."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from vision.inspection.verdict.rule import COVERAGE, degrees
from vision.planning.assessment import Limit
from vision.units.length_words import LengthWords
from vision.units.reason import Reason
from vision.views.seams.coverage import NEAREST_REACH_M

Pair = tuple[str, str]


def plan_words(reason: Reason, lengths: LengthWords) -> str:
    """The words of a reason, lengths as `lengths` writes them; KeyError for a code without any."""
    return WORDS[reason.code](lengths, **reason.arguments)


def sigma_words(limit: Limit, sigma: float, lengths: LengthWords) -> str:
    """A sigma of a limit, to compare with another one."""
    return f"{np.degrees(sigma):.2f} degrees" if limit.angle else lengths.doubt(sigma, spec=".2f")


def limit_words(limit: Limit, lengths: LengthWords) -> str:
    """A limit's two sigma against its tolerance."""
    if limit.angle:
        double, most = degrees(COVERAGE * limit.sigma), degrees(limit.tolerance)
    else:
        double, most = lengths.doubt(COVERAGE * limit.sigma), lengths.cm(limit.tolerance)
    return f"{plan_words(limit.of, lengths)}: {double} of {most} ({limit.ratio:.0%})"


# ------------------------------------------------------------------------------- what is decided


def _aim(lengths: LengthWords, *, angle: str, camera: str) -> str:
    return f"{angle} of {camera}"


def _place(lengths: LengthWords, *, name: str) -> str:
    return f"place of {name}"


def _seam(lengths: LengthWords, *, between: Pair) -> str:
    return f"seam {between[0]} - {between[1]}"


# -------------------------------------------------------------------------------------- problems


def _too_few_marks(lengths: LengthWords, *, camera: str, marks: int, least: int) -> str:
    return f"camera {camera} sees {marks or 'too few'} marks; it needs {least}"


def _not_seen(lengths: LengthWords, *, name: str) -> str:
    return f"no camera sees {name} well enough to place it"


def _nearest_ground(
    lengths: LengthWords, *, camera: str, nearest_m: float, sigma_m: float, allowed_m: float
) -> str:
    return (
        f"camera {camera} first sees ground {_rough(nearest_m, sigma_m, lengths)} out;"
        f" {lengths.m(allowed_m)} allowed: tilt it farther down, or accept more under [tolerance]"
    )


def _no_gap(lengths: LengthWords, *, between: Pair) -> str:
    return f"{_seam(lengths, between=between)}: a camera of it has no fit"


def _uncovered(lengths: LengthWords, *, between: Pair, uncovered_m: float) -> str:
    return (
        f"{_seam(lengths, between=between)}: {lengths.roughly.m(uncovered_m)} of it is not covered"
        " by both cameras: turn one of them, or state where your display has its seam in a table"
        " [seam.NAME]"
    )


def _overlap(
    lengths: LengthWords, *, between: Pair, overlap_m: float, sigma_m: float, wanted_m: float
) -> str:
    return (
        f"{_seam(lengths, between=between)}: the views overlap by"
        f" {_rough(overlap_m, sigma_m, lengths)}; {lengths.m(wanted_m)} wanted"
    )


def _sigma_beyond(
    lengths: LengthWords,
    *,
    of: Reason,
    sigma_m: float | None = None,
    tolerance_m: float = 0.0,
    sigma_rad: float = 0.0,
    tolerance_rad: float = 0.0,
) -> str:
    what = plan_words(of, lengths)
    sigma = sigma_rad if sigma_m is None else sigma_m
    most = degrees(tolerance_rad) if sigma_m is None else lengths.cm(tolerance_m)
    if not np.isfinite(sigma):
        return f"{what}: nothing tells it; {most} allowed"
    double = degrees(COVERAGE * sigma) if sigma_m is None else lengths.doubt(COVERAGE * sigma)
    return f"{what}: two sigma are {double}, more than the {most} allowed"


def _rough(value_m: float, sigma_m: float, lengths: LengthWords) -> str:
    write = lengths.roughly
    if np.isfinite(value_m):
        return write.m(value_m, sigma_m)
    return f"nowhere within {write.m(NEAREST_REACH_M, spec='.0f')}"


# --------------------------------------------------------------------- why nothing is proposed


def _little_margin(lengths: LengthWords, *, of: Reason, share: float) -> str:
    return f"{plan_words(of, lengths)}: two sigma are {share:.0%} of the tolerance"


def _few_sure_marks(
    lengths: LengthWords, *, camera: str, marks: int, strips: int, wanted: int
) -> str:
    return f"camera {camera}: marks surely seen: {marks}, on strips: {strips}; {wanted} on 2 wanted"


def _few_shared_marks(lengths: LengthWords, *, between: Pair, marks: int, wanted: int) -> str:
    seam = _seam(lengths, between=between)
    return f"{seam}: marks surely seen by both cameras: {marks}; {wanted} wanted"


def _faultless_gap(lengths: LengthWords, *, between: Pair, gap_m: float) -> str:
    seam = _seam(lengths, between=between)
    return f"{seam}: a job without a fault may show {lengths.cm(gap_m)}"


def _found_late(lengths: LengthWords, *, strip: str, found_m: float) -> str:
    if not np.isfinite(found_m):
        return f"{strip} laid wrong would not be found"
    return f"{strip} would have to lie {lengths.cm(found_m)} wrong to be found"


def _tape_too_narrow(lengths: LengthWords, *, needed_m: float) -> str:
    return f"the tape is too narrow: the smallest mark needs {lengths.cm(needed_m)}"


def _lot_too_small(lengths: LengthWords, *, along_m: float, across_m: float) -> str:
    along, across = (lengths.roughly.m(each, spec=".1f") for each in (along_m, across_m))
    return (
        f"the lot is too small: even the closest layout needs {along} along the vehicle"
        f" and {across} across, with room to walk"
    )


# ------------------------------------------------------------------------------------- additions


def _mark_between(lengths: LengthWords, *, strip: str, at_m: float) -> str:
    return f"a mark on {strip} {lengths.roughly.m(at_m)} from its first"


def _mark_before(lengths: LengthWords, *, strip: str, step_m: float) -> str:
    return f"a mark on {strip} {lengths.roughly.m(step_m)} before its first"


def _mark_beyond(lengths: LengthWords, *, strip: str, step_m: float) -> str:
    return f"a mark on {strip} {lengths.roughly.m(step_m)} beyond its last"


def _strip_beside(lengths: LengthWords, *, strip: str, out_m: float) -> str:
    return f"a strip like {strip}, {lengths.roughly.m(out_m, spec='.1f')} farther out"


def _raised_before(lengths: LengthWords, *, at_m: tuple[float, ...], where: str) -> str:
    return f"{_raised(lengths, at_m)}, before camera {where}"


def _raised_on_seam(lengths: LengthWords, *, at_m: tuple[float, ...], where: Pair) -> str:
    return f"{_raised(lengths, at_m)}, on the {_seam(lengths, between=where)}"


def _raised(lengths: LengthWords, at_m: tuple[float, ...]) -> str:
    return f"a raised mark at {lengths.roughly.several(at_m, 'm', labels=('x', 'y', 'z'))}"


WORDS: dict[str, Callable[..., str]] = {
    "aim": _aim,
    "place": _place,
    "seam": _seam,
    "too-few-marks": _too_few_marks,
    "not-seen": _not_seen,
    "nearest-ground": _nearest_ground,
    "no-gap": _no_gap,
    "uncovered": _uncovered,
    "overlap": _overlap,
    "sigma-beyond-tolerance": _sigma_beyond,
    "little-margin": _little_margin,
    "few-sure-marks": _few_sure_marks,
    "few-shared-marks": _few_shared_marks,
    "faultless-gap": _faultless_gap,
    "found-late": _found_late,
    "tape-too-narrow": _tape_too_narrow,
    "lot-too-small": _lot_too_small,
    "mark-between": _mark_between,
    "mark-before": _mark_before,
    "mark-beyond": _mark_beyond,
    "strip-beside": _strip_beside,
    "raised-before": _raised_before,
    "raised-on-seam": _raised_on_seam,
}
