"""Print whether checks are lost when the program is killed while it keeps them.

    python -m tests.accuracy.record [--checks 200] [--seed 1]

A process adds numbered checks to one record and says of each when it is kept; it is killed (signal
9) after a random time and started again, until as many as asked for are kept. Then several
processes add at the same time. Nothing here cuts the power: what a disk has acknowledged is taken
to be there.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import tempfile
import time
import warnings
from dataclasses import dataclass, replace
from pathlib import Path

from vision.comparison.record import KeptCheck, KeptPicture
from vision.files import record_file
from vision.units.errors import Fault

LONGEST_LIFE_S = 0.05
"""Adding a check takes some milliseconds: within this a process adds several, or none."""
ENDLESS = 1_000_000
"""Checks that a process is to add which will be killed before."""


def example_check(number: int) -> KeptCheck:
    """A check of a size that takes several pages, different for every number."""
    texts = [f"the left strip, check {number}, line {line}" for line in range(200)]
    return KeptCheck(
        taken=f"2026-03-{1 + number // 10 % 28:02d}T12:{number % 60:02d}:00+01:00",
        job_file="job.toml",
        job_text=f'[job]\nname = "Mobile library, {number} \u2014 depot"\n',
        lens_files={"wide.lens.json": "{}"},
        pictures=(KeptPicture(camera="front", file="front.jpg", sha256=f"{number:064x}"),),
        result={"program": "seamtrue 0.1.0", "job": "Mobile library", "warnings": texts},
    )


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """How often the process was killed, which finished checks are missing, and what is damaged."""

    kills: int
    finished: int
    missing: list[int]
    unasked: int
    faults: tuple[Fault, ...]


def killed_while_adding(path: Path, checks: int, seed: int) -> Outcome:
    """Add checks in processes that are killed at random, and compare with what they finished."""
    rng = random.Random(seed)
    finished: list[int] = []
    kills = 0
    while len(finished) < checks:
        child, ear = _started(path, ENDLESS)
        time.sleep(rng.uniform(0.0, LONGEST_LIFE_S))
        os.kill(child, signal.SIGKILL)
        kills += os.waitpid(child, 0)[1] != 0
        finished += _heard(ear)
    record = record_file.read_record(path)
    kept = {check.number: check for check in record.checks}
    right = {n: kept.get(n) == replace(example_check(n), number=n) for n in finished}
    return Outcome(
        kills=kills,
        finished=len(finished),
        missing=[number for number, fine in right.items() if not fine],
        unasked=len(set(kept) - set(finished)),
        faults=record.faults,
    )


def many_at_once(path: Path, processes: int, each: int) -> list[str]:
    """Let several processes add at the same time; what is wrong afterwards."""
    children = [_started(path, each) for _ in range(processes)]
    numbers = sorted(number for _, ear in children for number in _heard(ear))
    for child, _ in children:
        os.waitpid(child, 0)
    record = record_file.read_record(path)
    wrong = [str(fault) for fault in record.faults]
    if numbers != list(range(1, processes * each + 1)):
        wrong.append(f"numbers given: {numbers}")
    if [check.number for check in record.checks] != numbers:
        wrong.append(f"numbers kept: {[check.number for check in record.checks]}")
    return wrong


def _started(path: Path, count: int) -> tuple[int, int]:
    """Fork a process that adds `count` checks: its id, and the pipe in which it reports."""
    ear, mouth = os.pipe()
    with warnings.catch_warnings():
        # Later Pythons warn of threads here; those of a matrix library do no harm.
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:
        os.close(ear)
        try:
            _add(path, count, mouth)
        finally:
            os._exit(0)
    os.close(mouth)
    return child, ear


def _heard(ear: int) -> list[int]:
    with os.fdopen(ear, "rb") as pipe:
        return [int(line) for line in pipe.read().splitlines()]


def _add(path: Path, count: int, mouth: int) -> None:
    for _ in range(count):
        # The number is only known when the check is kept, so every check here is that of the next.
        following = len(record_file.read_record(path).checks) + 1 if path.exists() else 1
        number = record_file.add_to_record(path, example_check(following))
        # So few bytes go into a pipe whole or not at all.
        os.write(mouth, f"{number}\n".encode())


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--checks", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        outcome = killed_while_adding(Path(folder) / "record.sqlite", given.checks, given.seed)
        print(
            f"{outcome.finished} checks finished, killed {outcome.kills} times: "
            f"{len(outcome.missing)} missing or changed, {len(outcome.faults)} damaged, "
            f"{outcome.unasked} kept before the word got out"
        )
        wrong = many_at_once(Path(folder) / "shared.sqlite", processes=4, each=25)
        print(f"4 processes, 25 checks each, at the same time: {wrong or 'all kept, in order'}")


if __name__ == "__main__":
    main()
