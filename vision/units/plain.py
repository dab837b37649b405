"""Figures as plain data: rounded, finite or null, and why one is missing; and its schemas."""

from __future__ import annotations

import json
from collections.abc import Iterable
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from vision.units.arrays import Array


def number(value: float | None, digits: int) -> float | None:
    """Round; None stays None and what is not finite becomes None. No negative zero."""
    if value is None or not np.isfinite(value):
        return None
    return round(float(value), digits) + 0.0


def numbers(values: Array | Iterable[float] | None, digits: int) -> Any:
    """Round an array of any shape to nested lists; None where it is None or not all finite."""
    if values is None:
        return None
    array = np.asarray(values, dtype=np.float64)
    return (np.round(array, digits) + 0.0).tolist() if np.isfinite(array).all() else None


def significant(values: Array | None, digits: int) -> Any:
    """As `numbers`, to a number of significant digits of each value."""
    if values is None or not np.isfinite(values).all():
        return None
    flat = [float(f"{value:.{digits}g}") + 0.0 for value in np.ravel(values)]
    return np.reshape(flat, np.shape(values)).tolist()


def with_missing(entry: dict[str, Any], why: dict[str, str]) -> dict[str, Any]:
    """Add `missing`, the reason of every null that `why` can explain, where there is any."""
    missing = {key: text for key, text in why.items() if entry.get(key) is None}
    return {**entry, "missing": missing} if missing else entry


@cache
def shipped_schema(file: str) -> dict[str, Any]:
    """A JSON schema (draft 2020-12) that ships with the package, by its file's name."""
    text = files("vision").joinpath("documents", file).read_text(encoding="utf-8")
    return dict(json.loads(text))


def validate_under(schema: dict[str, Any], data: object) -> None:
    """Raise jsonschema.ValidationError where `data` is not valid."""
    import jsonschema  # a command that only writes has no need of it

    jsonschema.Draft202012Validator(schema).validate(data)
