"""Calling a pure function, or recalling what it gave for the same arguments.

A room whose steps take long asks for them through a `Recall`, so that whoever looks at the same
things again need not wait for what has not changed. Only functions whose answer follows from their
arguments alone may be asked so; then it makes no difference to any figure who remembers what.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, Protocol, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


class Recall(Protocol):
    """Answers what a pure function gives for some arguments."""

    def __call__(self, work: Callable[P, T], *given: P.args, **named: P.kwargs) -> T:
        """`work(*given, **named)`, or what it once gave for them."""
        ...


def afresh(work: Callable[P, T], *given: P.args, **named: P.kwargs) -> T:
    """Remember nothing: call the function."""
    return work(*given, **named)
