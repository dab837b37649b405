"""Proves that a kept check comes back as it was, and that none is lost or half there.

Proves: every part of a check makes the round trip; two processes that add at the same time lose
nothing; a process killed while it adds checks leaves every finished one and no part of another;
damage of any page is named, and what can be read still is.

Does not prove: what a disk does that reports writes it has not made; the full count of kills is run
by `python -m tests.accuracy.record`.
"""

from __future__ import annotations

import sqlite3
from dataclasses import replace

import pytest

from tests.accuracy.record import example_check, killed_while_adding, many_at_once
from tests.refusing import refused
from vision.comparison.record import check_of, chosen, row_of
from vision.files import record_file, salvage
from vision.units.errors import BadInputError


@pytest.fixture
def kept(tmp_path):
    path = tmp_path / "record.sqlite"
    record_file.rescue_record(path, [example_check(number) for number in range(1, 21)])
    return path


def test_a_check_comes_back_as_it_was(tmp_path):
    path = tmp_path / "record.sqlite"
    record_file.add_to_record(path, example_check(1))
    (check,) = record_file.read_record(path).checks
    assert check == replace(example_check(1), number=1)
    assert row_of(check) == row_of(example_check(1))


def test_a_column_whose_name_is_no_text_any_more_is_damage(kept):
    data = kept.read_bytes()
    at = data.index(b"job_file") if b"job_file" in data else data.index(b"CREATE TABLE checks") + 30
    kept.write_bytes(data[: at + 2] + b"\xf9" + data[at + 3 :])
    read = record_file.read_record(kept)
    assert read.faults
    assert read.checks


def test_a_changed_letter_is_seen():
    row = list(row_of(example_check(1)))
    for column in range(len(row)):
        changed = [*row]
        changed[column] += "x"
        assert check_of(1, changed) is None
    # A letter moved from the end of one column to the start of the next.
    moved = [*row]
    moved[4], moved[5] = row[4][:-1], row[4][-1] + row[5]
    assert check_of(1, moved) is None


def test_several_processes_add_at_the_same_time(tmp_path):
    assert many_at_once(tmp_path / "record.sqlite", processes=2, each=4) == []


def test_kill_9_loses_no_finished_check(tmp_path):
    outcome = killed_while_adding(tmp_path / "record.sqlite", checks=8, seed=3)
    assert outcome.kills > 0
    assert outcome.missing == []
    assert outcome.faults == ()


@pytest.mark.parametrize("seed", range(12))
def test_a_damaged_page_is_named_and_the_rest_is_read(kept, seed):
    data = bytearray(kept.read_bytes())
    page = seed * (len(data) // salvage.PAGE_SIZE) // 12
    start = page * salvage.PAGE_SIZE
    data[start : start + salvage.PAGE_SIZE] = bytes([0xA5]) * salvage.PAGE_SIZE
    kept.write_bytes(data)
    record = record_file.read_record(kept)
    # A page holds a part of one check, or the index; twenty small rows fill some sixty pages.
    assert len(record.checks) >= 17
    assert all(
        check == replace(example_check(check.number), number=check.number)
        for check in record.checks
    )
    (fault,) = record.faults
    assert "can be read" in fault.found
    assert "--rescue" in fault.next_step
    with refused("damaged"):
        record_file.record_ready(kept)


def test_a_damaged_row_takes_no_other_with_it(tmp_path):
    path = tmp_path / "record.sqlite"
    short = [replace(example_check(n), result={"job": "Mobile library"}) for n in range(1, 61)]
    record_file.rescue_record(path, short)
    data = bytearray(path.read_bytes())
    leaf = next(at for at in range(0, len(data), salvage.PAGE_SIZE) if data[at] == salvage.LEAF)
    # Of its third row, the place at which it begins.
    data[leaf + 12 : leaf + 14] = b"\xff\xff"
    path.write_bytes(data)
    record = record_file.read_record(path)
    assert [check.number for check in record.checks] == [n for n in range(1, 61) if n != 3]
    assert record.faults[0].found == "a damaged file: 59 checks can be read, not 3"


def test_one_changed_byte_of_text_is_named(kept):
    data = kept.read_bytes()
    kept.write_bytes(data.replace(b"the left strip, check 7", b"the left strip, check 8"))
    record = record_file.read_record(kept)
    assert [check.number for check in record.checks] == [n for n in range(1, 21) if n != 7]
    assert record.faults[0].found == "a damaged file: 19 checks can be read, not 7"


@pytest.mark.parametrize("share", [0.3, 0.7, 0.95])
def test_a_record_that_breaks_off(kept, share):
    data = kept.read_bytes()
    kept.write_bytes(data[: int(share * len(data))])
    record = record_file.read_record(kept)
    assert len(record.checks) >= int(20 * share) - 2
    assert record.faults


def test_what_can_be_read_goes_into_a_new_record(kept, tmp_path):
    data = kept.read_bytes()
    kept.write_bytes(data[: len(data) // 2])
    old = record_file.read_record(kept)
    new = tmp_path / "new.sqlite"
    record_file.rescue_record(new, old.checks)
    again = record_file.read_record(new)
    assert not again.faults
    assert [row_of(each) for each in again.checks] == [row_of(each) for each in old.checks]
    with refused("file-exists"):
        record_file.rescue_record(new, old.checks)


def test_what_is_no_record_is_refused(tmp_path):
    other = tmp_path / "other.sqlite"
    with sqlite3.connect(other) as base:
        base.execute("CREATE TABLE birds (name TEXT)")
    base.close()
    text = tmp_path / "text.sqlite"
    text.write_text("no database")
    for path in (other, text, tmp_path, tmp_path / "none.sqlite"):
        with pytest.raises(BadInputError):
            record_file.read_record(path)
    with refused("no-such-folder"):
        record_file.record_ready(tmp_path / "nowhere" / "record.sqlite")
    assert other.read_bytes()
    record_file.record_ready(tmp_path / "new.sqlite")
    assert not (tmp_path / "new.sqlite").exists()


def test_a_later_version_is_refused(kept):
    base = sqlite3.connect(kept)
    base.execute("PRAGMA user_version = 9")
    base.close()
    with refused("later-version"):
        record_file.read_record(kept)


def test_an_empty_file_is_an_empty_record(tmp_path):
    path = tmp_path / "record.sqlite"
    path.touch()
    assert record_file.read_record(path).checks == ()
    assert record_file.add_to_record(path, example_check(1)) == 1


def test_choosing_a_check(kept):
    checks = record_file.read_record(kept).checks
    assert chosen(checks, "first", "r").number == 1
    assert chosen(checks, "previous", "r").number == 20
    assert chosen(checks, "12", "r").number == 12
    assert chosen(checks, "2026-03-02", "r").number == 19
    for which in ("41", "2025-01-01", "yesterday", ""):
        with refused("no-such-check"):
            chosen(checks, which, "r")
    with pytest.raises(BadInputError):
        chosen((), "first", "r")
