"""Changes over time as one self-contained page: a chart of each angle of each camera.

Every check of a record against the same baseline. A filled square is a significant change, a ring
none; the bars are two sigma each way, so that colour is never the only sign.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from vision.camera.geometry import ANGLES
from vision.camera.solver import NoFit
from vision.comparison.change import Comparison
from vision.comparison.record import KeptCheck
from vision.documents.cautions import CAUTION
from vision.documents.templates import written_page
from vision.inspection.verdict.rule import COVERAGE
from vision.units.length_words import METRIC, LengthWords

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 340, 150, 56, 10, 12, 28
LEAST_SPAN_DEG = 0.2


Dated = tuple[KeptCheck, Comparison]
"""One later check, and what it says against the baseline."""


def comparison_page(
    baseline: KeptCheck,
    later: Sequence[tuple[KeptCheck, Comparison | NoFit]],
    steps: Sequence[str],
    lines: Sequence[str],
) -> str:
    """Write the page; `steps` and `lines` are what to do and to know of the last check.

    A check without a fit is left out. Lengths are written as for the last check.
    """
    dated = [(check, found) for check, found in later if not isinstance(found, NoFit)]
    lengths = dated[-1][1].lengths if dated else METRIC
    names = dict.fromkeys(camera.name for _, found in dated for camera in found.cameras)
    return written_page(
        "comparison_page.html.j2",
        job=baseline.result["job"],
        caution=CAUTION,
        baseline=baseline,
        since=day_or_time(baseline, [check for check, _ in dated]),
        steps=[_typeset(lengths, step) for step in steps],
        lines=[_typeset(lengths, line) for line in lines],
        cameras=[
            {
                "name": name,
                "charts": [_chart(baseline, dated, name, i) for i in range(len(ANGLES))],
                "rows": [
                    (check, camera)
                    for check, found in dated
                    for camera in found.cameras
                    if camera.name == name
                ],
            }
            for name in names
        ],
        place=lengths.head("place", "cm"),
        size=(WIDTH, HEIGHT),
        frame=(LEFT, TOP, WIDTH - RIGHT, HEIGHT - BOTTOM),
        degrees=np.degrees,
        turned=lambda turn_rad: f"{np.degrees(turn_rad):+z.2f}°",
        cell=lambda place_m: lengths.cell(float(np.linalg.norm(place_m)), "cm"),
    )


def day_or_time(check: KeptCheck, others: Sequence[KeptCheck]) -> str:
    """The day of a check, with the time where another is of the same day."""
    same = any(each.day == check.day for each in others)
    return f"{check.day} {check.time:%H:%M}" if same else str(check.day)


def _typeset(lengths: LengthWords, text: str) -> str:
    return lengths.page(text).replace("+-", "±")


def _chart(baseline: KeptCheck, dated: Sequence[Dated], name: str, angle: int) -> dict[str, Any]:
    """One angle over time, in pixels of the drawing."""
    found = [
        (
            (check.time - baseline.time).total_seconds() / 86400,
            float(np.degrees(camera.aim_rad[angle])),
            float(np.degrees(camera.aim_sigma_rad[angle])),
            camera.turned,
        )
        for check, result in dated
        for camera in result.cameras
        if camera.name == name
    ]
    reach = max([LEAST_SPAN_DEG, *(abs(d) + COVERAGE * s for _, d, s, _ in found)]) * 1.05
    last = max([1e-6, *(day for day, _, _, _ in found)])

    def x(day: float) -> float:
        return round(LEFT + 10 + (WIDTH - LEFT - RIGHT - 20) * max(day, 0.0) / last, 1)

    def y(value: float) -> float:
        return round(TOP + (HEIGHT - TOP - BOTTOM) * (0.5 - 0.5 * value / reach), 1)

    # The largest of 1, 2 and 5 times a power of ten that the chart still holds.
    decade = 10 ** np.floor(np.log10(reach))
    step = float(decade * max(each for each in (1, 2, 5) if each * decade <= reach))
    text = ", ".join(f"{d:+z.2f} degrees after {day:.0f} days" for day, d, _, _ in found)
    return {
        "angle": ANGLES[angle],
        "title": f"{name}, {ANGLES[angle]}: {text or 'never compared'}",
        "ticks": [
            {"y": y(value), "text": f"{value:+.2g}" if value else "0"}
            for value in (-step, 0.0, step)
        ],
        "start": {"x": x(0.0), "y": y(0.0)},
        "points": [
            {
                "x": x(day),
                "y": y(d),
                "low": y(d - COVERAGE * s),
                "high": y(d + COVERAGE * s),
                "changed": bool(turned and abs(d) > COVERAGE * s),
            }
            for day, d, s, turned in found
        ],
        "first": day_or_time(baseline, [check for check, _ in dated]),
        "last": day_or_time(dated[-1][0], [baseline]),
    }
