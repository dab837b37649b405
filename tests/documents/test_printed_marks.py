"""Proves that printed marks are the marks that are looked for, true to 0.1 mm, and joined rightly.

Proves: the PDF, rendered at 600 dpi by another program, has ink where `vision.job.pattern` looks
for it and none elsewhere, to 0.1 mm, for crosses, quadrants and boards in both inks, whole and in
parts on A4, Letter and a roll; rulers are 100 mm and 4 in both ways, also in the SVG; parts meet
at their register lines; names stay outside the marks.

Does not prove: what a printer makes of the file. That is what the rulers are for.
"""

from __future__ import annotations

import math
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pypdfium2
import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.clashes import clashes
from tests.drawn import Shape, drawn
from tests.lots import lot, lot_text
from tests.refusing import refused
from vision.documents.cautions import LAW_FIRST
from vision.documents.sheets.drawing import SMALLEST_PT
from vision.documents.sheets.mark_pages import OVERLAP_MM, RULER_MM, mark_prints
from vision.documents.sheets.mark_sheets import mark_sheets
from vision.documents.sheets.paper import A4, LETTER, MARGIN_MM, paper_of
from vision.documents.sheets.printed import pdf_bytes, svg_text
from vision.job.coverage import Blurred
from vision.job.job_file import job_from_text
from vision.job.kinds.board import Board
from vision.job.kinds.cross import Cross
from vision.job.kinds.quadrant import Quadrant
from vision.job.mark_id import MarkId
from vision.units.errors import BadInputError

DPI = 600
PX_PER_MM = DPI / 25.4
MM = 25.4 / 72
ROLL = paper_of("roll:30 cm", rolls=True)
LEFT_MM = MARGIN_MM + RULER_MM + 2.0

CROSS = 'mark = "cross"\narm = ["12 cm", "82 mm"]\nline = "25 mm"'
QUADRANT = 'mark = "quadrant"\nradius = "6 cm"'
BOARD = 'mark = "board"\nsquare = "36 mm"\ncorners = [4, 3]'
LARGE = 'mark = "board"\nsquare = "6 cm"\ncorners = [3, 4]'
WIDE = 'mark = "cross"\narm = ["30 cm", "20 cm"]\nline = "5 cm"\ntape_width = "42 cm"'
LIGHT = '\nink = "light"'


def rendered(page, top_mm=0.0, height_mm=290.0):
    """A page's part as PDFium draws it: (rows, columns) of grey, 0 to 1, at 600 dots an inch."""
    document = pypdfium2.PdfDocument(pdf_bytes([page], "x"))
    below = max(0.0, drawn(page).height_mm - top_mm - height_mm)
    crop = (0, below * 72 / 25.4, 0, top_mm * 72 / 25.4)
    bitmap = document[0].render(scale=DPI / 72, grayscale=True, crop=crop)
    return np.asarray(bitmap.to_numpy(), dtype=np.float64).reshape(bitmap.height, -1) / 255


def expected(shape, s_mm, q_mm):
    """Ink (1), bare (0) or, within 0.1 mm of an edge, NaN, as `vision.job.pattern` has it."""
    # Three sigma of the blur are 0.1 mm: beyond it a straight edge has its full value.
    at = Blurred.under(s_mm / 1000, q_mm / 1000, np.eye(2), 0.1e-3 / 3)
    value = shape.ink(at).value
    return np.where(value > 0.9985, 1.0, np.where(value < 0.0015, 0.0, np.nan))


def compared(image, centre_mm, art, shape, window, rng, count=40_000):
    """Share of random places in a window (left, top, right, bottom; mm) that are as expected."""
    x = rng.uniform(window[0] + 0.1, window[2] - 0.1, count)
    y = rng.uniform(window[1] + 0.1, window[3] - 0.1, count)
    ink = expected(shape, centre_mm[1] - y, centre_mm[0] - x)
    known = np.isfinite(ink)
    assert known.mean() > 0.95
    grey = image[(y * PX_PER_MM).astype(int), (x * PX_PER_MM).astype(int)]
    dark = grey < 0.5
    wanted = ink == (1.0 if art.ink == "dark" else 0.0)
    return float((dark == wanted)[known].mean())


def first_print(mark, paper, ink=""):
    job = lot(8.4, mark=mark + ink)
    return job.strip("left").shape, mark_prints(job, paper)[0]


@pytest.mark.parametrize("ink", ["", LIGHT], ids=["dark", "light"])
@pytest.mark.parametrize(
    ("mark", "paper"),
    [(CROSS, A4), (CROSS, LETTER), (QUADRANT, A4), (BOARD, LETTER)],
    ids=["cross-a4", "cross-letter", "quadrant", "board"],
)
def test_a_printed_mark_is_the_one_that_is_looked_for(mark, paper, ink):
    shape, printed = first_print(mark, paper, ink)
    art = printed.art
    assert printed.parts == (1, 1)
    image = rendered(printed.pages[0])
    centre = LEFT_MM + art.half_across, MARGIN_MM + art.half_along
    window = (
        centre[0] - art.half_across, centre[1] - art.half_along,
        centre[0] + art.half_across, centre[1] + art.half_along,
    )  # fmt: skip
    share = compared(image, centre, art, shape, window, np.random.default_rng(1))
    assert share == 1.0


def test_the_comparison_sees_a_tenth_of_a_millimetre_and_a_wrong_hand():
    shape, printed = first_print(QUADRANT, A4)
    art = printed.art
    image = rendered(printed.pages[0])
    centre = LEFT_MM + art.half_across, MARGIN_MM + art.half_along
    window = (centre[0] - 60, centre[1] - 60, centre[0] + 60, centre[1] + 60)
    for wrong, least in (((0.15, 0.0), 0.9999), ((0.0, 0.15), 0.9999)):
        moved = centre[0] + wrong[0], centre[1] + wrong[1]
        share = compared(image, moved, art, shape, window, np.random.default_rng(1))
        assert share < least
    share = compared(image[:, ::-1], centre, art, shape, window, np.random.default_rng(1))
    assert share < 0.7


def test_handedness():
    # Ahead is up the page and left is left: a quadrant is dark ahead-left and behind-right.
    _, printed = first_print(QUADRANT, A4)
    image = rendered(printed.pages[0])
    x, y = LEFT_MM + printed.art.half_across, MARGIN_MM + printed.art.half_along

    def dark(across, along, at=image):
        return at[int((y - along) * PX_PER_MM), int((x - across) * PX_PER_MM)] < 0.5

    assert dark(20, 20)
    assert dark(-20, -20)
    assert not dark(-20, 20)
    assert not dark(20, -20)
    # The board's square behind-right is dark, and so is its opposite, five squares on by four.
    shape, printed = first_print(BOARD, A4)
    image = rendered(printed.pages[0])
    x, y = LEFT_MM + printed.art.half_across, MARGIN_MM + printed.art.half_along
    along, across = (1000 * half - 18 for half in shape.half_extent_m)
    assert dark(-across, -along, image)
    assert not dark(-across, -along + 36, image)
    assert not dark(across, -along, image)


@pytest.mark.parametrize(
    ("mark", "ink", "paper", "parts"),
    [(LARGE, "", A4, (2, 2)), (LARGE, LIGHT, LETTER, (2, 2)), (WIDE, "", A4, (3, 3)),
     (BOARD, "", ROLL, (1, 1))],
    ids=["board", "light", "cross", "roll"],
)  # fmt: skip
def test_parts_joined_on_their_register_lines_make_the_mark(mark, ink, paper, parts):
    shape, printed = first_print(mark, paper, ink)
    art = printed.art
    assert printed.parts == parts
    rows, columns = parts
    step = 2 * art.half_across / columns, 2 * art.half_along / rows
    rng = np.random.default_rng(2)
    for index in range(rows * columns):
        row, column = divmod(index, columns)
        image = rendered(printed.pages[index], height_mm=MARGIN_MM + step[1] + 5)
        # What is seen of a part once the next ones lie on it: up to its register lines.
        window = (LEFT_MM, MARGIN_MM, LEFT_MM + step[0], MARGIN_MM + step[1])
        centre = (
            LEFT_MM - column * step[0] + art.half_across,
            MARGIN_MM - row * step[1] + art.half_along,
        )
        assert compared(image, centre, art, shape, window, rng, 8_000) == 1.0
        if column + 1 < columns:
            lines = [
                item.points for item in drawn(printed.pages[index]).items
                if isinstance(item, Shape) and item.dash_mm == (3.0, 3.0)
                and item.points[0][0] == item.points[1][0]
            ]  # fmt: skip
            # Beside the edge, on what is covered.
            assert lines[0][0][0] == pytest.approx(LEFT_MM + step[0], abs=0.2)
        assert step[0] + OVERLAP_MM * (column + 1 < columns) <= paper.width_mm - 2 * MARGIN_MM


@pytest.mark.parametrize("paper", [A4, LETTER, ROLL], ids=["a4", "letter", "roll"])
def test_rulers_are_true_along_and_across(paper):
    _, printed = first_print(CROSS, paper)
    page = printed.pages[0]
    root = ElementTree.fromstring(svg_text(page, "x"))
    size = drawn(page)
    assert (root.get("width"), root.get("height")) == (
        f"{size.width_mm:g}mm", f"{size.height_mm:g}mm"
    )  # fmt: skip
    # The drawing is as many points wide as the page, which makes a point 1/72 in.
    assert root.get("viewBox") == f"0 0 {size.width_mm / MM:g} {size.height_mm / MM:g}"
    lines = [
        [
            tuple(MM * float(each) for each in point.split())
            for point in element.get("points").split(",")
        ]
        for element in root.iter("{http://www.w3.org/2000/svg}polyline")
    ]
    for axis in (0, 1):
        # A ruler's ticks are short lines square to it, on a base line of 4 in.
        base = [
            line for line in lines
            if math.isclose(math.dist(*line), 101.6, abs_tol=2e-3)
            and line[0][1 - axis] == line[1][1 - axis]
        ]  # fmt: skip
        assert len(base) == 1
        start = base[0][0]
        ticks = {
            round(abs(line[0][axis] - start[axis]), 2)
            for line in lines
            if line[0][axis] == line[1][axis] and line[0][1 - axis] == start[1 - axis]
        }
        assert {0.0, 5.0, 50.0, 100.0, 12.7, 50.8, 101.6} <= ticks
    # The longest ticks again, in the rendered PDF.
    tick = size.height_mm - MARGIN_MM - RULER_MM / 2 - 1.0
    row = rendered(page, tick - 1.0, 2.0)[round(1.0 * PX_PER_MM)]
    dark = np.flatnonzero(row < 0.5) / PX_PER_MM - LEFT_MM
    for mm in (0, 50, 100):
        assert np.abs(dark - mm).min() < 0.1


@pytest.mark.parametrize("paper", [A4, LETTER, ROLL], ids=["a4", "letter", "roll"])
@pytest.mark.parametrize("mark", [CROSS, QUADRANT, BOARD, WIDE, LARGE + LIGHT])
def test_names_and_figures_stay_clear_of_the_marks(mark, paper):
    pages = mark_sheets(lot(4, mark=mark), paper, "3fa2c1")
    for page in pages:
        assert not clashes(page)
        assert min(text.size_pt for text in drawn(page).texts) >= SMALLEST_PT
        assert LAW_FIRST in drawn(page).words
    names = [text.text for page in pages for text in drawn(page).texts]
    for index in range(9):
        assert any(name.startswith((f"front/{index}", "front/0 to 8")) for name in names)
    assert f"job file 3fa2c1, page {len(pages)} of {len(pages)}" in names


def test_every_mark_is_printed_once_with_its_name():
    job = lot(8.4, mark=QUADRANT)
    prints = mark_prints(job, A4)
    ids = [each for printed in prints for each in printed.ids]
    assert ids == [
        *(MarkId(strip.name, i) for strip in job.strips for i in range(len(strip.at_m))),
        *(MarkId(mark.name) for mark in job.marks),
    ]
    shown = [
        text.text
        for printed in prints
        for page in printed.pages
        for text in drawn(page).texts
        if text.bold
    ]
    for each in ids:
        assert str(each) in shown


def test_size_of_the_cut_paper():
    for mark in (CROSS, QUADRANT, BOARD):
        shape, printed = first_print(mark, A4)
        along, across = (1000 * half for half in shape.half_extent_m)
        art = printed.art
        if isinstance(shape, Board):
            border = 1000 * shape.border_m
            assert (art.half_along, art.half_across) == pytest.approx(
                (along + border, across + border)
            )
        else:
            assert isinstance(shape, Cross | Quadrant)
            # Never wider than its tape, which is 18 cm.
            assert along < art.half_along
            assert across < art.half_across <= 90


def test_a_job_of_cartons_has_nothing_to_print():
    text = lot_text(8.4)
    head = text[: text.index("[strip.left]")]
    job = job_from_text(head + '[mark.carton]\nat = [6, 0, 0.7]\nkind = "box_corner"\n', "job.toml")
    with refused("no-printed-mark"):
        mark_sheets(job, A4, "3fa2c1", "job.toml")


def test_a_slip_in_a_size_does_not_fill_the_disk():
    told = lot(8.4, mark=BOARD)
    strips = (replace(each, shape=replace(each.shape, square_m=60.0)) for each in told.strips)
    job = replace(told, strips=tuple(strips))
    with pytest.raises(BadInputError, match=r"strip\.left.*marks that take \d+ pages of A4") as no:
        mark_sheets(job, A4, "3fa2c1", "job.toml")
    assert len(no.value.faults) == 4


def test_the_command(tmp_path):
    job_file = tmp_path / "job.toml"
    job_file.write_text(lot_text(4, mark=QUADRANT), encoding="utf-8")
    out = tmp_path / "marks"
    done = CliRunner().invoke(
        app, ["marks", str(job_file), "--out", str(out), "--paper", "roll:24in", "--svg"]
    )
    assert done.exit_code == 0, done.output
    count = int(done.output.split()[0])
    names = {path.name for path in out.iterdir()}
    assert names == {"marks.pdf", *(f"marks-{i}.svg" for i in range(1, count + 1))}
    wrong = CliRunner().invoke(
        app, ["marks", str(job_file), "--out", str(tmp_path / "no"), "--paper", "roll:60"]
    )
    assert wrong.exit_code == 2
    assert not (tmp_path / "no").exists()
