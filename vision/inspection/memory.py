"""What was worked out, by what it was worked out from.

A function and the content of its arguments are the key, so that nothing has to be told what has
changed: a step whose arguments are new is worked out, every other is recalled. What was not asked
for during the last few inspections is forgotten.
"""

from __future__ import annotations

import copyreg
import hashlib
import io
import pickle
from collections.abc import Callable
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, ParamSpec, TypeVar

import numpy as np

P = ParamSpec("P")
T = TypeVar("T")

KEPT_INSPECTIONS = 3
"""How long an answer is kept that nobody asks for: a picture taken back is found again."""
LARGE_BYTES = 65_536
"""Arrays beyond this are pictures and what is drawn from them; their digests are kept as well."""


@dataclass(slots=True, kw_only=True)
class _Answer:
    value: Any
    asked_in: int


@dataclass(slots=True, kw_only=True)
class _Digest:
    """Of an array that can no longer change; holding it keeps its id its own."""

    of: np.ndarray
    digest: bytes
    asked_in: int


@dataclass(slots=True, kw_only=True)
class Memory:
    """A `Recall` that remembers. For one thread at a time."""

    _answers: dict[bytes, _Answer] = field(default_factory=dict)
    _digests: dict[int, _Digest] = field(default_factory=dict)
    _inspection: int = 0

    def __call__(self, work: Callable[P, T], *given: P.args, **named: P.kwargs) -> T:
        """`work(*given, **named)`, or what it once gave for arguments of the same content."""
        key = self.key(work, given, named)
        answer = self._answers.get(key)
        if answer is None:
            answer = _Answer(value=work(*given, **named), asked_in=0)
            self._answers[key] = answer
        answer.asked_in = self._inspection
        value: T = answer.value
        return value

    def __len__(self) -> int:
        """How many answers are remembered."""
        return len(self._answers)

    def next_inspection(self) -> None:
        """Forget what the last inspections did not ask for."""
        self._inspection += 1
        last = self._inspection - KEPT_INSPECTIONS
        self._answers = {k: each for k, each in self._answers.items() if each.asked_in >= last}
        self._digests = {k: each for k, each in self._digests.items() if each.asked_in >= last}

    def key(self, work: Callable[..., Any], given: tuple[Any, ...], named: dict[str, Any]) -> bytes:
        """A digest of a function's name and of its arguments.

        Equal content may be written in two ways, where one value holds the same object twice and
        the other two equal ones: it is then worked out again, and never taken for something else.
        """
        written = io.BytesIO()
        pickler = pickle.Pickler(written, protocol=5)
        pickler.dispatch_table = {
            **copyreg.dispatch_table,
            np.ndarray: self._reduced,
            MappingProxyType: lambda proxy: (dict, (sorted(proxy.items()),)),
        }
        pickler.dump((work.__module__, work.__qualname__, given, named))
        return hashlib.blake2b(written.getbuffer(), digest_size=32).digest()

    def _reduced(self, array: np.ndarray) -> Any:
        """How an array is written: a large one by its digest."""
        if array.nbytes < LARGE_BYTES:
            return array.__reduce__()
        held = self._digests.get(id(array))
        if held is None:
            held = _Digest(of=array, digest=_digest(array), asked_in=0)
            if not array.flags.writeable and (array.base is None):
                self._digests[id(array)] = held
        held.asked_in = self._inspection
        return tuple, ((array.shape, array.dtype.str, held.digest),)


def _digest(array: np.ndarray) -> bytes:
    return hashlib.blake2b(np.ascontiguousarray(array).data, digest_size=32).digest()
