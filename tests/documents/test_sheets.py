"""Proves that the sheets for the lot say all that is needed to lay it out.

Every caution on the first sheet and the short one on the others; every mark's running distance;
cartons, cameras, lengths to tape and levels; one system of units, the job's own.

Does not prove: that a person with cold fingers finds them good; nor that nothing overlaps:
`test_sheet_layout`.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pypdfium2
import pytest

from tests.documents.printed_sheets import CARTONS, CAUTIONS, SHORT, sheets, titled, words
from tests.drawn import drawn
from tests.lots import lot, lot_text
from vision.documents.cautions import LAW_FIRST
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.paper import A4, LETTER
from vision.documents.sheets.printed import pdf_bytes
from vision.documents.sheets.setting_sheets import setting_sheets
from vision.job.job import VehicleState
from vision.job.job_file import job_from_text
from vision.planning.setting_out.readings import readings_to_take
from vision.planning.setting_out.set_out import set_out
from vision.planning.setting_out.supplies import carton_corners_m


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
