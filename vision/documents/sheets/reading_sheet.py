"""What to tape once all is laid, with room for what the tape shows."""

from __future__ import annotations

from vision.documents.sheets.book import Book, Sheet
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.flow import Column, paragraph, table
from vision.planning.setting_out.readings import PlannedReading, readings_to_take
from vision.planning.setting_out.running_marks import SettingOut

ROW_MM = 6.6


def reading_sheet(book: Book, setting: SettingOut, figures: Figures) -> list[Sheet]:
    """A table of lengths to read; no sheet where there is nothing to read."""
    readings = readings_to_take(setting.job)
    if not readings:
        return []
    how = paragraph(
        "The most telling first; leave out what you cannot reach. Read before you look at the "
        "planned figure, with the tape straight and pulled alike, and read again where the two "
        "are apart. Names are those of the job file: strip and mark. seamtrue measure --wanted "
        "prints the same list to type the readings into; seamtrue measure then says which strip "
        "is out, or which reading is."
    )
    columns = (
        Column(title="", width=12, size_pt=10, anchor="middle"),
        Column(title="from, to", width=book.width - 132, size_pt=11, bold=True),
        Column(title="read", width=44, anchor="middle"),
        Column(title="planned", width=32, size_pt=11, anchor="end"),
        Column(title="feet, inches", width=44, size_pt=11, anchor="end"),
    )
    rows = [
        (
            str(number),
            _where(reading),
            "",
            figures.metres(reading.length_m),
            figures.feet(reading.length_m),
        )
        for number, reading in enumerate(readings, start=1)
    ]
    story = [how, table(columns, rows, row_mm=ROW_MM)]
    return [Sheet(title="Lengths to tape when all is laid", story=story)]


def _where(reading: PlannedReading) -> str:
    if reading.kind == "offset":
        return f"{reading.between[0]} to centre line"
    return " to ".join(map(str, reading.between))
