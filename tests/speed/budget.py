"""What a cold check costs, stage by stage, beside a stand-in for a script that does the same work.

    python -m tests.speed.budget [--set clear_day] [--runs 5] [--json]

Each round starts three fresh processes: the stand-in, the check as a person runs it, and the check
with its stages timed; the order turns round from one round to the next, and a first round is not
counted. Wall is from outside, CPU that of the whole process. BLAS variables are unset: what the
command sets is what counts. Quote ratios to the stand-in, never seconds: machines differ, and so
does one machine from hour to hour.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.paths import ROOT, SAMPLES
from tests.speed.stages import REST

BLAS = ("OPENBLAS", "OMP", "MKL", "BLIS", "VECLIB", "NUMEXPR")
STARTING = "start, exit"
PASSABLE = (0, 3, 4)
"""Exit codes of a check that came to its end."""

Cost = tuple[float, float]
"""Wall and CPU seconds."""


def cost_of(arguments: list[str], passable: tuple[int, ...]) -> Cost:
    """What one fresh process costs; RuntimeError with what it said where it failed."""
    environment = {
        key: value
        for key, value in os.environ.items()
        if key not in {f"{name}_NUM_THREADS" for name in BLAS}
    }
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    ran = subprocess.run(
        [sys.executable, *arguments],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    wall = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if ran.returncode not in passable:
        said = ran.stderr or ran.stdout
        raise RuntimeError(f"{' '.join(arguments)} exited with {ran.returncode}\n{said}")
    cpu = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
    return wall, cpu


def one_round(folder: Path, out: Path, *, turned: bool) -> dict[str, Any]:
    """One stand-in, one check and one check in stages; turned: in the other order."""
    job, stages = str(folder / "job.toml"), out / "stages.json"
    check = ["check", job, "--out", str(out / "check"), "--debug"]
    runs = {
        "standin": (["tests/speed/standin.py", str(folder), str(out / "standin")], (0,)),
        "check": (["-m", "cli.main", *check], PASSABLE),
        "staged": (["-m", "tests.speed.stages", str(stages), *check], PASSABLE),
    }
    names = list(reversed(runs)) if turned else list(runs)
    costs = {name: cost_of(*runs[name]) for name in names}
    found = json.loads(stages.read_text("utf-8"))["stages"]
    by_stage = {name: (each["wall_s"], each["cpu_s"]) for name, each in found.items()}
    inside = [sum(each[k] for each in by_stage.values()) for k in (0, 1)]
    by_stage[STARTING] = costs["staged"][0] - inside[0], costs["staged"][1] - inside[1]
    return {**costs, "stages": by_stage}


def budget(name: str, runs: int) -> dict[str, Any]:
    """Medians of some rounds on one sample set, and their ratios to the stand-in's."""
    with tempfile.TemporaryDirectory() as out:
        rounds = [
            one_round(SAMPLES / name, Path(out), turned=bool(number % 2))
            for number in range(runs + 1)
        ][1:]
    unit = median([each["standin"] for each in rounds])

    def entry(costs: list[Cost]) -> dict[str, float]:
        wall, cpu = median(costs)
        return {
            "wall_s": wall,
            "cpu_s": cpu,
            "wall_standins": wall / unit[0],
            "cpu_standins": cpu / unit[1],
        }

    ratios = [each["check"][0] / each["standin"][0] for each in rounds]
    return {
        "set": name,
        "runs": runs,
        "standin": entry([each["standin"] for each in rounds]),
        "check": {
            **entry([each["check"] for each in rounds]),
            "pairs_wall_standins": ratios,
            "wall_standins": statistics.median(ratios),
        },
        "staged": entry([each["staged"] for each in rounds]),
        "stages": {
            stage: entry([each["stages"][stage] for each in rounds])
            for stage in rounds[0]["stages"]
        },
    }


def median(costs: list[Cost]) -> Cost:
    """Median wall and median CPU."""
    wall, cpu = (statistics.median(each) for each in zip(*costs, strict=True))
    return wall, cpu


def table(found: dict[str, Any]) -> str:
    """The budget for a person."""
    head = f"{'':12s} {'wall s':>7s} {'CPU s':>7s} {'wall':>6s} {'CPU':>6s}   in stand-ins"

    def row(label: str, of: dict[str, float]) -> str:
        return (
            f"{label:12s} {of['wall_s']:7.3f} {of['cpu_s']:7.3f}"
            f" {of['wall_standins']:6.2f} {of['cpu_standins']:6.2f}"
        )

    pairs = found["check"]["pairs_wall_standins"]
    return "\n".join(
        [
            f"{found['set']}, medians of {found['runs']} rounds",
            head,
            row("stand-in", found["standin"]),
            row("check", found["check"]),
            f"{'':12s} wall of single pairs: {min(pairs):.2f} to {max(pairs):.2f} stand-ins",
            row("with stages", found["staged"]),
            *(row(f"  {stage}", each) for stage, each in found["stages"].items()),
            f"{REST}: judging, the result as plain data, the table",
        ]
    )


def main() -> None:
    """Print the budget."""
    about = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    about.add_argument("--set", default="clear_day", choices=["clear_day", "long_shadow"])
    about.add_argument("--runs", type=int, default=5)
    about.add_argument("--json", action="store_true", help="all figures, for a script")
    asked = about.parse_args()
    if asked.runs < 1:
        about.error("--runs: at least one")
    found = budget(asked.set, asked.runs)
    print(json.dumps(found, indent=1) if asked.json else table(found))


if __name__ == "__main__":
    main()
