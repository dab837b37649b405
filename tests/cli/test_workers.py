"""Processes that work for one caller: every answer, whoever dies, and nobody left behind.

Does not prove that they are quick, nor what happens on a system that has no signals.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
from pathlib import Path

from cli.workers import cores, each_done


def doubled(number: int) -> int:
    return 2 * number


def died_once(mark: Path) -> str:
    """Kill the own process, unless that was done before."""
    if mark.exists():
        return "alive"
    mark.touch()
    os.kill(os.getpid(), signal.SIGKILL)
    return "unreachable"


def dead(mark: Path | None) -> str:
    """Kill the own process, unless there is nothing to do it for."""
    if mark is not None:
        os.kill(os.getpid(), signal.SIGKILL)
    return "alive"


def test_every_thing_has_its_answer_whatever_the_number_of_processes() -> None:
    for workers in (1, 3):
        assert sorted(each_done(doubled, [5, 6, 7, 8], workers)) == [
            (0, 10),
            (1, 12),
            (2, 14),
            (3, 16),
        ]
    assert not list(each_done(doubled, [], 2))
    assert cores() >= 1


def test_what_a_dead_process_was_at_is_done_by_another(tmp_path: Path) -> None:
    marks = [tmp_path / "a", tmp_path / "b"]
    assert sorted(each_done(died_once, marks, 2)) == [(0, "alive"), (1, "alive")]


def test_a_thing_that_kills_twice_is_given_up_and_stops_nothing(tmp_path: Path) -> None:
    things = [None, tmp_path, None]
    assert sorted(each_done(dead, things, 1)) == [(0, "alive"), (1, None), (2, "alive")]


def test_nobody_is_left_when_the_caller_leaves() -> None:
    answers = each_done(doubled, list(range(20)), 2)
    next(answers)
    answers.close()
    assert not multiprocessing.active_children()
