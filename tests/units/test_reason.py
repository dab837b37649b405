"""Proves that a reason keeps its code and figures, and is told from another by them."""

from __future__ import annotations

import pytest

from vision.units.reason import Reason


def test_a_reason_is_its_code_and_arguments():
    reason = Reason("tilt-beyond", off_rad=0.09, limit_rad=0.05)
    assert reason == Reason("tilt-beyond", limit_rad=0.05, off_rad=0.09)
    assert reason != Reason("tilt-beyond", off_rad=0.08, limit_rad=0.05)
    assert reason != Reason("pan-beyond", off_rad=0.09, limit_rad=0.05)
    assert len({reason, Reason("tilt-beyond", limit_rad=0.05, off_rad=0.09)}) == 1
    assert repr(reason) == "Reason('tilt-beyond', off_rad=0.09, limit_rad=0.05)"


def test_a_reason_is_not_changed():
    reason = Reason("dark", level=12.0)
    with pytest.raises(AttributeError, match="code"):
        reason.code = "light"
    with pytest.raises(TypeError):
        reason.arguments["level"] = 13.0  # type: ignore[index]
