"""Proves on a few hundred spoiled files that no reader ends in anything but an answer or a message.

The same on ten thousand, with times and memory: `python -m tests.accuracy.hostile`.
"""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.hostile import APART, read, sound_files, spoiled
from vision.files import pictures
from vision.units.errors import BadInputError

NEAR = tuple(kind for kind in ("JPEG", "PNG", "BMP", "job", "lens", "record", "scene"))


@pytest.mark.parametrize("kind", [*NEAR, *APART])
def test_what_is_spoiled_is_sound_to_begin_with(kind: str) -> None:
    assert all(read(kind, data) for data in sound_files()[kind][0])


def test_a_jpeg_that_asks_to_be_gone_over_a_thousand_times_is_refused_undecoded() -> None:
    data = bytearray(sound_files()["JPEG"][0][2])
    at = data.find(b"\xff\xc2")
    data[at + 5 : at + 9] = (9900).to_bytes(2, "big") * 2
    last = bytes(data[data.rfind(b"\xff\xda") : -2])
    with pytest.raises(BadInputError, match="scans"):
        pictures.opened(bytes(data[:-2]) + last * 1000 + b"\xff\xd9", "front")


@settings(max_examples=400)
@given(kind=st.sampled_from(NEAR), number=st.integers(0, 10**9), which=st.integers(0, 2))
def test_spoiled_files_end_in_an_answer_or_a_message(kind: str, number: int, which: int) -> None:
    sound = sound_files()[kind][0]
    read(kind, spoiled(sound[which % len(sound)], kind, random.Random(number)))


@settings(max_examples=25)
@given(kind=st.sampled_from(APART), number=st.integers(0, 10**9), which=st.integers(0, 1))
def test_so_do_those_that_are_decoded_apart(kind: str, number: int, which: int) -> None:
    sound = sound_files()[kind][0]
    read(kind, spoiled(sound[which], kind, random.Random(number)))
