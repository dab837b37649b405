"""Figures of the page, and how it shows lengths: metric, or inches with the metric beside them.

Every figure stands in a `data` element whose value is the result's own number, in metres for a
length, whatever is shown.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from markupsafe import Markup

from vision.units.length_words import LengthWords, unbroken

NO_FIGURE = "–"  # noqa: RUF001 - an en dash is what a table shows for no figure
SIGMA = "±"


def figure(value: float | None, digits: int = 2, signed: bool = False, scale: float = 1.0) -> str:
    """Show a number, or a dash for none, in a `data` element that carries the number itself."""
    if value is None:
        return NO_FIGURE
    text = f"{value * scale:{'+' if signed else ''}.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("+-")
    return _data(value, text)


def _data(value: float, text: str) -> str:
    shown = unbroken(text).replace("-", "−")  # noqa: RUF001
    return Markup('<data value="{}">{}</data>').format(value, shown)


@dataclass(frozen=True, slots=True)
class LengthFigures:
    """The filters with which the templates show lengths in metres, None being a dash.

    Cells of tables stand under a head that says `units`; what is said carries its unit, and what is
    bare does so only in inches, where the unit said before is another.
    """

    lengths: LengthWords

    def filters(self) -> dict[str, Callable[..., str]]:
        """The filters by name."""
        names = ("cm", "cm_doubt", "cm_bare", "cm_said", "m", "m_bare", "m_said")
        return {name: getattr(self, name) for name in names}

    def units(self) -> dict[str, str]:
        """The words for what small and large lengths are in, and the unit of a small one."""
        if self.lengths.imperial:
            return {"small": "inches", "large": "feet and inches", "cm": "in", "m": ""}
        return {"small": "cm", "large": "m", "cm": "cm", "m": "m"}

    def cm(self, value_m: float | None, digits: int = 1, signed: bool = False) -> str:
        """A cell: centimetres or inches."""
        if value_m is None or not self.lengths.imperial:
            return figure(value_m, digits, signed, 100.0)
        return _data(value_m, self.lengths.cell(value_m, "cm", signed=signed))

    def cm_doubt(self, sigma_m: float | None) -> str:
        """A cell: a sigma."""
        if sigma_m is None or not self.lengths.imperial:
            return figure(sigma_m, 1, scale=100.0)
        return _data(sigma_m, self.lengths.doubt_cell(sigma_m, "cm"))

    def m(self, value_m: float | None) -> str:
        """A cell: metres, or feet and inches, of what is known to a centimetre."""
        if value_m is None or not self.lengths.imperial:
            return figure(value_m)
        return _data(value_m, self.lengths.roughly.cell(value_m, "m"))

    def cm_bare(self, value_m: float | None, signed: bool = False, doubt: bool = False) -> str:
        """Centimetres where the unit is said elsewhere, or inches with theirs."""
        shown = self.cm_doubt(value_m) if doubt else self.cm(value_m, signed=signed)
        return Markup("{}&nbsp;in").format(shown) if self.lengths.imperial else shown

    def m_bare(self, value_m: float | None, digits: int = 2) -> str:
        """Metres where the unit is said elsewhere, or feet and inches with theirs."""
        if value_m is None or not self.lengths.imperial:
            return figure(value_m, digits)
        return _data(value_m, self.lengths.cell(value_m, "m"))

    def cm_said(
        self, value_m: float | None, sigma_m: float | None = None, signed: bool = False
    ) -> str:
        """Centimetres in a sentence, with a doubt in brackets where there is one."""
        metric = Markup("{} cm").format(figure(value_m, 1, signed, 100.0))
        sigma = (
            "" if sigma_m is None else Markup("{}{}").format(SIGMA, figure(sigma_m, 1, scale=100.0))
        )
        if not self.lengths.imperial or value_m is None:
            return Markup("{} ({})").format(metric, sigma) if sigma else metric
        tape = self.cm_bare(value_m, signed)
        if not sigma:
            return Markup("{} ({})").format(tape, metric)
        up = self.cm_bare(sigma_m, doubt=True)
        return Markup("{}, {} {} ({}, {})").format(tape, SIGMA, up, metric, sigma)

    def m_said(self, value_m: float | None, rough: bool = False) -> str:
        """Metres in a sentence; `rough` where it is known to a centimetre only."""
        metric = Markup("{} m").format(figure(value_m))
        if not self.lengths.imperial or value_m is None:
            return metric
        return Markup("{} ({})").format(self.m(value_m) if rough else self.m_bare(value_m), metric)
