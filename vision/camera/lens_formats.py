"""Lens files in three forms: our JSON, OpenCV's YAML and ROS camera_info YAML. No disk access.

OpenCV's form is what its FileStorage writes, with the four numbers of its `fisheye` module; ROS's
is `camera_info` with the distortion model `equidistant`, which is the same polynomial. Both state
no covariance. Whole numbers are pixel centres in all three.

A point stands in every number that is written: YAML readers disagree on `1e-05`, which some take
for text.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from vision.camera.lens import PARAMETERS, Lens
from vision.camera.lens_file import (
    LARGEST_LENS_BYTES,
    LARGEST_SIDE_PX,
    LENS_MODEL,
    LENS_SCHEMA,
    lens_from_text,
)
from vision.camera.stated_lens import StatedLens
from vision.units.arrays import Array
from vision.units.errors import Fault, fault_of
from vision.units.plain import json_text

if TYPE_CHECKING:
    from vision.camera.lens_yaml import Value

FORMATS = ("seamtrue", "opencv", "ros")
STEP = "write it again, or give the lens as JSON from `seamtrue lens`"
ROS_MODEL = "equidistant"


def lens_json(lens: Lens, covariance: Array | None = None) -> str:
    """Write our own form, with `sigma` and `covariance` where there is one."""
    values: dict[str, object] = {
        "schema": LENS_SCHEMA,
        "model": LENS_MODEL,
        "width": lens.width,
        "height": lens.height,
        **dict(zip(PARAMETERS[:4], lens.as_vector()[:4].tolist(), strict=True)),
        "k": lens.k.tolist(),
    }
    if covariance is not None:
        sigma = np.sqrt(np.diag(covariance))
        values["sigma"] = {
            **dict(zip(PARAMETERS[:4], sigma[:4].tolist(), strict=True)),
            "k": sigma[4:].tolist(),
        }
        values["covariance"] = np.asarray(covariance).tolist()
    return json_text(values)


def lens_opencv(lens: Lens) -> str:
    """Write OpenCV's YAML, as FileStorage reads it: camera_matrix, distortion_coefficients."""
    from vision.camera.lens_yaml import OpencvMatrix, yaml_text

    values = {
        "image_width": lens.width,
        "image_height": lens.height,
        "fisheye_model": 1,
        "camera_matrix": OpencvMatrix(rows=3, cols=3, dt="d", data=_camera_matrix(lens)),
        "distortion_coefficients": OpencvMatrix(rows=4, cols=1, dt="d", data=lens.k.tolist()),
    }
    return "%YAML:1.0\n---\n" + yaml_text(values)


def lens_ros(lens: Lens, name: str = "camera") -> str:
    """Write ROS camera_info YAML with the distortion model 'equidistant'."""
    from vision.camera.lens_yaml import yaml_text

    camera = _camera_matrix(lens)
    projection = np.insert(np.reshape(camera, (3, 3)), 3, 0.0, axis=1).ravel().tolist()
    identity = np.eye(3).ravel().tolist()
    values = {
        "image_width": lens.width,
        "image_height": lens.height,
        "camera_name": re.sub(r"[^A-Za-z0-9_]", "_", name) or "camera",
        "camera_matrix": {"rows": 3, "cols": 3, "data": camera},
        "distortion_model": ROS_MODEL,
        "distortion_coefficients": {"rows": 1, "cols": 4, "data": lens.k.tolist()},
        "rectification_matrix": {"rows": 3, "cols": 3, "data": identity},
        "projection_matrix": {"rows": 3, "cols": 4, "data": projection},
    }
    return yaml_text(values)


def read_lens(text: bytes, file: str, name: str, faults: list[Fault]) -> StatedLens | None:
    """Read a lens in any of the three forms, told by its contents; None after adding `faults`."""
    start = text[:4096].removeprefix(b"\xef\xbb\xbf").lstrip()
    yaml = start.startswith((b"%YAML", b"---", b"#")) or re.search(
        rb"(?m)^(image_width|camera_matrix|distortion_model)\s*:", start
    )
    if not yaml or len(text) > LARGEST_LENS_BYTES:
        return lens_from_text(text, file, name, faults)
    from vision.camera.lens_yaml import YamlError, yaml_values

    try:
        values = yaml_values(text)
    except YamlError as error:
        expected = "OpenCV or ROS camera_info YAML"
        faults.append(fault_of("not-a-lens", file, str(error), expected, STEP))
        return None
    lens = _from_values(values, file, faults)
    return None if lens is None else StatedLens(name=name, fitted=lens)


def _camera_matrix(lens: Lens) -> list[float]:
    rows = [lens.fx, 0, lens.cx, 0, lens.fy, lens.cy, 0, 0, 1]
    return [float(each) for each in rows]


def _from_values(values: Mapping[str, Value], file: str, faults: list[Fault]) -> Lens | None:
    """Lens of a YAML file's values; every fault is noted before giving up."""
    before = len(faults)

    def fault(code: str, key: str, expected: str) -> None:
        found = "nothing" if key not in values else _shown(values[key])
        faults.append(fault_of(code, file, found, expected, STEP, key=key))

    size = []
    for key in ("image_width", "image_height"):
        side = _figure(values.get(key))
        size.append(int(side) if side.is_integer() and 1 <= side <= LARGEST_SIDE_PX else 0)
        if not size[-1]:
            fault("wrong-width", key, f"a whole number from 1 to {LARGEST_SIDE_PX}")
    key = "distortion_model" if "distortion_model" in values else "fisheye_model"
    if key not in values:
        fault("lens-model", key, "fisheye_model: 1 (OpenCV) or distortion_model: equidistant (ROS)")
    elif values[key] not in (ROS_MODEL, "fisheye") and _figure(values[key]) != 1:
        fault("lens-model", key, f"{ROS_MODEL}: other lens models are not read")
    camera = _matrix(values.get("camera_matrix"), 9)
    right = camera is not None and camera[0] > 0 and camera[4] > 0 and camera[8] == 1
    if not right or camera is None or np.any(camera[[1, 3, 6, 7]] != 0):
        fault(
            "wrong-matrix", "camera_matrix", "nine numbers fx 0 cx 0 fy cy 0 0 1, fx and fy above 0"
        )
    k = _matrix(values.get("distortion_coefficients"), 4)
    if k is None:
        fault("wrong-numbers", "distortion_coefficients", "four numbers")
    if len(faults) > before or camera is None or k is None:
        return None
    fx, cx, fy, cy = (float(camera[index]) for index in (0, 2, 4, 5))
    return Lens(width=size[0], height=size[1], fx=fx, fy=fy, cx=cx, cy=cy, k=k)


def _figure(value: Value | None) -> float:
    """A number of a file; NaN where it is none."""
    try:
        return float(value) if isinstance(value, str) else math.nan
    except ValueError:
        return math.nan


def _shown(value: Value) -> str:
    if isinstance(value, str):
        return value if math.isfinite(_figure(value)) else repr(value[:40])
    data = value.get("data") if isinstance(value, Mapping) else value
    return f"{len(data)} numbers" if isinstance(data, list) else "something else"


def _matrix(value: Value | None, count: int) -> Array | None:
    data = value.get("data") if isinstance(value, Mapping) else value
    if not isinstance(data, list) or len(data) != count:
        return None
    array = np.array(data, dtype=np.float64)
    return array if np.isfinite(array).all() and (np.abs(array) < 1e6).all() else None
