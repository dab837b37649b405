"""Where things lie that tests read."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).parents[1]
DATA = ROOT / "tests" / "data"
FRAMES = ROOT / "tests" / "frames"
"""Stored sets for tests alone."""
SAMPLES = ROOT / "sample_frames"
"""Sets that a person tries the program on."""
CLEAR_DAY = SAMPLES / "clear_day" / "job.toml"
LONG_SHADOW = SAMPLES / "long_shadow" / "job.toml"
