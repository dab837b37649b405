"""Proves that sheets are the same bytes every time, as PDF and as SVG, and what the command writes.

Does not prove that a printer keeps to the size: every page has rulers for that.
"""

from __future__ import annotations

from collections import Counter
from xml.etree import ElementTree

import pypdfium2
import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.documents.printed_sheets import SVG, sheets
from tests.drawn import drawn
from tests.lots import lot, lot_text
from vision.documents.sheets.paper import A4, LETTER
from vision.documents.sheets.printed import documents, job_code, pdf_bytes, svg_text

MM = 25.4 / 72


def test_equal_jobs_give_equal_files():
    files = documents("sheet", sheets(lot(8.4)), "x")
    assert files == documents("sheet", sheets(lot(8.4)), "x")
    assert b"/PrintScaling /None" in files["sheet.pdf"]
    assert job_code(b"a") != job_code(b"b")


def test_svg_has_the_size_of_its_paper():
    root = ElementTree.fromstring(svg_text(sheets(lot(8.4), LETTER)[0], "x"))
    assert (root.get("width"), root.get("height")) == ("215.9mm", "279.4mm")
    # In points, and all of it: ReportLab alone would cut to whole ones.
    assert root.get("viewBox") == "0 0 612 792"
    a4 = ElementTree.fromstring(svg_text(sheets(lot(8.4), A4)[0], "x"))
    assert a4.get("viewBox") == "0 0 595.276 841.89"
    assert a4.find(f"{SVG}g").get("transform") == "matrix(1,0,0,-1,0,841.89)"


def test_pdf_and_svg_say_the_same():
    pages = sheets(lot(8.4))
    document = pypdfium2.PdfDocument(pdf_bytes(pages, "x"))
    for page, sheet in zip(pages, document, strict=True):
        said = [text.text for text in drawn(page).texts]
        read = sheet.get_textpage().get_text_range()
        assert Counter("".join(read.split())) == Counter("".join("".join(said).split()))
        svg = svg_text(page, "x")
        assert "None" not in svg
        elements = list(ElementTree.fromstring(svg).iter(f"{SVG}text"))
        assert [element.text for element in elements] == said


def test_texts_lie_in_the_svg_where_they_do_on_the_page():
    page = sheets(lot(8.4))[2]
    for element, text in zip(
        ElementTree.fromstring(svg_text(page, "x")).iter(f"{SVG}text"), drawn(page).texts,
        strict=True,
    ):  # fmt: skip
        # Turned over once as a text, and once with the whole page.
        scale, off = (float(each) for each in element.get("transform")[:-1].split(",")[3::2])
        up = scale * float(element.get("y")) + off
        at = float(element.get("x")) * MM, (page.height - up) * MM
        assert at == pytest.approx((text.x, text.y), abs=0.001)
        assert float(element.get("textLength")) * MM == pytest.approx(text.box.width, abs=0.001)


def test_the_command(tmp_path):
    job_file = tmp_path / "job.toml"
    job_file.write_text(lot_text(8.4), encoding="utf-8")
    out = tmp_path / "sheets"
    done = CliRunner().invoke(app, ["sheet", str(job_file), "--out", str(out), "--paper", "letter"])
    assert done.exit_code == 0, done.output
    names = {path.name for path in out.iterdir()}
    count = int(done.output.split()[0])
    assert names == {"sheet.pdf"}
    vectors = tmp_path / "vectors"
    done = CliRunner().invoke(app, ["sheet", str(job_file), "--out", str(vectors), "--svg"])
    assert done.exit_code == 0, done.output
    assert len(list(vectors.glob("sheet-*.svg"))) == int(done.output.split()[0])
    assert count > 9
    for arguments, code in (
        (["--paper", "a5"], 2), (["--units", "yards"], 2),
        (["--fraction", "10"], 2), (["--paper", "roll:60cm"], 2),
    ):  # fmt: skip
        again = CliRunner().invoke(
            app, ["sheet", str(job_file), "--out", str(tmp_path / "no"), *arguments]
        )
        assert again.exit_code == code
    job_file.write_text("[job]\n", encoding="utf-8")
    refused = CliRunner().invoke(app, ["sheet", str(job_file), "--out", str(tmp_path / "no")])
    assert refused.exit_code == 5
    assert not (tmp_path / "no").exists()
