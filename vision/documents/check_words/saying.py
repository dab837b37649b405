"""How a reason becomes a sentence: its code names a template, its figures go into it.

The templates are Jinja's, in files of TOML: a sentence without its full stop for each code; under
`[parts]` what several have in common, which they include; under `[steps.CODE]` the parts of what is
said of a step, which a page shows one below the other; under `[acts]` what to do about a thing
that is not judged for a reason of that code, as `act-CODE`; under `[judged]` the four parts of what
is said of a judged figure. A template knows the reason's arguments by name, and besides

- `write` and `rough`: the words for lengths, and the same for what is known to a centimetre
- `say`: the sentence of a reason within the reason, and the filter `said` those of several
- the filter `acts`: what to do about several reasons, each once
- `degrees`: an angle for a sentence; `in_degrees`: the number; `way`: which way an angle is off
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from typing import Any

import numpy as np
from jinja2 import Environment, FunctionLoader, StrictUndefined, pass_context
from jinja2.runtime import Context

from vision.camera.geometry import ANGLES
from vision.inspection.verdict.layings import OPPOSITE_WAYS
from vision.inspection.verdict.rule import COVERAGE
from vision.units.length_words import LengthWords
from vision.units.lengths import UNITS
from vision.units.reason import Reason

WAYS = {
    "pan": ("to its right", "to its left"),
    "tilt": ("up", "down"),
    "roll": ("anticlockwise as seen from behind it", "clockwise as seen from behind it"),
}
"""Words for a negative and a positive change of each angle."""
MOVE = {
    "forward": "forward",
    "back": "back",
    "to-the-left": "to the vehicle's left",
    "to-the-right": "to the vehicle's right",
    "out": "away from the vehicle",
    "in": "towards the vehicle",
}
"""Where to move what was laid: `in` alone would be read as inches."""
OUTWARD_RAD = float(np.radians(10))
"""Nobody tells such an angle by eye from one halfway."""
RULE_M, RULE_IMPERIAL_M = 0.1, 4 * float(UNITS["in"])
"""A rule that everybody has, held along a housing."""
OPEN = "-not-judged"
"""How the codes of figures end that are too uncertain to judge."""
SITS = {
    "ahead": "farther ahead",
    "back": "farther back",
    "left": "farther left",
    "right": "farther right",
    "higher": "higher",
    "lower": "lower",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Say:
    """Makes the sentence of a reason, its lengths written as `lengths`.

    KeyError for a code without words.
    """

    lengths: LengthWords
    templates: Environment

    def __call__(self, reason: Reason) -> str:
        """The sentence, without its full stop."""
        return self._rendered(reason.code, reason)

    def together(self, reasons: Sequence[Reason]) -> str:
        """The sentences of all that is open of one thing, what would narrow several said once."""
        said = [self._rendered(each.code, each, acts_apart=True) for each in reasons]
        narrow = [
            self.part(Reason(each.code.removesuffix(OPEN), **each.arguments), "narrow")
            for each in reasons
            if each.code.endswith(OPEN) and "straight_down" not in each.arguments
        ]
        return "; ".join((*said, *dict.fromkeys(filter(None, narrow))))

    def act(self, reason: Reason) -> str:
        """What to do about what is not judged for this reason."""
        return self._rendered(f"act-{reason.code}", reason)

    def part(self, reason: Reason, part: str, **more: object) -> str:
        """One part of what is said of a step, empty where there is none; `more` that it knows."""
        try:
            return self._rendered(f"{reason.code}.{part}", reason, **more)
        except KeyError:
            return ""

    def _rendered(self, template: str, reason: Reason, **more: object) -> str:
        words = {"say": self, "write": self.lengths, "rough": self.lengths.roughly}
        return self.templates.get_template(template).render(reason.arguments, **words, **more)


def words_of(file: str) -> dict[str, Any]:
    """The words of one file beside this package's `documents`: templates, `parts` and `judged`."""
    return tomllib.loads(files("vision.documents").joinpath(file).read_text("utf-8"))


def templates_of(*every: Mapping[str, Any], **more: object) -> Environment:
    """The templates of several files, which may include one another's; `more` that they know."""
    texts: dict[str, str] = {}
    for words in every:
        for of, parts in words.get("judged", {}).items():
            texts |= {f"{of}.{part}": text for part, text in parts.items()}
            for word in ("beyond", "not-judged"):
                texts[f"{of}-{word}"] = f"{{% set of = '{of}' %}}{{% include '{word}' %}}"
        for code, parts in words.get("steps", {}).items():
            texts |= {f"{code}.{part}": text for part, text in parts.items()}
        texts |= codes_of(words) | words.get("parts", {})
        texts |= {f"act-{code}": text for code, text in words.get("acts", {}).items()}
    made = Environment(
        loader=FunctionLoader(texts.__getitem__), undefined=StrictUndefined, auto_reload=False
    )
    made.globals.update(
        ANGLES=ANGLES, MOVE=MOVE, OPPOSITE_WAYS=OPPOSITE_WAYS, SITS=SITS, coverage=COVERAGE,
        degrees=degrees, in_degrees=np.degrees, isfinite=np.isfinite, misread=misread, day=day,
        outward=outward, rule=rule, rule_end=rule_end, way=way, zip=zip, **more,
    )  # fmt: skip
    made.filters |= {"said": _said, "acts": _acts}
    return made


@pass_context
def _said(context: Context, reasons: Iterable[Reason]) -> list[str]:
    return [context["say"](reason) for reason in reasons]


@pass_context
def _acts(context: Context, reasons: Iterable[Reason]) -> list[str]:
    return list(dict.fromkeys(context["say"].act(reason) for reason in reasons))


def codes_of(words: Mapping[str, Any]) -> dict[str, str]:
    """The templates of the codes in a file of words, but for those of judged figures."""
    return {code: text for code, text in words.items() if isinstance(text, str)}


def degrees(angle_rad: float, sigma_rad: float | None = None) -> str:
    """An angle for a sentence: `5.2 degrees (+-0.4)`, the bracket being one sigma."""
    said = f"{np.degrees(angle_rad):.1f} degrees"
    return said if sigma_rad is None else f"{said} (+-{np.degrees(sigma_rad):.1f})"


def several(kind: str, count: int = 2) -> str:
    """So many marks of a kind, in words: `crosses`."""
    return kind if count == 1 else kind + ("es" if kind.endswith("s") else "s")


def day(of: date) -> str:
    """A day for a sentence: `3 March 2026`."""
    return f"{of.day} {of:%B %Y}"


def outward(corner: tuple[str, str, float, float]) -> bool:
    """Whether a place lies about straight out from a corner of the body, halfway between its sides.

    `corner` is the corner's end and side, and how far ahead and left of it the place is.
    """
    end, side, ahead, left = corner
    out = np.array([ahead if end == "front" else -ahead, left if side == "left" else -left])
    return bool(out.min() > 0 and abs(np.arctan2(out[0], out[1]) - np.pi / 4) < OUTWARD_RAD)


def rule(lengths: LengthWords) -> str:
    """The rule to hold along a housing."""
    return "4 in" if lengths.imperial else "10 cm"


def rule_end(turn_rad: float, lengths: LengthWords) -> float:
    """How far, in m, the far end of that rule moves when its housing turns so: the chord."""
    rule_m = RULE_IMPERIAL_M if lengths.imperial else RULE_M
    return float(2 * rule_m * np.sin(abs(turn_rad) / 2))


def way(angle: str, change: float) -> str:
    """Which way an angle changes: `up`."""
    return WAYS[angle][int(change > 0)]


def misread(blunder_m: float, lengths: LengthWords) -> str:
    """`an inch too long`, `10 cm too short`: of a length read wrong by a usual blunder."""
    size_m = abs(blunder_m)
    words = {float(UNITS["in"]): "an inch", float(UNITS["ft"]): "a foot"}
    plain = lengths.m(size_m, spec=".0f") if size_m >= 1 else lengths.cm(size_m, spec=".0f")
    return f"{words.get(size_m, plain)} too {'long' if blunder_m > 0 else 'short'}"
