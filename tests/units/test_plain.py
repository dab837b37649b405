"""Values write themselves: digits, units, keys, order, and why a figure is null.

Does not prove what any document holds: that is tested with its schema.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pytest

from vision.units.arrays import Array
from vision.units.plain import also_written, plain, written
from vision.units.reason import Reason


class Name(NamedTuple):
    strip: str
    index: int

    def __str__(self) -> str:
        return f"{self.strip}/{self.index}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Inner:
    level: float = written(1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Value:
    mark: Name = written(key="id")
    tilt_rad: float = written(2, degrees=True)
    hidden: int = 7
    place_m: Array | None = written(3, missing="not-seen", default=None)

    @property
    @also_written(3, significant=True)
    def spread(self) -> Array:
        return np.array([1234.5678, 0.0012345])

    turn_rad: Array = written(1, degrees=True, names=("pan", "tilt"), key="turn_deg")
    why: Reason | None = written(text=True, optional=True, default=None)
    reasons: tuple[Reason, ...] = written(default=())
    inner: Inner | None = written(default=None)
    depth_m: float = written(1, default=np.inf)

    @property
    def why_missing(self) -> Mapping[str, Reason]:
        return {"inner": Reason("no-inner")}


def say(reason: Reason) -> str:
    return f"because {reason.code}"


def value(**more: object) -> Value:
    made = {"mark": Name("left", 3), "tilt_rad": np.pi / 8, "turn_rad": np.array([np.pi, -1e-9])}
    return Value(**(made | more))  # type: ignore[arg-type]


def test_a_value_is_written_as_its_fields_say_and_in_their_order() -> None:
    found = plain(value(place_m=np.array([1.23456, -0.0])), say)
    assert found == {
        "id": "left/3", "tilt_deg": 22.5, "place_m": [1.235, 0.0], "spread": [1230.0, 0.00123],
        "turn_deg": {"pan": 180.0, "tilt": 0.0}, "reasons": [], "inner": None, "depth_m": None,
        "missing": {"inner": "because no-inner"},
    }  # fmt: skip
    assert list(found)[:5] == ["id", "tilt_deg", "place_m", "spread", "turn_deg"]


def test_why_a_figure_is_null_stands_beside_it() -> None:
    found = plain(value(inner=Inner(level=0.26)), say)
    assert (found["place_m"], found["inner"]) == (None, {"level": 0.3})
    assert found["missing"] == {"place_m": "because not-seen"}


def test_what_is_not_finite_is_null_as_a_whole() -> None:
    assert plain(value(place_m=np.array([1.0, np.nan])), say)["place_m"] is None


def test_reasons_are_written_with_their_words() -> None:
    found = plain(value(reasons=(Reason("soft"),), why=Reason("dark")), say)
    assert found["reasons"] == [{"code": "soft", "text": "because soft"}]
    assert found["why"] == "because dark"
    assert plain({Name("a", 0): [True, "b", None]}, say) == {"a/0": [True, "b", None]}


def test_a_figure_without_digits_is_a_mistake() -> None:
    with pytest.raises(TypeError, match="digits"):
        plain((0.1,), say)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outer:
    name: str = written()
    inner: Inner | None = written(flat=Inner)
    last: int = written()


def test_the_keys_of_a_flat_value_stand_among_the_others() -> None:
    known, none = (Outer(name="a", inner=each, last=1) for each in (Inner(level=2), None))
    assert plain(known, say) == {"name": "a", "level": 2.0, "last": 1}
    assert plain(none, say) == {"name": "a", "level": None, "last": 1}
