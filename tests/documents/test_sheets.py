"""Proves that the printed sheets can be read: nothing overlaps, nothing is small, all is said.

Proves: on A4 and Letter, for vehicles from 4 to 18 m, no two texts overlap, none leaves the page or
lies under a black shape, and none is below 9 pt; every sheet carries every caution; every mark's
running distance is printed; the drawing is to its stated scale; PDF and SVG are the same bytes
every time, and hostile names stay text.

Does not prove: that a person with cold fingers finds them good.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pypdfium2
import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.clashes import clashes
from tests.drawn import Shape, drawn
from tests.lots import lot, lot_text
from tests.paths import SAMPLES
from vision.documents.cautions import LAW_FIRST
from vision.documents.sheets import story
from vision.documents.sheets.drawing import (
    BLACK,
    SMALLEST_PT,
    Picture,
)
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.paper import A4, LETTER
from vision.documents.sheets.plan_drawing import (
    SCALES,
    PlanView,
    least_scale,
    usual_scale,
)
from vision.documents.sheets.printed import documents, job_code, pdf_bytes, svg_text
from vision.documents.sheets.setting_sheets import setting_sheets
from vision.job.job import VehicleState
from vision.job.job_file import job_from_text
from vision.planning.setting_out.readings import readings_to_take
from vision.planning.setting_out.set_out import set_out
from vision.planning.setting_out.supplies import carton_corners_m

LONG = "a strip with a name that is far longer than any column of any table could ever hold"
MM = 25.4 / 72
DRAWN = {"svg", "title", "clipPath", "g", "rect", "text", "polygon", "polyline", "circle", "path"}
TEMPLATES = Path(story.__file__).parent
SVG = "{http://www.w3.org/2000/svg}"


def cautions():
    """What the first sheet says at its foot, when and what; and what every other one says."""
    text = (TEMPLATES / "cautions.xml.j2").read_text(encoding="utf-8")
    told = ElementTree.fromstring(text[text.index("<") :].replace("{{ law_first }}", LAW_FIRST))
    return [
        [[" ".join(cell.text.split()) for cell in row] for row in sheet.iter("row")]
        for sheet in told.iter("sheet")
    ]


CAUTIONS, SHORT = cautions()
CARTONS = job_from_text((SAMPLES / "long_shadow" / "job.toml").read_bytes(), "job.toml")


def sheets(job, paper=A4, fraction=16, system="both"):
    return setting_sheets(set_out(job), paper, "3fa2c1", fraction, system)


def words(pages):
    return " ".join(drawn(page).words for page in pages)


def titled(pages, title):
    """The pages whose head begins so."""
    return [drawn(page) for page in pages if drawn(page).title.startswith(title)]


def test_clashes_are_seen():
    page = Picture(100, 100)
    page.text(20, 80, "one")
    page.text(22, 79, "two")
    page.text(90, 50, "beyond the edge")
    page.text(20, 20, "hidden")
    page.box((15, 15, 25, 25), fill=BLACK)
    assert len(clashes(page)) == 3
    page.text(60, 40, "turned", turned=True)
    box = drawn(page).texts[-1].box
    assert box.height > box.width
    assert (box.bottom, box.right) == pytest.approx((60, 60 + 0.22 * 9 * 25.4 / 72))


@pytest.mark.parametrize("paper", [A4, LETTER], ids=["a4", "letter"])
@pytest.mark.parametrize(
    ("length", "fraction"), [(4, 16), (5.7, 64), (8.4, 16), (12, 64), (18, 16)]
)
def test_nothing_overlaps(length, fraction, paper):
    for number, page in enumerate(sheets(lot(length), paper, fraction), start=1):
        assert not clashes(page), f"sheet {number}"
        assert min(text.size_pt for text in drawn(page).texts) >= SMALLEST_PT


@pytest.mark.parametrize("length", [9, 10, 11, 12, 13, 18])
@pytest.mark.parametrize("paper", [A4, LETTER], ids=["a4", "letter"])
def test_no_page_holds_a_few_lost_lines(length, paper):
    empty = len(CAUTIONS) + 10
    for page in sheets(lot(length), paper):
        assert len(drawn(page).texts) > empty + 12, drawn(page).title


HOSTILE = [
    lot_text(8.4, name="<script>alert('a & b')</script> " + "\u0416" * 40),
    lot_text(8.4).replace("[strip.left]", f'[strip."{LONG}"]'),
    lot_text(8.4).replace("[strip.left]", '[strip."<b>left & <i> right"]'),
    lot_text(8.4).replace("[camera.left]", f'[camera."{LONG}"]'),
    lot_text(8.4).replace("[mark.front_trestle]", f'[mark."{LONG.replace(" ", "_")}"]'),
    lot_text(8.4, step=0.15),
    lot_text(8.4).replace("[strip.front]\nfrom = [5.5, -2.4]", "[strip.front]\nfrom = [7.5, -2.4]"),
    "".join(
        part
        for part in re.split(r"(?=\n\[)", lot_text(8.4))
        if not part.startswith(("\n[strip.front", "\n[strip.left", "\n[mark"))
    ),
]


@pytest.mark.parametrize(
    "text",
    HOSTILE,
    ids=["job", "strip", "markup", "camera", "mark", "many", "angle", "few"],
)
def test_names_and_layouts_that_nobody_expected(text):
    drawn_well(job_from_text(text, "job.toml"))


def test_numbers_of_a_strip_under_the_body_do_not_lie_across_its_edge():
    job = lot(16.5, width=2.5)
    strips = (
        replace(each, from_m=[-7.2, each.from_m[1]], to_m=[-7.2, each.to_m[1]])
        if each.name == "rear"
        else each
        for each in job.strips
    )
    drawn_well(replace(job, strips=tuple(strips)))


def drawn_well(job):
    """Every page of a job's sheets: nothing overlaps, and nothing but what is drawn is in it."""
    pages = sheets(job)
    for page in pages:
        assert not clashes(page)
        root = ElementTree.fromstring(svg_text(page, job.name))
        assert {element.tag.removeprefix(SVG) for element in root.iter()} <= DRAWN
    pdf_bytes(pages, job.name)


@pytest.mark.parametrize(("length", "width"), [(1, 0.3), (1, 20), (100, 0.3), (100, 20)])
def test_any_size_of_vehicle_can_be_drawn(length, width):
    pages = sheets(lot(length, width=width, step=max(0.6, length / 50)))
    for page in pages:
        assert all(np.isfinite((text.x, text.y)).all() for text in drawn(page).texts)
        svg_text(page, "x")
    pdf_bytes(pages, "x")


@pytest.mark.parametrize("paper", [A4, LETTER], ids=["a4", "letter"])
def test_the_first_sheet_carries_every_caution_and_the_others_the_short_one(paper):
    pages = sheets(lot(8.4), paper)
    document = pypdfium2.PdfDocument(pdf_bytes(pages, "x"))
    assert len(document) == len(pages)
    for number, sheet in enumerate(document, start=1):
        text = " ".join(sheet.get_textpage().get_text_bounded().split())
        for caution in (cell for row in (CAUTIONS if number == 1 else SHORT) for cell in row):
            assert caution in text
        assert f"sheet {number} of {len(pages)}" in text
        assert "job file 3fa2c1" in text


def test_what_the_cautions_say():
    said = " ".join(text for _, text in CAUTIONS).lower()
    for matter in (
        "level ground", "brake", "chocked", "keys out", "cones", "ladder",
        "between the vehicle and traffic", "do not move the vehicle", "load", "lift all tape",
        "local law", "licensed", "certifies nothing",
    ):  # fmt: skip
        assert matter in said
    ((short,),) = SHORT
    for matter in ("traffic", "brake", "chocked", "keys out", "under the vehicle", "ladders"):
        assert matter in short.lower()
    assert LAW_FIRST in short


@pytest.mark.parametrize("fraction", [16, 64])
def test_every_running_distance_is_printed_in_both_systems(fraction):
    job = lot(8.4)
    setting = set_out(job)
    figures = Figures(fraction=fraction)
    pages = sheets(job, fraction=fraction)
    for line in setting.strips:
        texts = [
            text.text
            for page in titled(pages, "Strip")
            if line.strip.name in page.title
            for text in page.texts
        ]
        for mark in line.marks:
            at = texts.index(figures.metres(mark.running_m))
            assert texts[at - 1] == str(mark.index)
            assert texts[at + 1] == figures.feet(mark.running_m)
            assert texts[at + 2] == figures.feet_off_mm(mark.running_m)


def test_the_plan_is_to_the_scale_it_states():
    job = lot(8.4, width=2.3)
    page = drawn(sheets(job)[0])
    scale = next(int(t.text.split(":")[1]) for t in page.texts if t.text.startswith("Scale 1 :"))
    sizes = [
        (np.ptp([p[0] for p in item.points]) * scale, np.ptp([p[1] for p in item.points]) * scale)
        for item in page.items
        if isinstance(item, Shape) and item.closed
    ]
    assert any(np.allclose(size, (2300, 8400)) for size in sizes)
    # Tape of the left strip: from -4.8 to 4.8, half a cross and 10 cm over at each end.
    assert any(np.allclose(size, (180, 9600 + 160 + 200)) for size in sizes)


def test_scales_are_those_of_a_rule_and_large_enough():
    for length in (0.5, 3, 17, 27, 90, 400):
        scale = usual_scale(least_scale(length, length / 4, (100, 200)))
        assert scale in SCALES or scale % 500 == 0
        assert length * 1000 / scale <= 200


def test_ahead_is_up_and_left_is_left():
    view = PlanView.small(set_out(lot(8.4)), (200, 200))
    x0, y0 = view.place((0, 0))
    assert view.place((1, 0)) == pytest.approx((x0, y0 + 1000 / view.scale))
    assert view.place((0, 1)) == pytest.approx((x0 - 1000 / view.scale, y0))


def test_the_state_of_the_vehicle_is_shown_or_asked_for():
    job = lot(8.4)
    assert "Tyre pressure" in words(sheets(job))
    state = VehicleState(load="as driven, 1.2 t of books")
    stated = replace(job, vehicle=replace(job.vehicle, state=state))
    assert "as driven, 1.2 t of books" in words(sheets(stated))


def test_raised_marks_ask_for_a_board_to_be_seen_against():
    text = words(sheets(lot(8.4)))
    # A quadrant of 12 cm across, and half as much again.
    assert "2 trestles, each with a flat, matt board on top, light, 0.18 m (8 in)" in " ".join(
        text.split()
    )


def test_names_of_proposed_raised_marks_are_not_cut():
    job = lot(8.4)
    marks = tuple(
        replace(mark, name=name)
        for mark, name in zip(job.marks, ("front_right_raised", "rear_right_raised"), strict=True)
    )
    page, *_ = titled(sheets(replace(job, marks=marks)), "Cameras")
    assert {"front_right_raised", "rear_right_raised"} <= {text.text for text in page.texts}


def test_a_lot_that_the_job_states_smaller_is_said_to_be():
    said = "smaller than that"
    assert said not in words(sheets(lot(8.4)))
    small = job_from_text(lot_text(8.4, extra="[lot]\nlength = 12\nwidth = 20\n"), "job.toml")
    assert said in words(sheets(small))
    large = job_from_text(lot_text(8.4, extra="[lot]\nlength = 60\n"), "job.toml")
    assert said not in words(sheets(large))


def test_cameras_preset_at_45_degrees_read_45_on_the_gauge():
    # Preset at 45 degrees: common practice, no source.
    page, *_ = titled(sheets(lot(8.4)), "Cameras")
    texts = [text.text for text in page.texts]
    assert texts.count("45.0\N{DEGREE SIGN}") == 8
    assert texts.count("0.0\N{DEGREE SIGN}") == 4


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


def test_lengths_to_tape_are_those_that_measure_wants():
    job = job_from_text(lot_text(8.4), "job.toml")
    pages = [page for page in sheets(job) if "Lengths to tape" in words([page])]
    text = words(pages)
    readings = readings_to_take(job)
    assert len(readings) > 20
    for reading in readings:
        assert " to ".join(map(str, reading.between)) in text
        assert Figures().metres(reading.length_m) in text
    texts = {text.text for page in pages for text in drawn(page).texts}
    assert {"1", "20"} <= texts


@pytest.mark.parametrize(("units", "system"), [("m", "m"), ("ft", "ft"), ("in", "ft")])
def test_sheets_are_in_one_system_that_of_the_job(units, system):
    text = lot_text(8.4)
    imperial = {"ft": 0.3048, "in": 0.0254}.get(units)
    if imperial:
        text = re.sub(r"(?<![\w.\"])(-?\d+(?:\.\d+)?)(?=[,\]])",
                      lambda each: f"{float(each[1]) / imperial:.6f}", text)  # fmt: skip
        text = re.sub(r"^(length|width|height) = ([\d.]+)",
                      lambda each: f"{each[1]} = {float(each[2]) / imperial:.6f}", text,
                      flags=re.MULTILINE)  # fmt: skip
        text = text.replace('units = "m"', f'units = "{units}"')
    said = words(setting_sheets(set_out(job_from_text(text, "job.toml")), A4, "3fa2c1"))
    metric, feet = re.search(r"\d\.\d{3} m\b", said), re.search(r"\d (?:ft|in)\b(?! 100)", said)
    assert (metric is not None, feet is not None) == (system == "m", system == "ft")


@pytest.mark.parametrize("system", ["m", "ft"])
@pytest.mark.parametrize("job", [lot(8.4), CARTONS], ids=["lot", "cartons"])
def test_nothing_overlaps_in_one_system(job, system):
    for number, page in enumerate(sheets(job, system=system), start=1):
        assert not clashes(page), f"sheet {number}"


def test_a_carton_can_be_put_down_as_planned():
    """Its size, its corner and where its long side ends; worked out by hand.

    The front carton of the sample: 0.46 m by 0.34 m, its long side 20 degrees from ahead, so its
    end is 0.46 (cos 20, sin 20) = (0.432, 0.157) m from the corner, which is nearest the camera.
    """
    setting = set_out(CARTONS)
    mark = CARTONS.mark("front_carton")
    outline = carton_corners_m(CARTONS, mark)
    np.testing.assert_allclose(outline[0], mark.at_m[:2])
    np.testing.assert_allclose(outline[1] - outline[0], [0.43226, 0.15733], atol=1e-5)
    away = np.hypot(*(outline - CARTONS.camera("front").position_m[:2]).T)
    assert np.argmin(away) == 0
    np.testing.assert_allclose(np.hypot(*(outline[3] - outline[0])), 0.34)
    said = words(setting_sheets(setting, A4, "3fa2c1"))
    assert "46 cm by 34 cm" in said
    assert "7.574 m ahead of the mid line; 0.669 m left of the centre line" in said


def test_levels_are_asked_for_unless_they_were_read():
    asked = "readings of a level"
    assert asked in words(sheets(lot(8.4)))
    read = '[[reading]]\nkind = "level"\non = "ground"\nalong = "ahead"\nangle_deg = 0.4\n'
    assert asked not in words(sheets(job_from_text(lot_text(8.4, extra=read), "job.toml")))
