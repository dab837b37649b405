"""Why there is no fit, as a sentence: for every code that a `NoFit` carries.

But for 'too-few-marks', which a picture may have as well: `finding` has the words of both.
"""

from __future__ import annotations

from vision.documents.check_words.saying import Arguments, Say, Words, plain


def _not_converged(a: Arguments, _: Say) -> str:
    if "steps" not in a:
        return "no start led to a fit"
    return f"the fit still moved after {a['steps']} steps"


def _undetermined(a: Arguments, _: Say) -> str:
    share = a["sigma_share"]
    how_far = "altogether" if share is None else f"by {100 * share:.0f} %"
    return (
        f"the boards leave the focal length open {how_far}: show the board nearer, leaning some"
        " 30 degrees, in three pictures or more"
    )


def _nothing_shared(a: Arguments, say: Say) -> str:
    left_out = "; ".join(f"{name}: {say(why)}" for name, why in a["left_out"])
    return f"no camera took part in both checks: {left_out}"


def _sizes_differ(a: Arguments, _: Say) -> str:
    before, after = (f"{width} x {height} px" for width, height in a["sizes_px"])
    return f"its pictures differ in size, {before} and {after}"


NO_FIT: dict[str, Words] = {
    "singular": plain("the observations do not determine every unknown"),
    "not-finite": plain("the start has residuals that are not finite"),
    "not-converged": _not_converged,
    "no-camera": lambda a, _: (
        f"no camera shows {a['needed']} identified marks, so nothing can be adjusted"
    ),
    "no-reading": plain("no length between marks or cameras was read, so nothing can be adjusted"),
    "no-adjustment": plain("the pictures gave no joint adjustment to go by"),
    "no-board": lambda a, _: (
        f"no board of {a['columns']} x {a['rows']} inner corners, all of it in view"
    ),
    "too-few-boards": lambda a, _: f"no picture shows {a['needed']} or more corners of the board",
    "undetermined": _undetermined,
    "nothing-shared": _nothing_shared,
    "took-no-part": lambda a, _: (
        f"it took no part in the {'baseline' if a['check'] == 'baseline' else 'later check'}"
    ),
    "sizes-differ": _sizes_differ,
    "no-baseline": lambda a, say: f"check {a['check']} cannot be a baseline: {say(a['why'])}",
}
