"""Values as plain data for a file: each says itself how it is written.

A dataclass whose fields are `written(...)`, and whose properties are `@also_written(...)`,
says of each figure its digits, its unit where that is not SI, its key where that is not its name,
and why it may be null. `plain` writes any such value; there is no other code for a document's keys.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from functools import cache
from importlib.resources import files
from itertools import count
from typing import Any, TypeVar

import numpy as np

from vision.units.arrays import Array
from vision.units.reason import Reason

_KEY = "written"
_place = count()
GetterT = TypeVar("GetterT", bound=Callable[[Any], Any])


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """How one field or property is written.

    `digits` after the point, or significant ones; `degrees` where the value is in radians and is
    written in degrees; `names` of the figures in an array, which is then written by name; `key`
    where it is not the name (whose `_rad` becomes `_deg`); `missing` the code of why it may be
    null; `text` where of a reason only its words are written; `optional` where nothing is written
    for nothing; `flat` the class of a value whose keys stand among the others, all null where there
    is none. Keys come in the order in which they stand in the class.
    """

    digits: int | None = None
    significant: bool = False
    degrees: bool = False
    names: tuple[str, ...] = ()
    key: str | None = None
    missing: str | None = None
    text: bool = False
    optional: bool = False
    flat: type | None = None
    place: int = 0

    def figures(self, value: float | Array | Iterable[float]) -> Any:
        """Rounded and in the unit of the file; null where not finite, as a whole if an array."""
        array = np.asarray(value, dtype=np.float64)
        array = np.degrees(array) if self.degrees else array
        if self.names:
            one = Written(digits=self.digits, significant=self.significant)
            return {n: one.figures(each) for n, each in zip(self.names, array, strict=True)}
        if self.digits is None:
            raise TypeError("a figure is written with a number of digits")
        return rounded(array, self.digits, significant=self.significant)


_HOW = {each.name for each in fields(Written)}


def written(digits: int | None = None, *, key: str | None = None, **more: Any) -> Any:
    """A field that is written as `Written` says; what else there is goes to `dataclasses.field`."""
    said = {name: more.pop(name) for name in _HOW & more.keys()}
    how = Written(digits=digits, key=key, place=next(_place), **said)
    return field(metadata={_KEY: how}, **more)


def also_written(digits: int | None = None, **how: Any) -> Callable[[GetterT], GetterT]:
    """Under `@property`: it is written like a field."""
    made: Written = written(digits, **how).metadata[_KEY]

    def marked(get: GetterT) -> GetterT:
        setattr(get, _KEY, made)
        return get

    return marked


@cache
def how_written(kind: Any) -> dict[str, Written]:
    """By its name in the class, how each field and property of it is written, in their order."""
    found = {each.name: each.metadata[_KEY] for each in fields(kind) if _KEY in each.metadata}
    for name in dir(kind):
        how = getattr(getattr(getattr(kind, name), "fget", None), _KEY, None)
        if how is not None:
            found[name] = how
    return dict(sorted(found.items(), key=lambda item: item[1].place))


def plain(value: Any, say: Callable[[Reason], str]) -> Any:
    """Dicts, lists, numbers and strings of `value`; `say` makes the sentence of a reason.

    A reason becomes its code and text; a value with written fields their dict, to which `missing`
    is added where a figure is null: by the code of the field, or as its `why_missing` says by key.
    """
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, Reason):
        return {"code": value.code, "text": say(value)}
    if is_dataclass(value):
        return _entry(value, say)
    if isinstance(value, Mapping):
        return {str(key): plain(each, say) for key, each in value.items()}
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        return str(value)
    if isinstance(value, tuple | list):
        return [plain(each, say) for each in value]
    raise TypeError(f"cannot write {value!r}: a figure is written with a number of digits")


def written_keys(kind: type) -> list[str]:
    """The keys that a class writes, in their order; not those of flat values within."""
    return [_key(name, how) for name, how in how_written(kind).items()]


def _key(name: str, how: Written) -> str:
    return how.key or (name.replace("_rad", "_deg") if how.degrees else name)


def _entry(value: Any, say: Callable[[Reason], str]) -> dict[str, Any]:
    entry: dict[str, Any] = {}
    why: dict[str, str] = {}
    _add(entry, why, value.__class__, value, say)
    return with_missing(entry, why)


def _add(
    entry: dict[str, Any], why: dict[str, str], kind: Any, value: Any, say: Callable[[Reason], str]
) -> None:
    """Add the keys of a value of this kind, all null where it is None, and why they may be."""
    for key, reason in getattr(value, "why_missing", {}).items():
        why.setdefault(key, say(reason))
    for name, how in how_written(kind).items():
        found = None if value is None else getattr(value, name)
        if how.flat is not None:
            _add(entry, why, how.flat, found, say)
            continue
        if how.optional and not found:
            continue
        key = _key(name, how)
        if how.digits is not None and found is not None:
            entry[key] = how.figures(found)
        elif how.text and found is not None:
            entry[key] = [say(each) for each in found] if isinstance(found, tuple) else say(found)
        else:
            entry[key] = plain(found, say)
        if how.missing is not None:
            why.setdefault(key, say(Reason(how.missing)))


def rounded(values: Array | float, digits: int, *, significant: bool = False) -> Any:
    """A figure, or an array of any shape as nested lists; None where not all are finite.

    Rounded to `digits` after the point, or so many significant ones of each. No negative zero.
    """
    array = np.asarray(values, dtype=np.float64)
    if not np.isfinite(array).all():
        return None
    if significant:
        each = [float(f"{value:.{digits}g}") for value in array.flat]
        return (np.reshape(each, array.shape) + 0.0).tolist()
    return (np.round(array, digits) + 0.0).tolist()


def with_missing(entry: dict[str, Any], why: dict[str, str]) -> dict[str, Any]:
    """Add `missing`, the reason of every null that `why` can explain, where there is any."""
    missing = {key: text for key, text in why.items() if entry.get(key) is None}
    return {**entry, "missing": missing} if missing else entry


def json_text(value: object) -> str:
    """A value as a file holds it; ValueError for a number that is not finite."""
    return json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


@cache
def shipped_schema(file: str) -> dict[str, Any]:
    """A JSON schema (draft 2020-12) that ships with the package, by its file's name."""
    text = files("vision").joinpath("documents", file).read_text(encoding="utf-8")
    return dict(json.loads(text))


def validate_under(schema: dict[str, Any], data: object) -> None:
    """Raise jsonschema.ValidationError where `data` is not valid."""
    import jsonschema  # a command that only writes has no need of it

    jsonschema.Draft202012Validator(schema).validate(data)
