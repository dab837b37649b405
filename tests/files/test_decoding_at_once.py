"""Proves that pictures decoded by several threads at once do not take each other's complaints.

What OpenCV's decoders complain of is read from standard error, of which a process has one.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from vision.files.pictures import opened
from vision.marks.picture import encoded
from vision.units.errors import BadInputError


def still(seed: int) -> bytes:
    return encoded(np.random.default_rng(seed).integers(0, 256, (96, 96, 3), np.uint8), ".jpg")


def damaged(data: bytes) -> bytes:
    """The same with part of its scan overwritten by an early end."""
    middle = len(data) // 2
    return data[:middle] + b"\xff\xd9" + data[middle + 2 :]


def test_each_thread_hears_its_own_decoder() -> None:
    before = os.fstat(2)
    whole, broken = still(1), damaged(still(2))
    with pytest.raises(BadInputError, match="damaged"):
        opened(broken, "broken.jpg")

    def looked(number: int) -> str:
        try:
            opened(broken if number % 2 else whole, "x.jpg")
        except BadInputError as error:
            return error.faults[0].found
        return "whole"

    with ThreadPoolExecutor(4) as threads:
        found = list(threads.map(looked, range(400)))
    assert set(found[::2]) == {"whole"}
    assert set(found[1::2]) == {"a damaged JPEG"}
    after = os.fstat(2)
    assert (after.st_ino, after.st_dev) == (before.st_ino, before.st_dev)
