"""The marks of a job as one document: how to print and lay them, then the marks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from reportlab.platypus import Table

from vision.documents.sheets.book import Book, Sheet
from vision.documents.sheets.drawing import Picture
from vision.documents.sheets.flow import Column, heading, steps, table
from vision.documents.sheets.mark_pages import Print, footed, mark_prints, pages_of
from vision.documents.sheets.paper import A4, Paper
from vision.job.job import Job
from vision.planning.setting_out.running_marks import exact
from vision.units.errors import BadInputError, Fault
from vision.units.lengths import decimal_text

MOST_PAGES = 1000
"""For one strip: a slip in a size must not fill the disk."""

PRINTING = (
    "Print at 100 %, without fitting or centring. Matt paper: glossy paper mirrors the sky.",
    "Hold a steel rule against both rulers of every page, the one along and the one up: 100 mm, or "
    "4 in. A printer may scale one way only. If either is off, do not use the page.",
    "Cut on the dashed line, outside the mark. Write the mark's name and an arrow on its back.",
    "A mark in parts: cut the left and upper edge of every part, lay them on the register lines of "
    "the parts before, glue, and cut the outline last.",
)
LAYING = (
    "The arrow up is ahead along the strip, from mark 0 to the last; for a single mark it is ahead "
    "of the vehicle. Left is left, looking that way from above.",
    "A quadrant's inked sectors lie ahead-left and behind-right; a board's inked corner square "
    "lies behind-right. Turned by a quarter they are other marks, and the pictures will not fit.",
    "Lay the centre on the chalked centre: corners of four sectors, crossing of the lines, middle "
    "of the board. Flat, without bubbles; cover with matt tape where the ground is damp.",
)


def mark_sheets(job: Job, paper: Paper, code: str, file: str = "") -> list[Picture]:
    """Every page; the first says how to print. Raises BadInputError where nothing is printed."""
    faults = list(_faults(job, paper, file))
    if faults:
        raise BadInputError(faults)
    prints = mark_prints(job, paper)
    pages = [page for each in prints for page in each.pages]
    # A roll's first sheet is printed on an office printer.
    book = Book(paper=paper if paper.height_mm else A4, job=job.name, code=code)
    covers = len(book.pages([_cover(book, prints, 0)]))
    footed(pages, code, covers + 1, covers + len(pages))
    return [*book.pages([_cover(book, prints, covers)], len(pages)), *pages]


def _cover(book: Book, prints: Iterable[Print], covers: int) -> Sheet:
    story = [
        *heading("Print"), *steps(PRINTING), *heading("Lay"), *steps(LAYING),
        *heading("What is printed"), _list(book, prints, covers),
    ]  # fmt: skip
    return Sheet(title="Marks, true to size", story=story)


def _faults(job: Job, paper: Paper, file: str) -> Iterator[Fault]:
    counts = {f"strip.{strip.name}": pages_of(strip, paper) for strip in job.strips}
    counts |= {f"mark.{mark.name}": pages_of(mark, paper) for mark in job.marks}
    if not any(counts.values()):
        yield Fault(
            file=file,
            key="strip",
            found="no mark that is printed",
            expected="a cross, a quadrant or a board",
            next_step="add a strip of marks",
        )
    for key, count in counts.items():
        if count > MOST_PAGES:
            yield Fault(
                file=file,
                key=key,
                found=f"marks that take {count} pages of {paper.name}",
                expected=f"at most {MOST_PAGES}",
                next_step="correct their size, or print on a roll such as roll:60cm",
            )


def _list(book: Book, prints: Iterable[Print], covers: int) -> Table:
    columns = (
        Column(title="strip or mark", width=44, bold=True),
        Column(title="marks", width=16, anchor="end"),
        Column(title="one mark, cut: along x across, cm", width=46, anchor="end"),
        Column(title="ink", width=16),
        Column(title="parts of one mark", width=30, anchor="end"),
        Column(title="pages", width=book.width - 152, anchor="end"),
    )
    rows, first = [], covers + 1
    for each in prints:
        sizes = [
            decimal_text(exact(half / 5), 2) for half in (each.art.half_along, each.art.half_across)
        ]
        last = first + len(each.pages) - 1
        rows.append(
            (
                each.name, str(len(each.ids)), " x ".join(sizes), each.art.ink,
                str(each.parts[0] * each.parts[1]), f"{first} to {last}" if last > first else
                str(first),
            )
        )  # fmt: skip
        first = last + 1
    return table(columns, rows)
