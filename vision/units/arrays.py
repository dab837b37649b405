"""Names for arrays, and the one way to keep one from being changed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


def frozen_array(values: object, shape: tuple[int | None, ...], name: str) -> Array:
    """Copy `values` to a read-only float64 array, checking shape (None is any) and finiteness.

    Raises ValueError that names `name`, what was expected and what was found.
    """
    array = np.array(values, dtype=np.float64)
    matches = len(array.shape) == len(shape) and all(
        want is None or want == got for want, got in zip(shape, array.shape, strict=True)
    )
    if not matches:
        raise ValueError(f"{name}: expected shape {shape}, found {array.shape}")
    if not np.isfinite(array).all():
        raise ValueError(f"{name}: expected finite numbers, found {array.tolist()}")
    array.setflags(write=False)
    return array


def freeze(value: object, **shapes: tuple[int | None, ...]) -> None:
    """Put `frozen_array` copies in the place of a frozen value's own fields, by name and shape."""
    for name, shape in shapes.items():
        object.__setattr__(value, name, frozen_array(getattr(value, name), shape, name))
