"""Lengths as advice says them and tables show them, for the tape that somebody holds.

A job in metres reads centimetres and metres. A job in feet or inches reads what its tape shows,
with the metric figure beside it: `2 1/8 in +-1/4 in (5.4 cm +-0.6)`. Each figure is rounded once,
from the length itself and never from another figure; what that may come to is said once (`note`).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from vision.units.lengths import UNITS, decimal_text, feet_inches

Metric = Literal["m", "cm", "mm"]
SCALE: dict[Metric, float] = {"m": 1.0, "cm": 100.0, "mm": 1000.0}
SPEC: dict[Metric, str] = {"m": ".2f", "cm": ".1f", "mm": ".0f"}
"""How metric figures are written where nothing else is asked for."""

ROUGH_FRACTION = 2
"""Half an inch is the nearest that a tape has to a centimetre."""
NO_FIGURE, NONE_AT_ALL = "-", "none"

_WITHIN = re.compile(r"(?<=[0-9]) (?=[0-9]+/[0-9]|(?:in|ft)\b)|(?<=[0-9] ft) (?=[0-9])")
"""The blanks within feet, inches and a fraction."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LengthWords:
    """Writes lengths: metric, or `imperial` with inches no finer than 1/`fraction`.

    Lengths and sigmas are in metres; `spec` is how the metric figure is formatted. A doubt (a
    sigma, or two) is rounded up in inches, so that it is never said to be none.
    """

    imperial: bool = False
    fraction: int = 16

    @property
    def roughly(self) -> LengthWords:
        """The same for what is known, or needed, to a centimetre: to half an inch."""
        return replace(self, fraction=min(self.fraction, ROUGH_FRACTION))

    def note(self, rough: str = "") -> str | None:
        """What figures in inches may be off by; None in a metric job.

        `rough` names what is written with `roughly`, and is then given its own figure.
        """
        if not self.imperial:
            return None
        text = f"inches are rounded {_to(self.fraction)}"
        if rough and self.roughly != self:
            text += f"; {rough} {_to(self.roughly.fraction)}"
        return f"{text}; a doubt (+-) is rounded up"

    # --------------------------------------------------------------------------- in sentences

    def cm(
        self,
        length_m: float,
        sigma_m: float | None = None,
        spec: str = ".1f",
        *,
        nested: bool = False,
    ) -> str:
        """`5.4 cm (+-0.6)`, the bracket being one sigma; `nested` where brackets stand round it."""
        return self._said(length_m, sigma_m, "cm", spec, nested)

    def m(
        self,
        length_m: float,
        sigma_m: float | None = None,
        spec: str = ".2f",
        *,
        nested: bool = False,
    ) -> str:
        """`2.32 m (+-0.03)`, likewise."""
        return self._said(length_m, sigma_m, "m", spec, nested)

    def mm(self, length_m: float) -> str:
        """`9.8 mm`: of what is read from a rule."""
        return self._said(length_m, None, "mm", ".1f", False)

    def doubt(self, sigma_m: float, spec: str = ".1f") -> str:
        """A sigma by itself, in centimetres: `0.3 cm`."""
        metric = _metric(sigma_m, "cm", spec)
        return _joined(self._up(sigma_m), metric, nested=False) if self.imperial else metric

    def span(self, length_m: float, doubt_m: float, *, nested: bool = False) -> str:
        """A length with its doubt, in centimetres: `4.3 +- 1.2 cm`."""
        metric = f"{100 * length_m:.1f} +- {100 * doubt_m:.1f} cm"
        if not self.imperial:
            return metric
        return _joined(f"{self._tape(length_m)} +- {self._up(doubt_m)}", metric, nested=nested)

    def several(
        self,
        lengths_m: Iterable[float],
        unit: Metric,
        spec: str | None = None,
        *,
        labels: Sequence[str] = (),
        between: str = ", ",
    ) -> str:
        """Lengths that share their unit, such as a place: `x 4.20, y 1.15 m`."""
        every = list(lengths_m)
        names = [f"{label} " for label in labels] or [""] * len(every)

        def row(figures: Iterable[str]) -> str:
            return between.join(n + each for n, each in zip(names, figures, strict=True))

        figures = [f"{SCALE[unit] * each:{spec or SPEC[unit]}}" for each in every]
        if not self.imperial:
            return f"{row(figures)} {unit}"
        # The names once only: the metric figures stand in the same order.
        metric = f"{between.join(figures)} {unit}"
        return _joined(row(map(self._tape, every)), metric, nested=False)

    def area(self, area_m2: float, square: str = "m2") -> str:
        """An area: `12.3 m2`, or square feet before it."""
        metric = f"{area_m2:.1f} {square}"
        feet = area_m2 / float(UNITS["ft"]) ** 2
        return _joined(f"{feet:.0f} sq ft", metric, nested=False) if self.imperial else metric

    def page(self, text: str) -> str:
        """A text in these words for a page, where lines are not to end within a length."""
        return unbroken(text) if self.imperial else text

    # ------------------------------------------------------------------------------ in tables

    def head(self, what: str, unit: Metric) -> str:
        """The head of a column: `gap cm`, or `gap inch`, since `moved in` would be a way to move.

        It names no unit where the cells carry theirs, feet and all.
        """
        if not self.imperial:
            return f"{what} {unit}"
        return what if unit == "m" else f"{what} inch"

    def cell(
        self,
        length_m: float | None,
        unit: Metric,
        sigma_m: float | None = None,
        spec: str | None = None,
        *,
        signed: bool = False,
    ) -> str:
        """A cell under `head`: `+5.4`, or `5.4 +-0.6`; a dash where there is no figure."""
        if length_m is None or math.isnan(length_m):
            return NO_FIGURE
        if math.isinf(length_m):
            return NONE_AT_ALL
        if self.imperial:
            text = self._signed(length_m, unit) if signed else self._plain(length_m, unit)
        else:
            text = f"{SCALE[unit] * length_m:{'+' if signed else ''}{spec or SPEC[unit]}}"
        return text if sigma_m is None else f"{text} +-{self.doubt_cell(sigma_m, unit, spec)}"

    def doubt_cell(self, sigma_m: float | None, unit: Metric, spec: str | None = None) -> str:
        """A sigma under `head`."""
        if self.imperial and sigma_m is not None and math.isfinite(sigma_m):
            return self._plain(_rounded_up(sigma_m, self.fraction), unit)
        return self.cell(sigma_m, unit, spec=spec)

    # ---------------------------------------------------------------------------------------

    def _said(
        self, length_m: float, sigma_m: float | None, unit: Metric, spec: str, nested: bool
    ) -> str:
        metric = _metric(length_m, unit, spec)
        if not self.imperial:
            sigma = "" if sigma_m is None else f" (+-{SCALE[unit] * sigma_m:{spec}})"
            return metric + sigma
        tape = self._tape(length_m)
        if sigma_m is not None:
            tape += f" +-{self._up(sigma_m)}"
            metric += f" +-{SCALE[unit] * sigma_m:{spec}}"
        return _joined(tape, metric, nested=nested)

    def _tape(self, length_m: float) -> str:
        """What the tape shows, in feet and inches."""
        if not math.isfinite(length_m):
            return f"{length_m} in"
        return feet_inches(float(length_m), self.fraction).text

    def _up(self, sigma_m: float) -> str:
        return self._tape(_rounded_up(sigma_m, self.fraction))

    def _plain(self, length_m: float | Fraction, unit: Metric) -> str:
        """A cell: feet and inches for what is long, else inches alone, without their unit."""
        if unit == "m":
            return feet_inches(length_m, self.fraction).text
        steps = round(Fraction(length_m) / UNITS["in"] * self.fraction)
        whole, rest = divmod(Fraction(abs(steps), self.fraction), 1)
        words = [str(each) for each in (whole, rest) if each] or ["0"]
        return ("-" if steps < 0 else "") + " ".join(words)

    def _signed(self, length_m: float, unit: Metric) -> str:
        text = self._plain(length_m, unit)
        return text if text.startswith("-") or text in ("0", "0 in") else f"+{text}"


def unbroken(text: str) -> str:
    """A text for a page, whose lines do not end within a length: `1` and `5/8 in` would mislead."""
    return _WITHIN.sub("\u00a0", text)


METRIC = LengthWords()
"""What a job is read in where nobody says otherwise."""


def _metric(length_m: float, unit: Metric, spec: str) -> str:
    return f"{SCALE[unit] * length_m:{spec}} {unit}"


def _joined(tape: str, metric: str, *, nested: bool) -> str:
    return f"{tape}, {metric}" if nested else f"{tape} ({metric})"


def _rounded_up(sigma_m: float, fraction: int) -> float:
    """`sigma_m` in whole steps of the fraction, up; a millionth of a step too much is nothing."""
    if not math.isfinite(sigma_m):
        return sigma_m
    step = float(UNITS["in"]) / fraction
    return math.ceil(sigma_m / step - 1e-6) * step


def _to(fraction: int) -> str:
    """`to 1/16, at most 0.8 mm off`, that figure rounded up."""
    tenths = math.ceil(UNITS["in"] * 10000 / (2 * fraction))
    to = f"to 1/{fraction}" if fraction > 1 else "to whole ones"
    return f"{to}, at most {decimal_text(Fraction(tenths, 10), 1)} mm off"
