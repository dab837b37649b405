"""Asks what refused input was refused for: by the codes of its faults, not by their words."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from vision.units.errors import BadInputError


@contextmanager
def refused(*codes: str) -> Iterator[pytest.ExceptionInfo[BadInputError]]:
    """Expect a `BadInputError` whose faults have these codes, in order."""
    with pytest.raises(BadInputError) as caught:
        yield caught
    assert [fault.code for fault in caught.value.faults] == list(codes)
