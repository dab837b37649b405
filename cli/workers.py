"""A function called for one thing after the other, in processes of their own, as they come.

Processes are started and not forked, so that they are the same on every system and hold none of the
locks of whoever starts them. Ctrl-C reaches the one that started them, which ends them.
"""

from __future__ import annotations

import os
import signal
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from typing import Any, TypeVar

T = TypeVar("T")
R = TypeVar("R")

PATIENCE_S = 5.0
"""How long a process may take to end when told to: it removes what it was writing."""


def cores() -> int:
    """How many processes can run at once here."""
    # Of these only Linux says how many a process may use; elsewhere all count.
    if sys.platform == "linux":
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def each_done(
    work: Callable[[T], R], things: Sequence[T], workers: int
) -> Iterator[tuple[int, R | None]]:
    """Call `work` for each thing; the index and the answer of each as it is done.

    `work` belongs to a module, and raises nothing. A process that dies takes nobody with it: its
    thing is tried once more by another one, and has the answer None where that dies too.
    """
    waiting, again = deque(range(len(things))), set[int]()
    idle: list[tuple[Connection, SpawnProcess]] = []
    busy: dict[Connection, tuple[SpawnProcess, int]] = {}
    try:
        while waiting or busy:
            while waiting and len(busy) < workers:
                pipe, process = idle.pop() if idle else _started(work)
                index = waiting.popleft()
                busy[pipe] = process, index
                # One that died meanwhile is noticed below.
                with suppress(OSError):
                    pipe.send(things[index])
            for ready in wait(list(busy)):
                assert isinstance(ready, Connection)
                process, index = busy.pop(ready)
                try:
                    answer = ready.recv()
                except (EOFError, OSError):
                    _ended(ready, process)
                    if index in again:
                        yield index, None
                    else:
                        again.add(index)
                        waiting.appendleft(index)
                    continue
                idle.append((ready, process))
                yield index, answer
    finally:
        every = [*idle, *((pipe, process) for pipe, (process, _) in busy.items())]
        for pipe, process in every:
            pipe.close()
            if pipe in busy:
                process.terminate()
        for pipe, process in every:
            _ended(pipe, process)


def _started(work: Callable[[T], R]) -> tuple[Connection, SpawnProcess]:
    context = get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_serve, args=(theirs, work), daemon=True)
    process.start()
    theirs.close()
    return ours, process


def _ended(pipe: Connection, process: SpawnProcess) -> None:
    pipe.close()
    process.join(PATIENCE_S)
    if process.is_alive():
        process.kill()
        process.join()


def _serve(pipe: Connection, work: Callable[[Any], Any]) -> None:
    """Answer until nobody asks; when told to end, what is half written is removed first."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(0))
    # Every core has a process already.
    os.environ.setdefault("OPENCV_FOR_THREADS_NUM", "1")
    with suppress(EOFError, OSError):
        while True:
            pipe.send(work(pipe.recv()))
