"""Proves that a faulty job file ends in all of its faults, told clearly.

Proves: every kind of fault is met and all of them in one pass, and no text, however hostile, ends
in anything but a job or a clear refusal. Does not prove that the advice is what a person needs.
"""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.job_texts import JOB, faults_of
from vision.job.job_file import job_from_text, named_files
from vision.units.errors import BadInputError

FIELD, ASPECT = "field_of_view_deg = 187", "lens.wide.pixel_aspect"

CHANGES = [
    # (old, new, key of the fault, words in the message)
    ("length = 8.4", "lenght = 8.4", "vehicle.lenght", "did you mean `length`?"),
    ("length = 8.4", "", "vehicle.length", "found nothing"),
    ("length = 8.4", "length = true", "vehicle.length", "found true"),
    ("length = 8.4", "length = nan", "vehicle.length", "finite"),
    ("length = 8.4", "length = -inf", "vehicle.length", "finite"),
    ("length = 8.4", "length = 0", "vehicle.length", "above zero"),
    ("length = 8.4", 'length = "8,4 m"', "vehicle.length", "write `8.4 m`"),
    ("length = 8.4", 'length = "8.4 yd"', "vehicle.length", "a unit among"),
    ("length = 8.4", "length = [8.4]", "vehicle.length", "a length"),
    ("length = 8.4", "length = " + "9" * 400, "vehicle.length", "more than 20 digits"),
    ('units = "m"', 'units = "yd"', "job.units", "one of mm, cm, m, in, ft"),
    ('units = "m"', "", "job.units", "found nothing"),
    ('name = "Mobile library, depot yard"', "name = 3", "job.name", "found 3"),
    ('name = "Mobile library, depot yard"', 'name = " "', "job.name", "found ' '"),
    ("field_of_view_deg = 187", "field_of_view_deg = 250", "lens.wide.field_of_view_deg", "below"),
    ("field_of_view_deg = 187", "field_of_view_deg = 20", "lens.wide.field_of_view_deg", "above"),
    (FIELD, f"{FIELD}\npixel_aspect = 0.29", ASPECT, "from 0.3 to 3"),
    (FIELD, f"{FIELD}\npixel_aspect = true", ASPECT, "found true"),
    (FIELD, f'{FIELD}\npixel_aspect = "16:9"', ASPECT, "625 lines, 16:9"),
    (
        FIELD,
        f'{FIELD}\npixel_aspect = "625 line 16:9"',
        ASPECT,
        "did you mean `625 lines, 16:9`",
    ),
    ("field_of_view_deg = 187", "", "lens.wide.field_of_view_deg", "found neither"),
    ("field_of_view_deg = 187", 'field_of_view_deg = 187\nfile = "a"', "lens.wide", "found both"),
    ("field_of_view_deg = 187", 'file = "../a.json"', "lens.wide.file", "without a folder above"),
    ("field_of_view_deg = 187", 'file = "a.json"', "lens.wide.file", "no readable file"),
    ('lens = "wide"\nposition = [4', 'lens = "wode"\nposition = [4', "camera.front.lens",
     "did you mean `wide`?"),
    ('lens = "wide"\nposition = [4', "lens = 3\nposition = [4", "camera.front.lens", "found 3"),
    ('"front.jpg"', '"/front.jpg"', "camera.front.picture", "beside the job file"),
    ('"front.jpg"', '"fro\\u0000nt.jpg"', "camera.front.picture", "a file name"),
    ("[0, 1.3, 2.5]", "[0, 1.3, 0]", "camera.left.position", "z > 0"),
    ("[0, 1.3, 2.5]", "[0, 1.3]", "camera.left.position", "[x, y, z]"),
    ("[0, 1.3, 2.5]", '[0, 1.3, "x"]', "camera.left.position[2]", "a length such as"),
    ('position_sigma = "2 cm"', "position_sigma = -1", "camera.front.position_sigma", "above zero"),
    ('position_sigma = "2 cm"', "position_sigma = 0", "camera.front.position_sigma", "above zero"),
    ("tilt_deg = 45.5", "tilt_deg = 91", "camera.left.tilt_deg", "from -90 to 90"),
    ("tilt_deg = 45.5", "tilt_deg = nan", "camera.left.tilt_deg", "found nan"),
    ("tilt_deg = 45.5", 'tilt_deg = "45"', "camera.left.tilt_deg", "found '45'"),
    ("tilt_deg = 45.5", "tilt = 45.5", "camera.left.tilt", "did you mean `tilt_deg`?"),
    ("mirrored = true", "mirrored = 1", "camera.left.mirrored", "true or false"),
    ("[camera.left]", '[camera."le/ft"]', "camera.'le/ft'", "break ids"),
    ("[camera.left]", '[camera."le\\u0007ft"]', "camera.'le\\x07ft'", "break ids"),
    ("to = [5.1, 1.45]", "to = [-5.1, 1.45]", "strip.left.to", "another place"),
    ("count = 18", "count = 0", "strip.left.count", "whole number"),
    ("count = 18", "count = 18.0", "strip.left.count", "whole number"),
    ("count = 18", "count = 1000000000000", "strip.left.count", "to 1000"),
    ("count = 18", "", "strip.left.count", "neither"),
    ("count = 18", "count = 18\nat = [0, 1]", "strip.left.count", "both"),
    ("at = [0, 1,", "at = [0.1, 1,", "strip.front.at[0]", "0: the first mark"),
    ("at = [0, 1,", "at = [0, 2,", "strip.front.at[2]", "increase"),
    ("4.005]", "4.02]", "strip.front.at[4]", "within 1 cm"),
    ("4.005]", "[4]]", "strip.front.at[4]", "a length"),
    ('mark = "cross"', 'mark = "corss"', "strip.left.mark", "did you mean `cross`?"),
    ('mark = "cross"', 'mark = "box_corner"', "strip.left.mark", "one of cross, quadrant, board"),
    ('line = "3 cm"', "", "strip.left.line", "found nothing"),
    ('line = "3 cm"', 'line = "3 cm"\nradius = "6 cm"', "strip.left.radius", "unknown key"),
    ('line = "3 cm"', 'line = "13 cm"', "strip.left.line", "thinner"),
    ('arm = ["18 cm", "6 cm"]', 'arm = ["18 cm", "-6 cm"]', "strip.left.arm", "above zero"),
    ('arm = ["18 cm", "6 cm"]', 'arm = ["18 cm"]', "strip.left.arm", "[along, across]"),
    ("corners = [4, 3]", "corners = [4, 4]", "strip.front.corners", "one odd and one even"),
    ("corners = [4, 3]", "corners = [true, 4]", "strip.front.corners", "one odd and one even"),
    ('ink = "light"', 'ink = "white"', "strip.front.ink", "one of dark, light"),
    ('mark_sigma = "1 mm"', "mark_sigma = 0", "strip.front.mark_sigma", "above zero"),
    ("at = [6.0, 0.9, 0.75]", "at = [6.0, 0.9, -0.1]", "mark.trestle.at", "0 or more"),
    ("at = [6.4, 0.5, 0.75]", "at = [6.4, 0.5]", "mark.carton.at", "a carton's top"),
    ("size = [0.46, 0.34]", "size = [0.34, 0.46]", "mark.carton.size", "swap"),
    ('kind = "quadrant"', 'kind = "board"', "mark.trestle.kind", "one of"),
    ('["front", "left"]', '["front", "rear"]', "seam.front_left.between", "two cameras"),
    ('["front", "left"]', '["front", "front"]', "seam.front_left.between", "two cameras"),
    ('value = "12 ft 3 5/8 in"', "value = nan", "reading[0].value", "finite"),
    ('value = "12 ft 3 5/8 in"', "value = 0", "reading[0].value", "above zero"),
    ('kind = "distance"', 'kind = "distanse"', "reading[0].kind", "did you mean `distance`?"),
    ('kind = "distance"', "", "reading[0].kind", "found nothing"),
    ('"left/17"', '"left/18"', "reading[0].between[0]", "a mark such as"),
    ('"left/17"', '"front/4"', "reading[0].between", "two places"),
    ('["left/17", "front/4"]', '"left/17"', "reading[0].between", "two places"),
    ('["left/17", "front/4"]', '["left/17", 3]', "reading[0].between[1]", "found 3"),
    ('"trestle"]', '"tressle"]', "reading[1].between[1]", "did you mean `trestle`?"),
    ('tape = "yellow"', 'tape = ""', "reading[1].tape", "the tape's name"),
    ('of = "left"', 'of = "flat"', "reading[2].of", "one side of the centre line"),
    ('of = "left"', 'of = ["left"]', "reading[2].of", "a mark such as"),
    ('tape_class = "III"', 'tape_class = "III"\ntape = "yellow"', "reading[2].tape_class",
     "one class for each tape"),
    ('tape_class = "III"', 'tape_class = "III"\nsigma = "2 mm"', "reading[2].sigma", "both"),
    ('tape_class = "III"', "tape_class = 3", "reading[2].tape_class", "one of I, II, III"),
    ("tilt_deg = 45.3", "tilt_deg = 145.3", "reading[3].tilt_deg", "from -90 to 90"),
    ('against = "gravity"', "", "reading[3].against", "one of gravity, ground"),
    ('against = "gravity"', 'against = "gravity"\nsigma = 1', "reading[3].sigma", "sigma_deg"),
    ("tilt_deg = 44\n", "", "reading[4]", "neither tilt_deg nor roll_deg"),
    ('camera = "left"', 'camera = "lefft"', "reading[4].camera", "did you mean `left`?"),
    ('tool = "speed square"', 'tool = "square"', "reading[4].tool", "speed square"),
    ('strip = "2 cm"', "strip = 0", "tolerance.strip", "above zero"),
    ("aim_deg = 4", "aim_deg = -4", "tolerance.aim_deg", "above 0"),
    ("aim_deg = 4", "blur_px = inf", "tolerance.blur_px", "found inf"),
    ("[tolerance]", "[tolerances]", "tolerances", "did you mean `tolerance`?"),
    ("[vehicle]", "[vehicel]", "vehicel", "did you mean `vehicle`?"),
]  # fmt: skip


LEVEL = 'kind = "level"\non = "floor"\nalong = "left"\npercent = -1.3\n'
OF_LEVELS = [
    # (old, new, key of the fault, words in the message)
    ('on = "floor"', 'on = "roof"', "reading[0].on", "one of ground, floor"),
    ('along = "left"', 'along = "right"', "reading[0].along", "one of ahead, left"),
    ("percent = -1.3", "", "reading[0]", "no angle_deg or percent"),
    ("percent = -1.3", "percent = 1\nangle_deg = 1", "reading[0]", "both angle_deg and percent"),
    ("percent = -1.3", "angle_deg = 20", "reading[0].angle_deg", "from -15 to 15"),
    ("percent = -1.3", "percent = 1\nsigma_deg = 0", "reading[0].sigma_deg", "above 0"),
    ("percent = -1.3", "percent = 1\ntilt_deg = 0", "reading[0].tilt_deg", "an unknown key"),
]


@pytest.mark.parametrize(("old", "new", "key", "words"), OF_LEVELS)
def test_each_fault_of_a_level_is_named(old: str, new: str, key: str, words: str) -> None:
    job = JOB[: JOB.index("[[reading]]")] + "[[reading]]\n" + LEVEL
    job_from_text(job, "job.toml")
    faults = {fault.key: str(fault) for fault in faults_of(job.replace(old, new, 1))}
    assert words in faults[key]


@pytest.mark.parametrize(("old", "new", "key", "words"), CHANGES)
def test_each_fault_is_named(old: str, new: str, key: str, words: str) -> None:
    assert old in JOB
    faults = {fault.key: fault for fault in faults_of(JOB.replace(old, new, 1))}
    assert words in str(faults[key])
    where = "" if faults[key].line is None else f", line {faults[key].line}"
    assert str(faults[key]).startswith(f"job.toml{where}: {key}: found ")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("length = 8.4", "length = 8,4", "write `length = 8.4`: a point, not a comma"),
        ("length = 8.4", "length = 8.4 m # long", 'write `length = "8.4 m"`: a length with'),
        ("length = 8.4", "length = 27' 6\"", r'''write `length = "27' 6\""`'''),
        ("length = 8.4", "length = 8.4.2", "correct it at that place"),
    ],
)  # fmt: skip
def test_usual_slips_of_what_is_not_toml_are_told(old: str, new: str, words: str) -> None:
    assert old in JOB
    (fault,) = faults_of(JOB.replace(old, new, 1))
    assert words in str(fault)


def test_a_single_slip_is_a_single_fault() -> None:
    assert len(faults_of(JOB.replace('mark = "cross"', 'mark = "corss"'))) == 1
    assert len(faults_of(JOB.replace('units = "m"', 'units = "yd"'))) == 1
    assert len(faults_of(JOB.replace('units = "m"', ""))) == 1


def test_all_faults_at_once() -> None:
    text = JOB
    for old, new in (
        ("count = 18", "count = 0"),
        ("roll_deg = -1", "roll_deg = true"),
        ("8.4", "nan"),
    ):
        text = text.replace(old, new)
    keys = [fault.key for fault in faults_of(text)]
    assert keys == ["vehicle.length", "camera.left.roll_deg", "strip.left.count"]


def test_the_same_seam_twice() -> None:
    again = '[seam.other]\nbetween = ["left", "front"]\nfrom = [1, 1]\nto = [2, 2]\n'
    assert [fault.key for fault in faults_of(JOB + again)] == ["seam.other.between"]


@pytest.mark.parametrize(
    ("key", "old", "new"),
    [
        ("length", "length = 8.4", "length = 8400"),
        ("width", 'width = "230 cm"', 'width = "2.3 mm"'),
        ("width", 'width = "230 cm"', 'width = "2300 m"'),
    ],
)
def test_a_body_no_road_carries_is_a_slip_of_the_unit(key: str, old: str, new: str) -> None:
    (fault,) = faults_of(JOB.replace(old, new, 1))
    assert fault.key == f"vehicle.{key}"
    assert fault.code == "out-of-range"


def test_a_camera_that_looks_straight_down_has_no_roll_to_read() -> None:
    (fault,) = faults_of(JOB.replace("tilt_deg = 45\n", "tilt_deg = 90\n"))
    assert fault.key == "reading[3].roll_deg"
    assert fault.code == "roll-undefined"


def test_an_empty_file_names_all_that_is_missing() -> None:
    keys = {fault.key for fault in faults_of("")}
    assert keys >= {"job", "vehicle", "camera", "strip"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a = ", "not TOML"),
        ("a = 1\na = 2", "not TOML"),
        (JOB + "[job]\n", "not TOML"),
        ("a = " + "[" * 100_000, "nested too deeply"),
        ("a = " + "{a=" * 100_000, "nested too deeply"),
        ("a = " + "9" * 10_000, "not TOML"),
        (b"\xff\xd8\xff\xe0\0\x10JFIF", "binary data"),
        (b"a = '\0'", "binary data"),
        ("a = '\0'", "not TOML"),
        (b"a = 1\nb = '\xe9'", "line 2"),
        ("#" * 1_000_001, "1.0 MB"),
        ("\ud800", "found"),
    ],
)
def test_what_is_no_job_file(text: str | bytes, words: str) -> None:
    assert words in str(faults_of(text)[0])
    named_files(text)


@pytest.mark.parametrize(
    "section", ["job", "vehicle", "lens", "camera", "strip", "mark", "seam", "reading", "tolerance"]
)
@pytest.mark.parametrize("value", ["3", "'x'", "[]", "[1]", "{a = 1}", "{a = {}}", "true", "nan"])
def test_sections_of_the_wrong_type(section: str, value: str) -> None:
    if (section, value) != ("reading", "[]"):
        keys = [fault.key for fault in faults_of(f"{section} = {value}\n")]
        assert any(key.split(".")[0] == section for key in keys)


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4),
    max_leaves=6,
)


@given(
    line=st.integers(0, JOB.count("\n")),
    value=VALUES,
)
def test_any_value_anywhere_is_a_job_or_a_clear_refusal(line: int, value: object) -> None:
    lines = JOB.split("\n")
    key, equals, _ = lines[line].partition("=")
    if equals:
        lines[line] = (
            key + "= " + json.dumps(value).replace("NaN", "nan").replace("Infinity", "inf")
        )
    text = "\n".join(lines)
    try:
        job = job_from_text(text, "job.toml")
    except BadInputError:
        # Refused: every fault has to say what and what next.
        assert faults_of(text)
    else:
        assert job.cameras


@given(data=st.binary(max_size=200))
def test_any_bytes_are_refused_clearly(data: bytes) -> None:
    assert faults_of(data)
