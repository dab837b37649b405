"""Proves that a usual slip in a job file is one message, with its line and its cure.

Each slip is one that people make who write such a file for the first time, or on a phone; common
practice, no source. Does not prove: that there are no others.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.job_texts import JOB as EVERY_KEY
from vision.files.disk import read_inspection_input
from vision.job.job_file import job_from_text
from vision.units.errors import BadInputError, Fault
from vision.units.toml_places import key_lines
from vision.units.toml_slips import slips_in

JOB = """\
[job]
name = "Mobile library, depot yard"
units = "m"

[vehicle]
length = 8.4
width = 2.3

[lens.wide]
field_of_view_deg = 187

[camera.front]
picture = "front.jpg"
lens = "wide"
position = [4.22, 0, 2.45]
tilt_deg = 45

[camera.left]
lens = "wide"
position = [0, 1.25, 2.45]
pan_deg = 90
mirrored = false

[strip.front]
from = [5.4, -2.4]
to = [5.4, 2.4]
count = 9
mark = "cross"
arm = ["12 cm", "8 cm"]
line = "25 mm"
tape_width = "18 cm"

[[reading]]
kind = "distance"
between = ["front/0", "front/8"]
value = 4.8

[tolerance]
seam_gap = "5 cm"
"""

PLACE, NAME = "position = [4.22, 0, 2.45]", 'name = "Mobile library, depot yard"'
SLIPS = [
    # (as it should stand, as it was typed, what the cure says)
    # --- quotes, points and signs
    ("length = 8.4", "length = 8,4", "write `length = 8.4`: a point, not a comma"),
    ("length = 8.4", "length = 8.4 m", 'write `length = "8.4 m"`: a length with its unit'),
    ("length = 8.4", "length = 27' 6\"", r'write `length = "27' + r"' 6\""),
    ("length = 8.4", "length = \"27' 6\"\"", r'write `length = "27' + r"' 6\""),
    ("length = 8.4", "length 8.4", "write `length = 8.4`"),
    ("length = 8.4", "length: 8.4", "write `length = 8.4`"),
    ("length = 8.4", "length = 8.4,", "write `length = 8.4`"),
    ("length = 8.4", "length = ", "write what it is"),
    ('"18 cm"', '"18 cms"', "did you mean `cm`?"),
    ('"18 cm"', '"18,5 cm"', "write `18.5 cm`"),
    ('seam_gap = "5 cm"', "seam_gap = 5 cm", 'write `seam_gap = "5 cm"`'),
    ('seam_gap = "5 cm"', "seam_gap = '5 cm\"", 'write `seam_gap = "5 cm"`'),
    (NAME, NAME[:-1], f"write `{NAME}`"),
    (NAME, "name = Mobile library", 'write `name = "Mobile library"`: words stand in quotes'),
    (NAME, "name = \u201cMobile library\u201d", 'write `name = "Mobile library"`: quotes stand'),
    ('mark = "cross"', "mark = cross", 'write `mark = "cross"`: words stand in quotes'),
    ('units = "m"', "units = m", 'write `units = "m"`: words stand in quotes'),
    ('"front.jpg"', "front.jpg", 'write `picture = "front.jpg"`'),
    ('"front.jpg"', '"C:\\pics\\front.jpg"', "folders are parted by /"),
    ("mirrored = false", "mirrored = False", "write `mirrored = false`"),
    ("mirrored = false", "mirrored = no", "write `mirrored = false`"),
    ("mirrored = false", 'mirrored = "false"', "without quotes"),
    ("tilt_deg = 45", "tilt_deg = 45\u00b0", "write `tilt_deg = 45`: degrees are a plain number"),
    ("tilt_deg = 45", "tilt_deg = 45 degrees", "write `tilt_deg = 45`"),
    ("tilt_deg = 45", 'tilt_deg = "45"', "write `tilt_deg = 45`: a number without quotes"),
    ("tilt_deg = 45", "tilt_deg = 44,5", "write `tilt_deg = 44.5`"),
    ("tilt_deg = 45", "tilt_deg == 45", "write `tilt_deg = 45`"),
    ("tilt_deg = 45", "tilt_deg = 45;", "write `tilt_deg = 45`"),
    ("count = 9", "count = 09", "write `count = 9`"),
    ("count = 9", "count = 9.0", "write `count = 9`: without a decimal point"),
    ("count = 9", 'count = "9"', "write `count = 9`: a number without quotes"),
    ("[tolerance]", "// what we accept\n[tolerance]", "write `# what we accept`"),
    ("[tolerance]", "-- what we accept\n[tolerance]", "write `# what we accept`"),
    # --- brackets
    ("[camera.front]", "[camera.front", "write `[camera.front]`"),
    ("[camera.front]", "camera.front]", "write `[camera.front]`"),
    ("[camera.front]", "[camera front]", "write `[camera.front]`"),
    ("[camera.front]", "[camera]", "give it a name: [camera.front]"),
    ("[camera.front]", "[front]", "as in [camera.front]"),
    ("[[reading]]", "[reading]", "two pairs of brackets"),
    (PLACE, "position = [4.22, 0, 2.45", f"write `{PLACE}`"),
    (PLACE, "position = [4.22 0 2.45]", f"write `{PLACE}`"),
    (PLACE, "position = 4.22, 0, 2.45", f"write `{PLACE}`"),
    (PLACE, "position = (4.22, 0, 2.45)", f"write `{PLACE}`"),
    (PLACE, 'position = "4.22, 0, 2.45"', f"write `{PLACE}`"),
    (PLACE, "position = [13 ft 10 in, 0, 2.45]", 'write `position = ["13 ft 10 in", 0, 2.45]`'),
    (PLACE, "position = [4,22, 0, 2,45]", "a point, not a comma, before decimals"),
    (PLACE, "position = [4.22, 2.45]", "add the third"),
    # --- names
    ("tilt_deg = 45", "tilt = 45", "did you mean `tilt_deg`?"),
    ("tilt_deg = 45", "tilt deg = 45", "write `tilt_deg = 45`"),
    ("length = 8.4", "lenght = 8.4", "did you mean `length`"),
    ("length = 8.4", "Length = 8.4", "did you mean `length`"),
    ("to = [5.4, 2.4]", "too = [5.4, 2.4]", "did you mean `to`"),
    ("count = 9", "counts = 9", "did you mean `count`"),
    ("field_of_view_deg = 187", "fov = 187", "did you mean `field_of_view_deg`"),
    ("[vehicle]", "[Vehicle]", "did you mean `vehicle`?"),
    ("[lens.wide]", "[lense.wide]", "did you mean `lens`?"),
    ("[strip.front]", "[stripe.front]", "did you mean `strip`?"),
    ("[camera.front]", "[camra.front]", "did you mean `camera`?"),
    ('mark = "cross"', 'mark = "corss"', "did you mean `cross`?"),
    ('lens = "wide"\nposition = [4', 'lens = "wid"\nposition = [4', "did you mean `wide`?"),
    ('"front/8"', '"front/9"', "did you mean `front/8`?"),
    ('"front/8"', '"font/8"', "did you mean `front/8`?"),
    ('units = "m"', 'units = "metres"', "did you mean `m`?"),
    # --- left out, or there twice
    ("to = [5.4, 2.4]\n", "", "add `to`"),
    ('units = "m"\n', "", "which unit bare lengths"),
    ("count = 9", "count = 9\nat = [0, 4.8]", "keep one of them"),
    # --- what reads well and cannot be
    ("length = 8.4", "length = 840", 'did you mean "840 cm"?'),
    ('tape_width = "18 cm"', "tape_width = 18", 'did you mean "18 cm"?'),
    (PLACE, "position = [4.22, 0, 245]", 'did you mean "245 cm"?'),
    (PLACE, "position = [-4.22, 0, 2.45]", "x = 4.22 m"),
    ("pan_deg = 90", "pan_deg = -90", "did you mean `pan_deg = 90`?"),
    ("tilt_deg = 45", "tilt_deg = -45", "did you mean `tilt_deg = 45`?"),
]  # fmt: skip


def faults_of(text: str) -> tuple[Fault, ...]:
    with pytest.raises(BadInputError) as caught:
        job_from_text(text, "job.toml")
    return caught.value.faults


def test_there_are_enough_of_them_and_the_job_is_one() -> None:
    assert len(SLIPS) >= 25
    assert job_from_text(JOB, "job.toml").name


@pytest.mark.parametrize(("stands", "typed", "cure"), SLIPS)
def test_a_slip_is_one_message_with_its_line_and_its_cure(
    stands: str, typed: str, cure: str
) -> None:
    assert stands in JOB
    (fault,) = faults_of(JOB.replace(stands, typed, 1))
    line = JOB[: JOB.index(stands)].count("\n") + 1
    if not typed:
        # What is not there is told of the table that it belongs to.
        line = JOB[: JOB.rindex("\n[", 0, JOB.index(stands))].count("\n") + 2 if line > 5 else 1
    assert fault.line == line
    assert f"job.toml, line {line}: " in str(fault)
    assert cure in fault.next_step


def test_what_stands_twice_is_told_with_both_lines() -> None:
    (table,) = faults_of(JOB.replace("[camera.left]", "[camera.front]"))
    assert table.line == 18
    assert "line 12 too" in table.next_step
    (key,) = faults_of(JOB + 'seam_gap = "6 cm"\n')
    assert key.line == JOB.count("\n") + 1
    assert f"line {JOB.count(chr(10))} too" in key.next_step


def test_slips_that_are_no_toml_are_told_at_once() -> None:
    text = JOB.replace("length = 8.4", "length = 8,4").replace('units = "m"', "units = m")
    text = text.replace("[camera.left]", "[camera.left")
    assert [fault.line for fault in faults_of(text)] == [3, 6, 18]


def test_a_slip_without_a_cure_is_told_by_its_place() -> None:
    (fault,) = faults_of(JOB.replace("length = 8.4", "length = 8.4.2"))
    assert (fault.line, fault.next_step) == (6, "correct it at that place")


def test_a_picture_s_name_in_another_case_is_told_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(
        JOB.replace("[camera.left]", "[camera.left]\npicture = 'x.jpg'")
    )
    (tmp_path / "Front.JPG").write_bytes(b"")
    with pytest.raises(BadInputError) as caught:
        read_inspection_input(tmp_path / "job.toml")
    said = {fault.key: fault for fault in caught.value.faults}
    fault = said["camera.front.picture"]
    assert (fault.file, fault.line) == ("job.toml", 13)
    assert "`Front.JPG`" in fault.next_step


def test_lines_of_keys() -> None:
    text = (
        '# a\n[job]\nname = "a [b" # ]\n\n[strip.a]\nat = [0,\n 1, # ]\n 2]\ncount = 3\n'
        '[[reading]]\nvalue = """\n[x]\n"""\nsigma = 1\n[[reading]]\nvalue = 2\n[mark."b c"]\n'
    )
    assert tomllib.loads(text)
    lines = key_lines(text)
    assert lines["job.name"] == 3
    assert (lines["strip"], lines["strip.a"], lines["strip.a.count"]) == (5, 5, 9)
    assert (lines["reading[0].value"], lines["reading[0].sigma"]) == (11, 14)
    assert (lines["reading"], lines["reading[1].value"], lines["mark.b c"]) == (10, 16, 17)
    assert "x" not in lines


@given(st.lists(st.sampled_from(EVERY_KEY.split("\n")) | st.text(max_size=12), max_size=12))
def test_any_text_is_toml_or_has_slips_with_lines(lines: list[str]) -> None:
    text = "\n".join(lines)
    slips = slips_in(text)
    try:
        tomllib.loads(text)
    except ValueError:
        assert slips
        assert all(1 <= slip.line <= text.count("\n") + 1 for slip in slips)
    else:
        assert slips == ()
    key_lines(text)
