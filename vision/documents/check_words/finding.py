"""What finding and measuring say to a person: words for the codes of marks, pictures and texture.

Each code of `vision.identification`, `vision.marks.box_corner` and `vision.views.texture` has its
words here, made of the reason's figures: a table per family of codes.
"""

from __future__ import annotations

import numpy as np

from vision.documents.check_words.saying import Arguments, Say, Words, plain


def _of_picture(words: Words) -> Words:
    """Words with what of the picture stands in the way besides."""

    def said(a: Arguments, say: Say) -> str:
        text = words(a, say)
        if "burnt_share" in a:
            text += (
                f"; {100 * a['burnt_share']:.0f} % of the picture is burnt out to white: take it in"
                " softer light, or set the camera darker"
            )
        if "upright_px" in a:
            width, height = a["upright_px"]
            text += (
                f"; the picture stands on its side, {width} x {height} px: save it as the camera"
                " delivers it"
            )
        return text

    return said


def _both(a: Arguments, say: Say) -> str:
    return f"{say(a['seen'])}; {say(a['refusal'])}"


def _astray(a: Arguments, say: Say) -> str:
    why = f"what is seen there lies {say.lengths.cm(a['off_m'])} from where the other marks put it"
    if not a["body_may_hide"]:
        return why
    return f"the body may hide it, and {why}: a mirror image in the body, or half a mark"


def _too_few(a: Arguments, say: Say) -> str:
    if "why" in a:
        return say(a["why"])
    if "usable" in a:
        return f"{a['usable']} marks can be used; a fit needs {a['needed']}"
    return (
        f"the layout has {a['marks']} marks this camera could see; at least {a['needed']} are"
        " needed"
    )


def _no_marks(a: Arguments, _: Say) -> str:
    if a.get("apart"):
        return (
            "marks were found, but those that should lie between them are missing or the marks do"
            " not fit each other: which is which cannot be told"
        )
    if "places" not in a:
        return "no marks were found that fit the layout"
    return (
        f"{a['places']} places look like marks, too few of those that should be seen to say which"
        " is which"
    )


def _implausible(a: Arguments, say: Say) -> str:
    return (
        f"the marks fit only with the camera {say.lengths.cm(a['place_m'], spec='.0f')} from where"
        f" the job says it is mounted and turned by {np.degrees(a['turn_rad']):.0f} degrees: is"
        " this another camera's picture?"
    )


def _swapped(a: Arguments, _: Say) -> str:
    return (
        f"the pictures of {a['camera']} and {a['other']} look swapped; if they are, write"
        f' picture = "{a["other_file"]}" under [camera.{a["camera"]}] and'
        f' picture = "{a["file"]}" under [camera.{a["other"]}]'
    )


def _mirrored(a: Arguments, _: Say) -> str:
    stated = "not mirrored, though the job says so" if a["stated_mirrored"] else "mirrored"
    flipped = "false" if a["stated_mirrored"] else "true"
    return (
        f"the picture looks {stated}; if it is, write mirrored = {flipped} under"
        f" [camera.{a['camera']}]"
    )


def _behind_and_small(a: Arguments, _: Say) -> str:
    way = "in the way" if a["wholly"] else "in the way of part of it"
    return f"the body is {way}, and what is seen there is too small to tell"


MARKS: dict[str, Words] = {
    # What became of a mark
    "outside-picture": plain("outside the picture"),
    "behind-body": plain("the body is in the way"),
    "partly-behind-body": lambda a, say: (
        f"the body is in the way of it, or of part of it: {say(a['refusal'])}"
    ),
    "cut-off": plain("cut off by the picture's edge"),
    "dark-there": plain("it is dark there: the rim of the lens, or deep shadow"),
    "too-small": lambda a, _: f"too small in the picture: {a['size_px']:.1f} px across",
    "small-and-refused": lambda a, say: f"only {a['size_px']:.1f} px across; {say(a['refusal'])}",
    "refused": _both,
    "nothing-there": plain("nothing like it where it should be"),
    "burnt-out": plain("too much light there: tape and ground are both burnt out to white"),
    "no-tape": plain(
        "no tape can be seen there: covered, torn off, laid elsewhere, or something stands before"
        " it"
    ),
    "half-covered": lambda a, _: (
        f"its half {a['half']}, looking along the strip, is covered, torn or rubbed off"
    ),
    "no-ink": plain("its ink cannot be told from its tape: rubbed off, covered, or laid elsewhere"),
    "in-shadow": plain("it lies in shadow"),
    "not-looked-for": plain("not looked for before the camera is known"),
    "camera-not-identified": lambda a, say: say(a["why"]),
    "misfit": plain("it does not fit the other marks of this picture"),
    "misfit-all": plain("it does not fit the other marks and cameras"),
    # Why what was measured is no mark's centre
    "faint-ink": lambda a, _: (
        f"its ink stands out from its tape by {a['contrast']:.1f} times the noise only"
    ),
    "unlike-mark": lambda a, _: (
        "what is there does not look like the mark: the drawing explains"
        f" {100 * a['explained']:.0f} % of it"
    ),
    "centre-untold": lambda a, _: (
        f"its centre cannot be told: {a['sigma_px']:.1f} px where it is {a['size_px']:.0f} px"
        " across"
    ),
    "turned": lambda a, _: (
        f"what is there is turned by {np.degrees(a['turn_rad']):.0f} degrees against the mark"
    ),
    "ran-away": plain("the fit of the drawing ran away from where the mark was found"),
    "noisier": lambda a, _: (
        f"the drawing fits it {a['times']:.1f} times worse than the other marks: something covers"
        " part of it"
    ),
    "softer": lambda a, _: (
        f"it is {a['times']:.1f} times as blurred as the other marks: something covers part of it,"
        " or a drop lies before it"
    ),
    "next-square": lambda a, _: (
        f"may be counted from the next square: {a['off_px']:.1f} px from where the others put it,"
        f" with squares of {a['square_px']:.1f}"
    ),
    "behind-body-and-small": _behind_and_small,
    "astray": _astray,
    "mirror-image": lambda a, _: f"the body is in the way, and may show {a['mark']} mirrored there",
    # A carton's corner
    "edges-hidden": plain("its edges are hidden from this camera, or too short in the picture"),
    "edges-short": plain("its edges are too short in the picture"),
    "no-edges": plain("no three edges meet near where it should be"),
    "edge-unclear": plain("one of its three edges is no clear step"),
    "side-narrow": plain(
        "a side is seen so narrowly that its far edge may be taken for the near one"
    ),
    "edges-miss": plain("its edges do not meet in one point"),
    "edges-far": plain("its edges meet too far from where it should be"),
    "corner-untold": plain("its edges do not fix the point where they meet"),
    "edges-ambiguous": plain("edges meet in more than one place near where it should be"),
}

NAMING: dict[str, Words] = {
    "dark": lambda a, _: f"the picture is dark: 99 % of it is below level {a['level']:.0f} of 255",
    "blank": plain("the picture is blank: it is one even level throughout"),
    "too-few-marks": _too_few,
    "no-marks": _no_marks,
    "ambiguous": plain(
        "two aims explain the picture almost equally well: the marks repeat, and what would tell"
        " them apart is not in the picture"
    ),
    "implausible": _implausible,
    "same-picture": lambda a, _: (
        f"the {a['camera']} camera has the same picture as {' and '.join(a['others'])}"
        f" ({a['file']}): give each camera its own"
    ),
    "swapped": _swapped,
    "other-camera": lambda a, _: (
        f"the picture of {a['camera']} ({a['file']}) looks like the {' or '.join(a['others'])}"
        f" camera's view; if it is, name another picture under [camera.{a['camera']}]"
    ),
    "mirrored": _mirrored,
    "upside-down": lambda a, _: (
        "the picture is upside down; if the camera is mounted so, write"
        f" roll_deg = {np.degrees(a['roll_rad']):g} under [camera.{a['camera']}]"
    ),
}
NAMING = {code: _of_picture(words) for code, words in NAMING.items()}


def _no_ground(a: Arguments, _: Say) -> str:
    return {
        "middle": "the middle of the seam is not seen by both cameras, or too coarsely to compare",
        "beside-tape": "hardly any ground beside the tape lies in both pictures along this seam",
        "shifted": "too little ground is left to compare",
    }[a["lacking"]]


def _poor_texture(a: Arguments, say: Say) -> str:
    said = "the ground shows too little texture"
    if "correlation" in a:
        return f"{said}: the two views correlate by {a['correlation']:.2f} at best"
    if "sigma_m" in a:
        known = say.lengths.doubt(a["sigma_m"], spec=".0f")
        return f"{said}: its shift would be known to {known} only"
    return f"{said} that both views share"


def _no_peak(a: Arguments, say: Say) -> str:
    if "reach_m" in a:
        return f"the ground fits nowhere within {say.lengths.cm(a['reach_m'], spec='.0f')}"
    return "the ground's texture gives no steady shift"


TEXTURES: dict[str, Words] = {
    "no-ground": _no_ground,
    "poor-texture": _poor_texture,
    "ambiguous": plain("the ground's texture repeats: it fits in more than one place"),
    "no-peak": _no_peak,
}
