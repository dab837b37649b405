"""Many small fits at once: damped Gauss-Newton, every unknown scaled to one first.

Each fit has its own damping and keeps a step only where that betters it (Levenberg and Marquardt).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from vision.units.arrays import Array, Flags

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

RowsT = TypeVar("RowsT", bound="DataclassInstance")
FittedT = TypeVar("FittedT", bound="Fitted")
Which = Flags | NDArray[np.intp]

DAMPING_RANGE = (1e-9, 1e6)
STILL_GOING = 0.7
"""Share of the fits that go on below which the others drop out: to copy what is left costs too."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """Small fits at their states: `state` (n, ...), `cost` (n,) and normal equations there.

    `normal` (n, k, k) and `right` (n, k) are those of a step.
    """

    state: Array
    cost: Array
    normal: Array
    right: Array


def rows_of(value: RowsT, which: Which) -> RowsT:
    """The value with every array of it, (n, ...), at the rows `which` alone."""
    return replace(value, **{each.name: getattr(value, each.name)[which] for each in fields(value)})


def with_rows(value: RowsT, which: Which, other: RowsT) -> RowsT:
    """The value with the rows of another in the place of its own rows `which`."""
    arrays: dict[str, Any] = {each.name: getattr(value, each.name).copy() for each in fields(value)}
    for name, array in arrays.items():
        array[which] = getattr(other, name)
    return replace(value, **arrays)


def descend(
    evaluate: Callable[[Array, NDArray[np.intp]], FittedT],
    moved: Callable[[Array, Array], Array],
    start: Array,
    most_steps: int,
    rests: Callable[[Array, Array], Flags] | None = None,
    *,
    first: float = 1e-3,
    less: float = 0.2,
) -> FittedT:
    """The fits where they end, from `start` (n, ...), in at most so many steps.

    `evaluate` answers for the states of the fits with these numbers, `moved` makes a state of a
    state and a step (n, k). `rests` says by the steps and the dampings (n,) who is done. Damping
    begins at `first`; a step that betters a fit multiplies it by `less`, any other by 8.
    """
    going = np.arange(len(start))
    every = now = evaluate(start, going)
    damping = np.full(len(start), first)
    for _ in range(most_steps):
        step = damped_step(now.normal, now.right, damping)
        trial = evaluate(moved(now.state, step), going)
        better = np.asarray(trial.cost < now.cost)
        now = with_rows(now, better, rows_of(trial, better))
        damping = np.clip(np.where(better, damping * less, damping * 8), *DAMPING_RANGE)
        every = with_rows(every, going, now)
        if rests is None:
            continue
        on = ~rests(step, damping)
        if not on.any():
            break
        if on.mean() < STILL_GOING:
            going, now, damping = going[on], rows_of(now, on), damping[on]
    return every


def _scaled(normal: Array, damping: Array) -> tuple[Array, Array]:
    scale = np.sqrt(np.diagonal(normal, axis1=1, axis2=2)) + 1e-9
    system = normal / (scale[:, :, None] * scale[:, None, :])
    return system + damping[:, None, None] * np.eye(normal.shape[-1]), scale


def damped_step(normal: Array, right: Array, damping: Array) -> Array:
    """Steps (n, k) of Levenberg and Marquardt for normal matrices (n, k, k) and gradients (n, k).

    `damping` (n,) is relative to the scaled diagonal, so that units are no matter.
    """
    system, scale = _scaled(normal, damping)
    return np.asarray(np.linalg.solve(system, (right / scale)[..., None])[..., 0] / scale)


def inverse_diagonal(normal: Array) -> Array:
    """Diagonals (n, k) of the inverses of normal matrices (n, k, k), hardly determined ones too."""
    system, scale = _scaled(normal, np.full(len(normal), 1e-9))
    return np.asarray(np.diagonal(np.linalg.inv(system), axis1=1, axis2=2) / scale**2)
