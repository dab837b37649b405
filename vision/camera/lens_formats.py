"""Lens files in three forms: our JSON, OpenCV's YAML and ROS camera_info YAML. No disk access.

OpenCV's form is what its FileStorage writes, with the four numbers of its `fisheye` module; ROS's
is `camera_info` with the distortion model `equidistant`, which is the same polynomial. Both state
no covariance. Whole numbers are pixel centres in all three.

Only as much YAML is read as such files use: keys, one level of tables, numbers, names and lists of
numbers. A YAML library would bring tags, anchors and objects, which a lens file has no use for.
"""

from __future__ import annotations

import json
import re

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
from vision.units.errors import Fault

FORMATS = ("seamtrue", "opencv", "ros")
STEP = "write it again, or give the lens as JSON from `seamtrue lens`"
ROS_MODEL = "equidistant"

Value = float | str | list[float] | dict[str, object]

_ENTRY = re.compile(r"(?P<indent> *)(?P<key>[A-Za-z_][\w ]*?)\s*:(?:\s+(?P<rest>.*))?")


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
    return json.dumps(values, indent=1, allow_nan=False) + "\n"


def lens_opencv(lens: Lens) -> str:
    """Write OpenCV's YAML, as FileStorage reads it: camera_matrix, distortion_coefficients."""
    camera = [lens.fx, 0.0, lens.cx, 0.0, lens.fy, lens.cy, 0.0, 0.0, 1.0]
    lines = ["%YAML:1.0", "---"]
    lines += [f"image_width: {lens.width}", f"image_height: {lens.height}"]
    lines += ["fisheye_model: 1"]
    for name, rows, columns, data in (
        ("camera_matrix", 3, 3, camera),
        ("distortion_coefficients", 4, 1, lens.k.tolist()),
    ):
        lines += [f"{name}: !!opencv-matrix", f"   rows: {rows}", f"   cols: {columns}"]
        lines += ["   dt: d", f"   data: [ {_numbers(data)} ]"]
    return "\n".join(lines) + "\n"


def lens_ros(lens: Lens, name: str = "camera") -> str:
    """Write ROS camera_info YAML with the distortion model 'equidistant'."""
    camera = [lens.fx, 0.0, lens.cx, 0.0, lens.fy, lens.cy, 0.0, 0.0, 1.0]
    projection = [lens.fx, 0.0, lens.cx, 0.0, 0.0, lens.fy, lens.cy, 0.0, 0.0, 0.0, 1.0, 0.0]
    plain = re.sub(r"[^A-Za-z0-9_]", "_", name) or "camera"
    lines = [f"image_width: {lens.width}", f"image_height: {lens.height}", f"camera_name: {plain}"]
    for key, rows, columns, data in (
        ("camera_matrix", 3, 3, camera),
        ("distortion_coefficients", 1, 4, lens.k.tolist()),
        ("rectification_matrix", 3, 3, np.eye(3).ravel().tolist()),
        ("projection_matrix", 3, 4, projection),
    ):
        if key == "distortion_coefficients":
            lines.append(f"distortion_model: {ROS_MODEL}")
        lines += [f"{key}:", f"  rows: {rows}", f"  cols: {columns}", f"  data: [{_numbers(data)}]"]
    return "\n".join(lines) + "\n"


def read_lens(text: bytes, file: str, name: str, faults: list[Fault]) -> StatedLens | None:
    """Read a lens in any of the three forms, told by its contents; None after adding `faults`."""
    start = text[:4096].removeprefix(b"\xef\xbb\xbf").lstrip()
    yaml = start.startswith((b"%YAML", b"---", b"#")) or re.search(
        rb"(?m)^(image_width|camera_matrix|distortion_model)\s*:", start
    )
    if not yaml or len(text) > LARGEST_LENS_BYTES:
        return lens_from_text(text, file, name, faults)
    before = len(faults)
    try:
        values = _yaml(text.decode("utf-8-sig"))
    except ValueError as error:
        found = str(error) if isinstance(error, _YamlError) else "bytes that are no text"
        expected = "OpenCV or ROS camera_info YAML"
        faults.append(Fault(file=file, key="", found=found, expected=expected, next_step=STEP))
        return None
    lens = _from_values(values, file, faults)
    if lens is None or len(faults) > before:
        return None
    return StatedLens(name=name, fitted=lens)


def _numbers(values: list[float]) -> str:
    # A point in every number: YAML readers disagree on `1e-05`, which some take for text.
    texts = []
    for value in values:
        text = repr(float(value))
        mantissa, mark, exponent = text.partition("e")
        texts.append(mantissa + ("" if "." in mantissa else ".0") + mark + exponent)
    return ", ".join(texts)


def _from_values(values: dict[str, Value], file: str, faults: list[Fault]) -> Lens | None:
    """Lens of a YAML file's values; every fault is noted before giving up."""
    before = len(faults)

    def fault(key: str, expected: str) -> None:
        found = "nothing" if key not in values else _shown(values[key])
        faults.append(Fault(file=file, key=key, found=found, expected=expected, next_step=STEP))

    size = []
    for key in ("image_width", "image_height"):
        value = values.get(key)
        whole = isinstance(value, float) and value.is_integer() and 1 <= value <= LARGEST_SIDE_PX
        if not whole:
            fault(key, f"a whole number from 1 to {LARGEST_SIDE_PX}")
        size.append(int(value) if whole and isinstance(value, float) else 1)
    model = values.get("distortion_model", values.get("fisheye_model"))
    if model is None:
        fault("fisheye_model", "fisheye_model: 1 (OpenCV) or distortion_model: equidistant (ROS)")
    elif model not in (ROS_MODEL, "fisheye", 1.0):
        key = "distortion_model" if "distortion_model" in values else "fisheye_model"
        fault(key, f"{ROS_MODEL}: other lens models are not read")
    camera = _matrix(values.get("camera_matrix"), 9)
    right = camera is not None and camera[0] > 0 and camera[4] > 0 and camera[8] == 1
    if not right or camera is None or np.any(camera[[1, 3, 6, 7]] != 0):
        fault("camera_matrix", "nine numbers fx 0 cx 0 fy cy 0 0 1, fx and fy above 0")
    k = _matrix(values.get("distortion_coefficients"), 4)
    if k is None:
        fault("distortion_coefficients", "four numbers")
    if len(faults) > before or camera is None or k is None:
        return None
    fx, cx, fy, cy = (float(camera[index]) for index in (0, 2, 4, 5))
    return Lens(width=size[0], height=size[1], fx=fx, fy=fy, cx=cx, cy=cy, k=k)


def _shown(value: Value) -> str:
    if isinstance(value, str):
        return repr(value[:40])
    if isinstance(value, float):
        return f"{value:g}"
    data = value.get("data") if isinstance(value, dict) else value
    return f"{len(data)} numbers" if isinstance(data, list) else "something else"


def _matrix(value: Value | None, count: int) -> Array | None:
    data = value.get("data") if isinstance(value, dict) else value
    if not isinstance(data, list) or len(data) != count:
        return None
    array = np.array(data, dtype=np.float64)
    return array if np.isfinite(array).all() and (np.abs(array) < 1e6).all() else None


class _YamlError(ValueError):
    """What was found instead of the little YAML that is read."""


def _yaml(text: str) -> dict[str, Value]:
    """Keys to numbers, names, lists of numbers, and tables of these one level deep."""
    values: dict[str, Value] = {}
    table: dict[str, object] | None = None
    last: tuple[dict[str, object], str] | None = None
    lines = _joined(text)
    for number, line in lines:
        item = line.strip()
        if item.startswith("- ") and last is not None:
            into, key = last
            numbers = into[key] if isinstance(into[key], list) else []
            assert isinstance(numbers, list)
            into[key] = [*numbers, _number(item[2:], number)]
            continue
        entry = _ENTRY.fullmatch(line)
        if entry is None:
            raise _YamlError(f"line {number} that is not `key: value`")
        rest = re.sub(r"^!!\S+\s*", "", entry["rest"] or "").strip()
        nested = bool(entry["indent"])
        if nested and table is None:
            raise _YamlError(f"line {number}, set in below no key")
        into = table if nested and table is not None else values  # type: ignore[assignment]
        if entry["key"] in into:
            raise _YamlError(f"line {number}, {entry['key']} a second time")
        if not nested:
            table = {} if not rest else None
        into[entry["key"]] = _value(rest, number) if rest else (table if not nested else [])
        last = (into, entry["key"]) if not rest else None
    return values


def _joined(text: str) -> list[tuple[int, str]]:
    """Lines without comments and heads, a list that spans several brought into one."""
    joined: list[tuple[int, str]] = []
    open_list = False
    for number, line in enumerate(text.splitlines(), start=1):
        line = re.sub(r"(^|\s)#.*$", "", line).rstrip()
        if not line or line.startswith(("%YAML", "---", "...")):
            continue
        if open_list:
            start, before = joined[-1]
            joined[-1] = (start, before + " " + line.strip())
        else:
            joined.append((number, line))
        open_list = (open_list or "[" in line) and "]" not in line
    return joined


def _value(text: str, line: int) -> Value:
    if text.startswith("["):
        if not text.endswith("]"):
            raise _YamlError(f"line {line}, a list without its end")
        inner = text[1:-1].strip().removesuffix(",")
        return [_number(each, line) for each in inner.split(",")] if inner else []
    try:
        return float(text)
    except ValueError:
        return text.strip("'\"")


def _number(text: str, line: int) -> float:
    try:
        return float(text)
    except ValueError:
        raise _YamlError(f"line {line}, {text.strip()[:20]!r} where a number stands") from None
