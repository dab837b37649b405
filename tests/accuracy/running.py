"""Pictures in any order of arrival against one cold check: which sets give the same result.

    python -m tests.accuracy.running SETS [--orders 3] [--seed 1]

Two results are the same where texts, codes, ids and verdicts are, and every number as nearly as
`tests.same_results` says. A second cold check is compared as well: single precision makes it
differ.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from tests.same_results import differences
from vision.documents.result import result_of
from vision.files.disk import read_inspection_input
from vision.inspection.inspect import inspect
from vision.inspection.running import Running


def main() -> None:
    """Print a line for each set and order."""
    about = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    about.add_argument("sets", nargs="+", type=Path)
    about.add_argument("--orders", type=int, default=3)
    about.add_argument("--seed", type=int, default=1)
    asked = about.parse_args()
    random = np.random.default_rng(asked.seed)
    for folder in asked.sets:
        job, pictures = read_inspection_input(folder / "job.toml")
        cold = result_of(inspect(job, pictures))
        found = differences(cold, result_of(inspect(job, pictures)))
        print(f"{folder.name:14s} {'cold again':26s} {len(found)} differences", *found[:3])
        for _ in range(asked.orders):
            running, there = Running(), {}
            for index in random.permutation(len(pictures)):
                there[pictures[index].name] = pictures[index]
                *_, whole = running.inspections(job, there)
            found = differences(cold, result_of(whole))
            print(f"{folder.name:14s} {', '.join(there):26s} {len(found)} differences", *found[:3])


if __name__ == "__main__":
    main()
