"""The marks of a job as one document: how to print and lay them, then the marks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import accumulate, pairwise

from vision.documents.sheets.book import Book
from vision.documents.sheets.drawing import Picture
from vision.documents.sheets.mark_pages import Print, footed, mark_prints, pages_of
from vision.documents.sheets.paper import A4, Paper
from vision.documents.sheets.story import Sheet, sheets_from
from vision.job.job import Job
from vision.planning.setting_out.running_marks import exact
from vision.units.errors import BadInputError, Fault, fault_of
from vision.units.lengths import decimal_text

MOST_PAGES = 1000
"""For one strip: a slip in a size must not fill the disk."""


def mark_sheets(job: Job, paper: Paper, code: str, file: str = "") -> list[Picture]:
    """Every page; the first says how to print. Raises BadInputError where nothing is printed."""
    faults = list(_faults(job, paper, file))
    if faults:
        raise BadInputError(faults)
    prints = mark_prints(job, paper)
    pages = [page for each in prints for page in each.pages]
    # A roll's first sheet is printed on an office printer.
    book = Book(paper=paper if paper.height_mm else A4, job=job.name, code=code)
    covers = len(book.pages(_cover(book, prints, 0)))
    footed(pages, code, covers + 1, covers + len(pages))
    return [*book.pages(_cover(book, prints, covers), len(pages)), *pages]


def _cover(book: Book, prints: Sequence[Print], covers: int) -> list[Sheet]:
    """What comes before the marks; `covers` is how many pages it takes."""
    ends = [*accumulate((len(each.pages) for each in prints), initial=covers)]
    numbers = [
        f"{first + 1}" if last == first + 1 else f"{first + 1} to {last}"
        for first, last in pairwise(ends)
    ]
    return sheets_from(
        "marks.xml.j2",
        book.width,
        prints=prints,
        numbers=numbers,
        centimetres=lambda half_mm: decimal_text(exact(half_mm / 5), 2),
    )


def _faults(job: Job, paper: Paper, file: str) -> Iterator[Fault]:
    counts = {f"strip.{strip.name}": pages_of(strip, paper) for strip in job.strips}
    counts |= {f"mark.{mark.name}": pages_of(mark, paper) for mark in job.marks}
    if not any(counts.values()):
        found, expected = "no mark that is printed", "a cross, a quadrant or a board"
        yield fault_of(
            "no-printed-mark", file, found, expected, "add a strip of marks", key="strip"
        )
    for key, count in counts.items():
        if count > MOST_PAGES:
            found = f"marks that take {count} pages of {paper.name}"
            step = "correct their size, or print on a roll such as roll:60cm"
            yield fault_of("too-many-pages", file, found, f"at most {MOST_PAGES}", step, key=key)
