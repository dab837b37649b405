"""For tests of texts in feet and inches: which metric figures stand alone, and a job to read."""

from __future__ import annotations

import re

LENGTH_KEYS = "length|width|height|position|from|to|at|tape_width|arm|line|size|radius|square|value"
METRIC_FIGURE = re.compile(r"[0-9.]+\s(?:mm|cm|m|m2|m\N{SUPERSCRIPT TWO})\b")
BESIDE_INCHES = re.compile(r"\b(?:in|ft)(?: \(|, )[-+\N{PLUS-MINUS SIGN}\N{MINUS SIGN}0-9., ]*$")
"""What comes before a metric figure that an imperial one explains."""


def metric_alone(text: str) -> list[str]:
    """Metric figures of a text without an imperial one beside them, with what is before each."""
    plain = text.replace("\N{NO-BREAK SPACE}", " ")
    for rounding in re.findall(r"at most [0-9.]+ mm off", plain):
        plain = plain.replace(rounding, "")
    return [
        plain[max(0, found.start() - 60) : found.end()]
        for found in METRIC_FIGURE.finditer(plain)
        if not BESIDE_INCHES.search(plain[: found.start()])
    ]


def in_feet(job_text: str) -> str:
    """A metric job as somebody with a tape in feet writes it; every length keeps its own unit."""
    lines = []
    for line in job_text.splitlines():
        key, equals, value = line.partition(" = ")
        if equals and re.fullmatch(LENGTH_KEYS, key) and '"' not in value:
            value = re.sub(r"-?[0-9.]+", lambda number: f'"{number[0]} m"', value)
        lines.append(f"{key}{equals}{value}")
    return "\n".join(lines).replace('units = "m"', 'units = "ft"') + "\n"
