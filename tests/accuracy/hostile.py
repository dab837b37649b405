"""Print what readers make of files that were made to break them.

    python -m tests.accuracy.hostile [--count 10000] [--apart 800]

Sound files of every kind are spoiled and read, `--apart` of them by decoders in processes of their
own. Per kind: how many were taken, refused with a message, or met by another exception (a defect);
the longest that one took, and the most memory that this process came to hold.
"""

from __future__ import annotations

import argparse
import resource
import time
import traceback
from collections import Counter

from tests.hostile import APART, MOST_BYTES, MOST_S, mutations, read, sound_files


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--apart", type=int, default=800)
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    near = tuple(kind for kind in sound_files() if kind not in APART)
    taken: Counter[str] = Counter()
    refused: Counter[str] = Counter()
    defects: Counter[str] = Counter()
    longest: dict[str, float] = {}
    for kinds, count in ((near, given.count - given.apart), (APART, given.apart)):
        for kind, data in mutations(kinds, count, given.seed):
            start = time.perf_counter()
            try:
                (taken if read(kind, data) else refused)[kind] += 1
            except Exception:  # whatever a reader raises is what is looked for
                defects[kind] += 1
                if defects[kind] <= 2:
                    traceback.print_exc()
                    print(kind, data[:300])
            longest[kind] = max(longest.get(kind, 0.0), time.perf_counter() - start)
    print("| kind | taken | refused | defects | longest s |")
    print("| --- | --- | --- | --- | --- |")
    for kind in sound_files():
        late = "" if longest.get(kind, 0) < MOST_S else " TOO LONG"
        print(
            f"| {kind} | {taken[kind]} | {refused[kind]} | {defects[kind]} |"
            f" {longest.get(kind, 0):.2f}{late} |"
        )
    own, apart = (
        resource.getrusage(who).ru_maxrss * 1024
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    print(
        f"most memory: {own / 2**20:.0f} MiB here, {apart / 2**20:.0f} MiB in a decoder's process;"
        f" {MOST_BYTES >> 20} MiB allowed"
    )


if __name__ == "__main__":
    main()
