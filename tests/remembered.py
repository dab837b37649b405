"""What one picture shows, worked out once in a run of the tests, whoever asks.

Many tests look at the same pictures through the same job. The steps below follow from their
arguments alone (they are the ones that are called through a `Recall`), so that what they gave is
kept by the content of what they were given, in files that all processes of a run share. It is kept
for that run only: the next one works everything out again.
"""

from __future__ import annotations

import copyreg
import importlib
import os
import pickle
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial, wraps
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest

from vision.inspection.memory import Memory
from vision.units.reason import Reason

STEPS = (
    "vision.inspection.finding:looked_at",
    "vision.inspection.running:looked_at",
    "vision.inspection.finding:with_corners",
    "vision.inspection.finding:measure_sharpness",
    "vision.inspection.finding:texture_shift",
)


anew = False
"""Whether everything is worked out, for a test of remembering itself."""


@contextmanager
def worked_out() -> Iterator[None]:
    """Within, nothing is recalled."""
    global anew
    anew = True
    yield
    anew = False


@contextmanager
def remembered(folder: Path) -> Iterator[None]:
    """Within, the steps are recalled from a folder where they were worked out before."""
    folder.mkdir(exist_ok=True)
    with pytest.MonkeyPatch.context() as patch:
        for step in STEPS:
            module, _, name = step.partition(":")
            work = getattr(importlib.import_module(module), name)
            patch.setattr(step.replace(":", "."), _recalling(work, folder))
        yield


def read_only(entries: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(entries)


def _as_read_only(mapping: MappingProxyType[Any, Any]) -> Any:
    # The type itself has no name to be found by.
    return read_only, (dict(mapping),)


def _said_again(reason: Reason) -> Any:
    return partial(Reason, reason.code, **reason.arguments), ()


_AS = {MappingProxyType: _as_read_only, Reason: _said_again}
"""How values are written that no pickle can put together again by itself."""


def _recalling(work: Callable[..., Any], folder: Path) -> Callable[..., Any]:
    @wraps(work)
    def recalled(*given: Any, **named: Any) -> Any:
        if anew:
            return work(*given, **named)
        file = folder / Memory().key(work, given, named).hex()
        if file.exists():
            return pickle.loads(file.read_bytes())
        answer = work(*given, **named)
        # Whole or not at all: another process may look for it meanwhile.
        handle, waiting = tempfile.mkstemp(dir=folder)
        with os.fdopen(handle, "wb") as stream:
            pickler = pickle.Pickler(stream, protocol=5)
            pickler.dispatch_table = copyreg.dispatch_table | _AS
            pickler.dump(answer)
        os.replace(waiting, file)
        return answer

    return recalled
