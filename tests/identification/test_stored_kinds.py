"""Quadrants and boards, on two stored sets of rendered pictures whose truth is known exactly.

Proves that no point gets another's name, that nearly every clear one is used, and that aims, places
and verdicts are right; on wet ground with noise, and in hard sun. The pictures come from a path
tracer that shares no code with this project. Does not prove the same for photographs.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.accuracy.sets import report_set
from tests.paths import FRAMES


@pytest.mark.parametrize("name", ["after_rain", "board_panels"])
def test_the_whole_set(name: str) -> None:
    figures = report_set(FRAMES / name)
    assert sum(figures["wrong"]) == 0
    assert np.mean(figures["used"]) >= 0.95
    assert np.median(figures["px"]) <= 0.10
    assert max(figures["aim_deg"]) <= 0.6
    assert max(figures["place_m"]) <= 0.04
    assert 0.2 <= np.sqrt(np.mean(np.square(figures["z"]))) <= 1.6
    assert figures["as_expected"] == [1.0]
