"""Lengths as a sheet prints them, in one system or both: each rounded once, to mm or a fraction."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from vision.planning.setting_out.running_marks import Offset, exact
from vision.units.lengths import UNITS, decimal_text, feet_inches

System = Literal["m", "ft", "both"]
SYSTEMS: tuple[System, ...] = ("m", "ft", "both")


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Prints lengths in one `system` or in both, metres first; inches to 1/`fraction`."""

    fraction: int = 16
    system: System = "both"

    @property
    def metric(self) -> bool:
        """Whether metres are printed."""
        return self.system != "ft"

    @property
    def imperial(self) -> bool:
        """Whether feet and inches are printed."""
        return self.system != "m"

    @property
    def rounding(self) -> str:
        """What any printed figure may be off by."""
        inches_mm = float(UNITS["in"]) * 500 / self.fraction
        metres = "metres are to the millimetre, off by at most 0.5 mm"
        feet = f"feet and inches are to 1/{self.fraction} in, off by at most {inches_mm:.1f} mm"
        said = "; ".join([metres] * self.metric + [feet] * self.imperial)
        return f"{said[0].upper()}{said[1:]}."

    def _said(self, metric: str, imperial: str) -> str:
        if self.system == "both":
            return f"{metric} ({imperial})"
        return metric if self.metric else imperial

    def first(self, length_m: Fraction) -> str:
        """The figure that stands first: metres, where they are printed."""
        return self.metres(length_m) if self.metric else self.feet(length_m)

    def second(self, length_m: Fraction) -> str:
        """The figure in the other system, where both are printed."""
        return f"({self.feet(length_m)})" if self.system == "both" else ""

    def metres(self, length_m: Fraction) -> str:
        """Metres with three decimals."""
        mm = round(abs(length_m) * 1000)
        sign = "-" if length_m < 0 and mm else ""
        return f"{sign}{mm // 1000}.{mm % 1000:03d} m"

    def feet(self, length_m: Fraction) -> str:
        """Feet, inches and a fraction."""
        return feet_inches(length_m, self.fraction).text

    def feet_off_mm(self, length_m: Fraction) -> str:
        """By how much `feet` is too long (+) or too short, in mm."""
        return _signed(feet_inches(length_m, self.fraction).error_m)

    def said(self, length_m: Fraction) -> str:
        """A length in the systems that are printed."""
        return self._said(self.metres(length_m), self.feet(length_m))

    def allowed(self, length_m: float) -> str:
        """A tolerance, rounded down: what is printed is never more than allowed."""
        mm = math.floor(length_m * 1000 + 1e-6)
        step = UNITS["in"] / self.fraction
        inches = math.floor(Fraction(length_m) / step + Fraction(1, 10**6)) * step
        return self._said(f"{mm} mm", feet_inches(inches, self.fraction).text)

    def at_least(self, length_m: float) -> str:
        """Ground that is needed, rounded up to 10 cm and to a foot."""
        tenths = math.ceil(length_m * 10 - 1e-6)
        feet = math.ceil(exact(length_m) / UNITS["ft"] - Fraction(1, 10**6))
        return self._said(f"{tenths / 10:.1f} m", f"{feet} ft")

    def to_cut(self, length_m: Fraction) -> str:
        """A piece of tape, rounded up to a centimetre and to an inch."""
        cm = math.ceil(length_m * 100)
        inches = math.ceil(length_m / UNITS["in"])
        metric = f"{decimal_text(Fraction(cm, 100), 2)} m"
        return self._said(metric, feet_inches(inches * UNITS["in"]).text)

    def small(self, length_m: Fraction) -> str:
        """A size, in centimetres to the millimetre's tenth, and inches."""
        return self._said(f"{decimal_text(length_m * 100, 2)} cm", self.feet(length_m))

    def where(self, offset: Offset) -> str:
        """A place in words: so far ahead of the mid line, so far left of the centre line."""
        ahead = _way(offset.ahead_m, "ahead of", "behind", "the mid line", self)
        left = _way(offset.left_m, "left of", "right of", "the centre line", self)
        return f"{ahead}; {left}"


def _way(length_m: Fraction, plus: str, minus: str, line: str, figures: Figures) -> str:
    if length_m == 0:
        return f"on {line}"
    return f"{figures.said(abs(length_m))} {plus if length_m > 0 else minus} {line}"


def _signed(error_m: Fraction) -> str:
    tenths = round(error_m * 10000)
    return "0" if tenths == 0 else f"{tenths / 10:+.1f}"
