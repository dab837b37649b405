"""Proves that the stages of the budget are functions that exist, and how their time is counted.

Does not prove how long anything takes: `python -m tests.speed.budget` prints that.
"""

from __future__ import annotations

import importlib

import pytest

from tests.speed.stages import IMPORTS, REST, STAGES, Clock, GoneError, named

FUNCTIONS = [each for functions in STAGES.values() for each in functions]


@pytest.mark.parametrize("function", FUNCTIONS)
def test_every_stage_is_there(function):
    module, _, name = function.partition(":")
    assert callable(named(importlib.import_module(module), name))


def test_a_stage_that_is_gone_is_said():
    with pytest.raises(GoneError, match="no_such_function"):
        named(importlib.import_module("vision.files.disk"), "no_such_function")
    with pytest.raises(GoneError, match="never entered: imports, decode"):
        Clock().stop()


def test_time_is_counted_once():
    seconds = [0.0]

    def passing(amount):
        seconds[0] += amount

    clock = Clock(lambda: (seconds[0], 2 * seconds[0]))
    load = clock.as_stage(IMPORTS, lambda: passing(8))
    inner = clock.as_stage("fit", lambda: (load(), passing(4)))
    clock.as_stage("refine", lambda: (inner(), passing(2), load()))()
    passing(1)
    inner()
    entered = {name: spent for name, spent in clock.spent.items() if any(spent)}
    assert entered == {
        IMPORTS: [24, 48, 3],
        "refine": [6, 12, 1],
        "fit": [4, 8, 1],
        REST: [1, 2, 0],
    }
