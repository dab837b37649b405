"""Why there is no fit, as a sentence: for every code that a `NoFit` carries."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from vision.units.reason import Reason


def no_fit_words(reason: Reason) -> str:
    """The sentence of a `NoFit`'s reason, without its full stop."""
    return NO_FIT_WORDS[reason.code](reason.arguments)


def _degenerate(said: Mapping[str, Any]) -> str:
    which = "lie in one line" if said["in_line"] else "fit more than one ground map"
    return f"the points {which}"


def _not_converged(said: Mapping[str, Any]) -> str:
    if "steps" not in said:
        return "no start led to a fit"
    return f"the fit still moved after {said['steps']} steps"


def _undetermined(said: Mapping[str, Any]) -> str:
    share = said["sigma_share"]
    how_far = "altogether" if share is None else f"by {100 * share:.0f} %"
    return (
        f"the boards leave the focal length open {how_far}: show the board nearer, leaning some"
        " 30 degrees, in three pictures or more"
    )


def _nothing_shared(said: Mapping[str, Any]) -> str:
    left_out = "; ".join(f"{name}: {no_fit_words(why)}" for name, why in said["left_out"])
    return f"no camera took part in both checks: {left_out}"


def _sizes_differ(said: Mapping[str, Any]) -> str:
    before, after = (f"{width} x {height} px" for width, height in said["sizes_px"])
    return f"its pictures differ in size, {before} and {after}"


NO_FIT_WORDS: dict[str, Callable[[Mapping[str, Any]], str]] = {
    "singular": lambda said: "the observations do not determine every unknown",
    "not-finite": lambda said: "the start has residuals that are not finite",
    "not-converged": _not_converged,
    "too-few-marks": lambda said: (
        f"{said['usable']} marks can be used; a fit needs {said['needed']}"
    ),
    "degenerate": _degenerate,
    "behind": lambda said: "no ground map puts every point ahead of the camera",
    "no-camera": lambda said: (
        f"no camera shows {said['needed']} identified marks, so nothing can be adjusted"
    ),
    "no-reading": lambda said: (
        "no length between marks or cameras was read, so nothing can be adjusted"
    ),
    "no-adjustment": lambda said: "the pictures gave no joint adjustment to go by",
    "no-board": lambda said: (
        f"no board of {said['columns']} x {said['rows']} inner corners, all of it in view"
    ),
    "too-few-boards": lambda said: (
        f"no picture shows {said['needed']} or more corners of the board"
    ),
    "undetermined": _undetermined,
    "nothing-shared": _nothing_shared,
    "took-no-part": lambda said: (
        f"it took no part in the {'baseline' if said['check'] == 'baseline' else 'later check'}"
    ),
    "sizes-differ": _sizes_differ,
    "no-baseline": lambda said: (
        f"check {said['check']} cannot be a baseline: {no_fit_words(said['why'])}"
    ),
}
