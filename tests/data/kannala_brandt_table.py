"""Makes the projection table of a Kannala-Brandt lens from its closed form in 50 digits.

    python tests/data/kannala_brandt_table.py

Writes `kannala_brandt_table.json` beside this script. Angles reach 105 degrees from the axis, where
whatever divides by z has long failed. Nothing of the program is used: theta = atan2(|(x, y)|, z),
r = theta (1 + k1 theta^2 + ... + k4 theta^8), u = fx r x / |(x, y)| + cx, v likewise (Kannala and
Brandt 2006, the form with odd powers). Points are rounded to 1e-9 m before they are projected, so
that the file holds them exactly as decimals.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from mpmath import atan2, cos, hypot, mp, mpf, nint, nstr, pi, sin

LENS: dict[str, Any] = {
    "width": 1280,
    "height": 720,
    "fx": "338.25",
    "fy": "337.9",
    "cx": "641.3",
    "cy": "357.8",
    "k": ["-0.0118", "0.0046", "-0.0007", "0.00004"],
}
ANGLES_DEG = (2, 10, 20, 30, 40, 50, 60, 70, 80, 85, 90, 95, 105)
ROUND_DEG = (0, 37, 90, 143, 215, 300)
RANGE_M = "2.5"
TABLE = Path(__file__).with_suffix(".json")


def table() -> dict[str, Any]:
    """The lens, and for each point (x, y, z) in camera coordinates, m, its pixel."""
    with mp.workdps(50):
        rows = [_row(mpf(a) * pi / 180, mpf(b) * pi / 180) for a in ANGLES_DEG for b in ROUND_DEG]
    lens = {
        name: [float(each) for each in value] if isinstance(value, list) else float(value)
        for name, value in LENS.items()
    }
    return {"source": "kannala_brandt_table.py", **lens, "point_camera_m__pixel": rows}


def _row(theta: Any, phi: Any) -> list[list[float]]:
    range_m = mpf(RANGE_M)
    there = (sin(theta) * cos(phi), sin(theta) * sin(phi), cos(theta))
    point = [nint(range_m * each * 10**9) / 10**9 for each in there]
    return [[float(each) for each in point], [float(nstr(each, 15)) for each in _pixel(*point)]]


def _pixel(x: Any, y: Any, z: Any) -> tuple[Any, Any]:
    off = hypot(x, y)
    theta = atan2(off, z)
    r = theta * (1 + sum(mpf(k) * theta ** (2 * i + 2) for i, k in enumerate(LENS["k"])))
    u, v = (
        mpf(LENS[f]) * r * along / off + mpf(LENS[c])
        for f, c, along in (("fx", "cx", x), ("fy", "cy", y))
    )
    return u, v


if __name__ == "__main__":
    TABLE.write_text(json.dumps(table(), indent=1) + "\n", encoding="utf-8")
