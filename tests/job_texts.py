"""A job file that uses every key, a lens file beside it, and what is refused of others."""

from __future__ import annotations

import re

import pytest

from vision.job.job_file import job_from_text
from vision.units.errors import BadInputError, Fault

JOB = """
[job]
name = "Mobile library, depot yard"
units = "m"

[vehicle]
length = 8.4
width = "230 cm"

[lens.wide]
field_of_view_deg = 187

[camera.front]
picture = "front.jpg"
lens = "wide"
position = [4.22, 0, "8 ft 1/2 in"]
position_sigma = "2 cm"
pan_deg = 0
tilt_deg = 45
roll_deg = 0

[camera.left]
picture = "left_*.jpg"
lens = "wide"
position = [0, 1.3, 2.5]
pan_deg = 90
tilt_deg = 45.5
roll_deg = -1
mirrored = true

[strip.left]
from = [-5.1, 1.45]
to = [5.1, 1.45]
count = 18
mark = "cross"
arm = ["18 cm", "6 cm"]
line = "3 cm"
tape_width = "15 cm"

[strip.front]
from = [6, -2]
to = [6, 2]
at = [0, 1, 2, 3, 4.005]
mark = "board"
square = "6 cm"
corners = [4, 3]
tape_width = "15 cm"
ink = "light"
mark_sigma = "1 mm"

[mark.trestle]
at = [6.0, 0.9, 0.75]
kind = "quadrant"
radius = "6 cm"

[mark.carton]
at = [6.4, 0.5, 0.75]
kind = "box_corner"
size = [0.46, 0.34]
turn_deg = 20

[mark.flat]
at = [7, 0]
kind = "cross"
arm = "10 cm"
line = "2 cm"

[seam.front_left]
between = ["front", "left"]
from = [4.2, 1.15]
to = [7.0, 4.0]

[[reading]]
kind = "distance"
between = ["left/17", "front/4"]
value = "12 ft 3 5/8 in"
sigma = "3 mm"

[[reading]]
kind = "diagonal"
between = ["left/0", "trestle"]
value = 11.12
tape = "yellow"

[[reading]]
kind = "offset"
of = "left"
value = 1.3
tape_class = "III"

[[reading]]
kind = "angle"
camera = "front"
tilt_deg = 45.3
roll_deg = -0.2
against = "gravity"

[[reading]]
kind = "angle"
camera = "left"
tilt_deg = 44
against = "ground"
tool = "speed square"

[tolerance]
strip = "2 cm"
aim_deg = 4
"""

LENS = {
    "schema": "seamtrue.lens/1",
    "model": "kannala-brandt",
    "width": 1280,
    "height": 720,
    "fx": 330.0,
    "fy": 331.0,
    "cx": 640.0,
    "cy": 360.0,
    "k": [0.01, -0.002, 0, 0],
}
BY_FILE = JOB.replace("field_of_view_deg = 187", 'file = "wide.lens.json"')


def faults_of(text: str | bytes, lenses: dict[str, bytes | None] | None = None) -> list[Fault]:
    with pytest.raises(BadInputError) as caught:
        job_from_text(text, "job.toml", lenses)
    for fault in caught.value.faults:
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", fault.code)
        assert fault.file
        assert fault.found
        assert fault.expected
        assert fault.next_step
    return list(caught.value.faults)
