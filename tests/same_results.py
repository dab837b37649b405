"""Whether two results of the same files say the same.

Two cold checks of the same files in one process do not give the same bits: sums of single precision
depend on where in memory an array happens to lie, and the search for a mark's centre stops some
1e-6 px sooner or later. What that comes to in a result was seen in cold checks alone: it is within
one unit of the last written digit, but for numbers that are written with more digits than that
leaves (ground maps, lens terms and covariances), and the shift of the ground's texture.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

OF_LARGEST = 1e-4
"""Of the largest number of a list: covariances were seen to differ by 4e-5 of it."""
TEXTURE_M = 2e-4
"""Figures of texture were seen to differ by 6e-5 m, with sigmas of 0.0075 to 0.024 m."""


def differences(one: Any, other: Any, at: str = "", least: float = 0.0) -> list[str]:
    """Where two results differ: in texts, codes and names at all, in numbers by more than above."""
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        return [d for key in one for d in differences(one[key], other[key], f"{at}.{key}")]
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        numbers = [abs(each) for each in one if isinstance(each, float)]
        least = max(least, OF_LARGEST * max(numbers, default=0.0))
        pairs = enumerate(zip(one, other, strict=True))
        return [d for i, (a, b) in pairs for d in differences(a, b, f"{at}[{i}]", least)]
    if isinstance(one, float) and isinstance(other, float):
        written = [Decimal(repr(each)) for each in (one, other)]
        unit = 10.0 ** min(int(each.as_tuple().exponent) for each in written)
        least = max(least, TEXTURE_M if ".texture_" in at else 0.0)
        if abs(one - other) <= max(unit * (1 + 1e-9), least):
            return []
    return [] if one == other else [f"{at}: {one!r} and {other!r}"]
