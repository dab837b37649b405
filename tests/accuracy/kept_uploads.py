"""Uploads to a lot's page whose server is killed again and again: every accepted picture is there.

    python -m tests.accuracy.kept_uploads [--uploads 500] [--kills 50] [--seed 1]

Several senders send pictures of their own at once; the server is killed (SIGKILL) at random moments
and started again. Accepted is what was answered with 200. Afterwards every accepted picture has to
be in the day's folder, every picture there to be whole and to be one that was sent, and nothing
else to have been written.
"""

from __future__ import annotations

import argparse
import hashlib
import http.client
import os
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from tests.cli.lot.serving import form
from tests.lots import lot_text
from tests.paths import ROOT
from vision.files.pictures import opened
from vision.marks.picture import encoded

SENDERS = 3
NAMES = ("front", "left", "rear", "right")


class Server:
    """The command in a process of its own."""

    def __init__(self, job_file: Path) -> None:
        self.job_file = job_file
        self.start()

    def start(self) -> None:
        """Start it, and read its address and its page's token."""
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-m", "cli.main", "lot", str(self.job_file), "--port", "0"],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        self.host = re.search(r"http://([^/]+)/", line)[1]  # type: ignore[index]
        for _ in range(200):
            try:
                page = asked(self.host, "GET", "/")[1]
                self.token = re.search(rb'name="token" value="([^"]+)"', page)[1].decode()  # type: ignore[index]
                return
            except OSError:
                time.sleep(0.05)
        raise RuntimeError("the server does not answer")

    def kill(self) -> None:
        """End it as a power cut would, but for the disk's own memory."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


def asked(
    host: str, method: str, path: str, body: bytes | None = None, kind: str = ""
) -> tuple[int, bytes]:
    """Status and body of an answer."""
    connection = http.client.HTTPConnection(host, timeout=20)
    try:
        headers = {"content-type": kind, "accept": "application/json"} if body else {}
        connection.request(method, path, body, headers)
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


class Sender(threading.Thread):
    """Sends pictures that nobody else sends, until told to stop."""

    def __init__(self, server: Server, seed: int) -> None:
        super().__init__(daemon=True)
        self.server, self.random = server, np.random.default_rng(seed)
        self.sent: set[str] = set()
        self.accepted: set[str] = set()
        self.stopped = threading.Event()

    def run(self) -> None:
        """Send one picture after the other."""
        while not self.stopped.is_set():
            pixels = self.random.integers(0, 8, (96, 128, 3), dtype=np.uint8)
            data = encoded(pixels, ".png")
            digest = hashlib.sha256(data).hexdigest()
            name = f"{self.random.choice(NAMES)}.png"
            kind, body = form({"token": self.server.token}, ((name, data),))
            self.sent.add(digest)
            try:
                status, _ = asked(self.server.host, "POST", "/pictures", body, kind)
            except (OSError, http.client.HTTPException):
                time.sleep(0.05)
                continue
            if status == 200:
                self.accepted.add(digest)


def main() -> None:
    """Print what was sent, accepted, there, half and elsewhere."""
    about = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    about.add_argument("--uploads", type=int, default=500)
    about.add_argument("--kills", type=int, default=50)
    about.add_argument("--seed", type=int, default=1)
    wanted = about.parse_args()
    random = np.random.default_rng(wanted.seed)
    with tempfile.TemporaryDirectory() as folder:
        job_file = Path(folder) / "job" / "job.toml"
        job_file.parent.mkdir()
        job_file.write_text(lot_text(8.0))
        server = Server(job_file)
        senders = [Sender(server, 100 * wanted.seed + n) for n in range(SENDERS)]
        for each in senders:
            each.start()
        for number in range(wanted.kills):
            least = wanted.uploads * (number + 1) / wanted.kills
            while sum(len(each.accepted) for each in senders) < least:
                time.sleep(0.02)
            time.sleep(random.uniform(0, 0.2))
            server.kill()
            server.start()
        for each in senders:
            each.stopped.set()
            each.join()
        server.kill()
        accepted = set().union(*(each.accepted for each in senders))
        sent = set().union(*(each.sent for each in senders))
        lot = job_file.parent / "seamtrue-lot"
        there, half = set(), 0
        for path in lot.glob("*/*.png"):
            data = path.read_bytes()
            there.add(hashlib.sha256(data).hexdigest())
            opened(data, path.name)
            half += path.name.split("-")[2][:12] != hashlib.sha256(data).hexdigest()[:12]
        outside = [p for p in Path(folder).rglob("*") if p.is_file() and lot not in p.parents]
        print(f"{len(sent)} sent, {len(accepted)} accepted, {wanted.kills} kills")
        print(f"accepted and not there: {len(accepted - there)}")
        print(f"there and half, or never sent: {half + len(there - sent)}")
        print(f"written elsewhere: {len([p for p in outside if p != job_file])}")


if __name__ == "__main__":
    main()
