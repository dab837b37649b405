"""Lens files: JSON, schema `seamtrue.lens/1`, to a lens with its covariance. No disk access."""

from __future__ import annotations

import json

import numpy as np

from vision.camera.lens import PARAMETERS, Lens
from vision.camera.settings import SETTINGS
from vision.camera.stated_lens import StatedLens
from vision.units.arrays import Array
from vision.units.errors import Fault, fault_of
from vision.units.tables import Table, Units, describe, is_number

LENS_SCHEMA = "seamtrue.lens/1"
LENS_MODEL = "kannala-brandt"
LARGEST_LENS_BYTES = 1_000_000
LARGEST_SIDE_PX = 50_000


def lens_from_text(text: bytes, file: str, name: str, faults: list[Fault]) -> StatedLens | None:
    """Read the lens called `name` from a lens file's contents; None after adding to `faults`.

    Keys of other programs are passed over, but `sigma` and `covariance` are checked where given:
    a covariance must be symmetric and positive definite in the order of
    `vision.camera.lens.PARAMETERS`. With `sigma` alone the covariance is its diagonal.
    """
    before = len(faults)
    values = _values(text, file, faults)
    if values is None:
        return None
    table = Table(faults, file, "", values, Units(name="m"))
    table.choice("schema", (LENS_SCHEMA,))
    table.choice("model", (LENS_MODEL,))
    width = table.whole("width", 1, LARGEST_SIDE_PX)
    height = table.whole("height", 1, LARGEST_SIDE_PX)
    fx, fy = (table.number(key, 0, 1e6, exclusive=True) for key in ("fx", "fy"))
    cx, cy = (table.number(key, -1e6, 1e6) for key in ("cx", "cy"))
    k = table.numbers("k", 4)
    covariance = _covariance(table)
    if len(faults) > before:
        return None
    fitted = Lens(width=width, height=height, fx=fx, fy=fy, cx=cx, cy=cy, k=np.array(k))
    return StatedLens(name=name, fitted=fitted, covariance=covariance)


def _values(text: bytes, file: str, faults: list[Fault]) -> dict[str, object] | None:
    expected = f"a lens file in JSON, schema {LENS_SCHEMA}"
    step = "write it again with `seamtrue lens`"
    try:
        if len(text) > LARGEST_LENS_BYTES:
            found = f"{len(text) / 1e6:.1f} MB"
        else:
            values = json.loads(text.decode("utf-8-sig"))
            if isinstance(values, dict):
                return values
            found = describe(values)
    except RecursionError:
        found = "brackets nested too deeply"
    except ValueError as error:
        found = f"text that is not JSON ({error})" if len(str(error)) < 200 else "no JSON"
    faults.append(fault_of("not-a-lens", file, found, expected, step))
    return None


def _sigma(table: Table) -> Array | None:
    """One standard deviation per parameter, (8,), or None."""
    if not table.has("sigma"):
        return None
    values = table.values["sigma"]
    if not isinstance(values, dict):
        table.wrong("wrong-kind", "sigma", "a table with fx, fy, cx, cy and k")
        return None
    inner = Table(table.faults, table.file, "sigma", values, table.units)
    four = [inner.number(key, 0, 1e6, exclusive=True) for key in PARAMETERS[:4]]
    k = inner.numbers("k", 4)
    if any(each <= 0 for each in k):
        inner.wrong("wrong-numbers", "k", "four numbers above 0")
    return np.array([*four, *k]) if k else None


def _covariance(table: Table) -> Array | None:
    """Read the covariance of the parameters, (8, 8), or None where none is stated."""
    sigma = _sigma(table)
    if not table.has("covariance"):
        return None if sigma is None else np.diag(sigma**2)
    expected = "an 8 x 8 symmetric, positive definite matrix in the order " + " ".join(PARAMETERS)
    rows = table.values["covariance"]
    square = (
        isinstance(rows, list)
        and len(rows) == 8
        and all(isinstance(row, list) and len(row) == 8 for row in rows)
        and all(is_number(each) for row in rows for each in row)
    )
    if not square:
        table.wrong("wrong-matrix", "covariance", expected, "write it again with `seamtrue lens`")
        return None
    matrix = np.array(rows, dtype=np.float64)
    found = _matrix_fault(matrix)
    if found:
        table.fault(
            "wrong-matrix", "covariance", found, expected, "write it again with `seamtrue lens`"
        )
        return None
    matrix = (matrix + matrix.T) / 2
    if sigma is not None and np.isfinite(sigma).all():
        off = np.abs(np.sqrt(np.diag(matrix)) / sigma - 1).max()
        if off > SETTINGS.sigma_agreement:
            table.wrong(
                "sigma-differs",
                "sigma",
                "the square roots of the covariance's diagonal",
                "remove one",
            )
    return matrix


def _matrix_fault(matrix: Array) -> str:
    variances = np.diag(matrix)
    if (variances <= 0).any():
        return f"a variance of {variances.min():.3g}"
    # Scaled to correlations first: variances of focal length and k4 differ by many powers of ten.
    scale = np.sqrt(variances)
    correlation = matrix / scale / scale[:, None]
    if np.abs(correlation - correlation.T).max() > 1e-6:
        return "a matrix that is not symmetric"
    if np.linalg.eigvalsh((correlation + correlation.T) / 2).min() <= 0:
        return "a matrix that is not positive definite"
    return ""
