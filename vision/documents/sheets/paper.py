"""Papers that a printer takes: A4, Letter, or a roll of stated width."""

from __future__ import annotations

from dataclasses import dataclass

from vision.units.lengths import LengthError, parse_length

MARGIN_MM = 10.0
"""What printers leave white: 4 to 6 mm is usual; common practice, no source."""

ROLL_MM = (200.0, 2000.0)
"""Narrower, the rulers and the name beside them have no room."""
LONGEST_MM = 5000.0
"""A page of a PDF ends at 200 in (ISO 32000, annex C); a printer's roll may go on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A paper by its size, portrait; `height_mm` is None for a roll, cut to what is printed."""

    name: str
    width_mm: float
    height_mm: float | None

    @property
    def inner_width_mm(self) -> float:
        """Width between the margins."""
        return self.width_mm - 2 * MARGIN_MM

    @property
    def inner_height_mm(self) -> float:
        """Height between the margins; of a roll, the longest."""
        return (self.height_mm or LONGEST_MM) - 2 * MARGIN_MM


A4 = Paper(name="A4", width_mm=210.0, height_mm=297.0)
LETTER = Paper(name="Letter", width_mm=215.9, height_mm=279.4)
PAPERS = {"a4": A4, "letter": LETTER}


def paper_of(text: str, *, rolls: bool = False) -> Paper:
    """The paper that a person named; ValueError that says what is expected.

    With `rolls`, also `roll:WIDTH` such as `roll:60 cm` or `roll:36 in`.
    """
    known = PAPERS.get(text.strip().lower())
    if known is not None:
        return known
    expected = "a4, letter" + (" or a roll's width, such as roll:60cm" if rolls else "")
    kind, colon, width = text.partition(":")
    if not (rolls and colon and kind.strip().lower() == "roll"):
        raise ValueError(f"found {text!r}; expected {expected}")
    try:
        width_mm = float(parse_length(width) * 1000)
    except LengthError as error:
        raise ValueError(f"roll: {error}") from None
    low, high = ROLL_MM
    if not low <= width_mm <= high:
        raise ValueError(f"found a roll of {width_mm:g} mm; expected {low:g} to {high:g} mm")
    return Paper(name=f"roll {width.strip()}", width_mm=width_mm, height_mm=None)
