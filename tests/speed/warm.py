"""From a snapshot's file closed to its camera's line, beside a stand-in for a script.

    python -m tests.speed.warm [--set clear_day] [--pairs 5]

`seamtrue watch` runs on a copy of a sample set. Stand-in and new snapshots of the front camera
alternate, a first pair is not counted; the stand-in is a fresh process, its wall time taken from
outside. Three times are told: to the line with what is left to turn, to the line with the verdict,
and to the verdict of all. Quote ratios, never seconds.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from queue import Queue
from threading import Thread

import cv2
import numpy as np

from tests.paths import ROOT, SAMPLES
from tests.speed.budget import cost_of

STAGES = ("left to turn", "its verdict", "all of it")


class Watching:
    """The command in a process of its own, with the time of each of its lines."""

    def __init__(self, job_file: Path) -> None:
        self.lines: Queue[tuple[float, str]] = Queue()
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-m", "cli.main", "watch", str(job_file)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
            env={k: v for k, v in os.environ.items() if not k.endswith("NUM_THREADS")},
        )
        Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.put((time.perf_counter(), line))

    def until(self, begins: str) -> list[tuple[float, str]]:
        """The lines up to one that begins so."""
        seen = [self.lines.get(timeout=120)]
        while not seen[-1][1].startswith(begins):
            seen.append(self.lines.get(timeout=120))
        return seen


def snapshot(jpeg: bytes, number: int) -> bytes:
    """The same view once more, with other noise."""
    picture = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    noise = np.random.default_rng(number).integers(-1, 2, picture.shape)
    noisy = np.clip(picture.astype(int) + noise, 0, 255).astype(np.uint8)
    return cv2.imencode(".jpg", noisy, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()


def times(watching: Watching, file: Path, data: bytes) -> list[float]:
    """Seconds from the file closed to each of the stages."""
    waiting = file.with_suffix(".part")
    waiting.write_bytes(data)
    os.replace(waiting, file)
    closed = time.perf_counter()
    seen = watching.until("verdict")
    own = [at for at, line in seen if line.startswith("front")]
    return [own[0] - closed, own[-1] - closed, seen[-1][0] - closed]


def main() -> None:
    """Print medians and their ratios."""
    about = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    about.add_argument("--set", default="clear_day", choices=["clear_day", "long_shadow"])
    about.add_argument("--pairs", type=int, default=5)
    asked = about.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        lot = Path(folder) / "lot"
        shutil.copytree(SAMPLES / asked.set, lot)
        jpeg = (lot / "front.jpg").read_bytes()
        watching = Watching(lot / "job.toml")
        watching.until("verdict")
        standin = ["tests/speed/standin.py", str(SAMPLES / asked.set), str(Path(folder) / "out")]
        pairs = []
        for number in range(asked.pairs + 1):
            unit = cost_of(standin, (0,))[0]
            found = times(watching, lot / "front.jpg", snapshot(jpeg, number))
            pairs.append([each / unit for each in found])
        watching.process.kill()
    for stage, ratios in zip(STAGES, zip(*pairs[1:], strict=True), strict=True):
        low, high = min(ratios), max(ratios)
        middle = statistics.median(ratios)
        print(f"{stage:14s} {middle:.2f} stand-ins, single pairs {low:.2f} to {high:.2f}")


if __name__ == "__main__":
    main()
