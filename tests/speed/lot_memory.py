"""Memory of the lot's server over a long day, which should stay flat.

    python -m tests.speed.lot_memory [--set clear_day] [--pictures 200]

The command runs in a process of its own (Linux: its memory is read from /proc). After the four
pictures of a set, new snapshots of the front camera come in one after the other, each looked at
whole. Prints the resident memory every twenty pictures.
"""

from __future__ import annotations

import argparse
import json
import shutil
import tempfile
import time
from pathlib import Path

from tests.accuracy.kept_uploads import Server, asked
from tests.cli.lot.serving import form
from tests.paths import SAMPLES
from tests.speed.warm import snapshot


def resident_mb(process: int) -> float:
    """Resident memory of a process."""
    text = Path(f"/proc/{process}/status").read_text()
    line = next(each for each in text.splitlines() if each.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


def sent(server: Server, name: str, data: bytes) -> None:
    """Send a picture, and wait until it is looked at whole."""
    kind, body = form({"token": server.token}, ((name, data),))
    asked(server.host, "POST", "/pictures", body, kind)
    while True:
        head = json.loads(asked(server.host, "GET", "/parts")[1])["parts"]["head"]
        if "busy" not in head:
            return
        time.sleep(0.3)


def main() -> None:
    """Print memory by pictures."""
    about = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    about.add_argument("--set", default="clear_day", choices=["clear_day", "long_shadow"])
    about.add_argument("--pictures", type=int, default=200)
    wanted = about.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        lot = Path(folder) / "lot"
        lot.mkdir()
        shutil.copy(SAMPLES / wanted.set / "job.toml", lot)
        server = Server(lot / "job.toml")
        for name in ("front", "rear", "left", "right"):
            data = (SAMPLES / wanted.set / f"{name}.jpg").read_bytes()
            sent(server, f"{name}.jpg", data)
        jpeg = (SAMPLES / wanted.set / "front.jpg").read_bytes()
        for number in range(wanted.pictures + 1):
            if number % 20 == 0:
                print(f"{number:4d} pictures: {resident_mb(server.process.pid):.0f} MB", flush=True)
            sent(server, "front.jpg", snapshot(jpeg, number))
        server.kill()


if __name__ == "__main__":
    main()
