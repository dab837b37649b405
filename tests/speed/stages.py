"""Run the command line once in this process and put down what each stage of a check took.

    python -m tests.speed.stages STAGES.json check JOB.toml --out DIR

Stages are functions of `vision`, wrapped by name while their modules are loaded, before anybody
imports them from there; nothing in `vision` knows of it. A stage that is called from within another
counts to the outer one, but loading modules counts as imports wherever it happens. Times are wall
and CPU (all threads of this process), from before the first import of the program to its exit.
"""

from __future__ import annotations

import builtins
import importlib.abc
import importlib.machinery
import json
import sys
import time
from collections.abc import Callable, Sequence
from functools import wraps
from pathlib import Path
from types import ModuleType
from typing import Any

IMPORTS, REST = "imports", "rest"
STAGES: dict[str, tuple[str, ...]] = {
    "decode": ("vision.files.disk:read_inspection_input",),
    "find": ("vision.marks.candidates:softened", "vision.marks.candidates:find_candidates"),
    "search": ("vision.identification.hypotheses:search",),
    "refine": ("vision.identification.refining:refined", "vision.identification.refining:settled"),
    "measure": ("vision.marks.measure.mark_fit:measure",),
    "fit": ("vision.identification.measuring:fit_with_doubts",),
    "cartons": ("vision.identification.corners:with_box_corners",),
    "adjust": ("vision.adjustment.search:adjust",),
    "seams": ("vision.views.seams.gaps:seam_gaps", "vision.views.seam_edges:edge_crossings"),
    "texture": ("vision.views.texture.registration:texture_shift",),
    "sharpness": ("vision.views.sharpness.measurement:measure_sharpness",),
    "forecasts": (
        "vision.inspection.whatif.asked:recommended",
        "vision.inspection.whatif.forecast:sensitivities",
    ),
    "top view": ("vision.documents.top_view:top_view",),
    "report": ("vision.documents.report.report:report_html",),
    "write": ("vision.files.disk:write_all",),
}
"""The functions of each stage, in the order of a check. What is none of them is `REST`: judging,
the result as plain data, the table. A function that is renamed is renamed here."""


class GoneError(LookupError):
    """A function that a stage names is not there any more, or a stage was never entered."""


def wall_and_cpu() -> tuple[float, float]:
    """Seconds by the clock on the wall, and of this process on all its threads."""
    return time.perf_counter(), time.process_time()


class Clock:
    """Wall and CPU seconds, and entries, by stage; time goes to one stage at a time."""

    def __init__(self, now: Callable[[], tuple[float, float]] = wall_and_cpu) -> None:
        self.spent = {name: [0.0, 0.0, 0] for name in (IMPORTS, *STAGES, REST)}
        self._at, self._now = REST, now
        self._since = now()

    def _switch(self, to: str) -> str:
        now = self._now()
        left, spent = self._at, self.spent[self._at]
        spent[0] += now[0] - self._since[0]
        spent[1] += now[1] - self._since[1]
        self._at, self._since = to, now
        return left

    def as_stage(self, stage: str, work: Callable[..., Any]) -> Callable[..., Any]:
        """`work`, whose time counts to a stage unless another stage calls it."""

        @wraps(work)
        def timed(*arguments: Any, **options: Any) -> Any:
            within = stage == self._at if stage == IMPORTS else self._at != REST
            if within:
                return work(*arguments, **options)
            left = self._switch(stage)
            self.spent[stage][2] += 1
            try:
                return work(*arguments, **options)
            finally:
                self._switch(left)

        return timed

    def stop(self) -> dict[str, dict[str, float]]:
        """What every stage took; `GoneError` where one was never entered."""
        self._switch(REST)
        idle = [name for name, spent in self.spent.items() if name != REST and not spent[2]]
        if idle:
            raise GoneError(f"stages never entered: {', '.join(idle)}; see STAGES in {__file__}")
        return {
            name: {"wall_s": wall, "cpu_s": cpu, "calls": calls}
            for name, (wall, cpu, calls) in self.spent.items()
        }


class Wrapping(importlib.abc.MetaPathFinder):
    """Wraps the functions of stages as soon as their modules are loaded."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock

    def find_spec(
        self, name: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        """As found on the path; None for modules without a stage."""
        stages = {
            each.partition(":")[2]: stage
            for stage, functions in STAGES.items()
            for each in functions
            if each.partition(":")[0] == name
        }
        spec = importlib.machinery.PathFinder.find_spec(name, path, target) if stages else None
        if spec is None or spec.loader is None:
            return None
        load = spec.loader.exec_module

        def load_and_wrap(module: ModuleType) -> None:
            load(module)
            for function, stage in stages.items():
                setattr(module, function, self._clock.as_stage(stage, named(module, function)))

        spec.loader.exec_module = load_and_wrap  # type: ignore[method-assign]
        return spec


def named(module: ModuleType, function: str) -> Callable[..., Any]:
    """A function of a module; `GoneError` where it is not there."""
    if not hasattr(module, function):
        raise GoneError(f"{module.__name__} has no {function}; see STAGES in {__file__}")
    found: Callable[..., Any] = getattr(module, function)
    return found


def main() -> None:
    """Run the command line as it would be run, then write what each stage took."""
    target, sys.argv = Path(sys.argv[1]), ["seamtrue", *sys.argv[2:]]
    clock = Clock()
    sys.meta_path.insert(0, Wrapping(clock))
    plain_import = builtins.__import__
    builtins.__import__ = clock.as_stage(IMPORTS, plain_import)
    try:
        from cli.main import main as command

        command()
    except SystemExit as end:
        builtins.__import__ = plain_import
        target.write_text(json.dumps({"exit": end.code, "stages": clock.stop()}), "utf-8")
        raise


if __name__ == "__main__":
    main()
