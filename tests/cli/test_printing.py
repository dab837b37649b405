"""Proves how commands print: plain columns for a script, a drawn table for a terminal.

Does not prove colours, nor what the figures are.
"""

from __future__ import annotations

import sys
from io import StringIO

import pytest

from cli.printing import Lines, plain, printable, say, show_table
from cli.progress import shown_progress

TABLE = Lines(
    heads=("camera", "verdict", "pan off"),
    rows=(("front [red]", "keep", "+0.59"), ("a\x1b[2Jb", "re-aim", "-12.00")),
)


def test_plain_columns_are_two_spaces_apart_and_end_with_their_text():
    assert plain(TABLE).splitlines() == [
        "camera       verdict  pan off",
        "front [red]  keep       +0.59",
        "a?[2Jb       re-aim    -12.00",
    ]


def test_a_long_line_is_not_folded():
    long = Lines(heads=("name", "verdict"), rows=(("n" * 500, "keep"),))
    assert plain(long).splitlines()[1] == "n" * 500 + "  keep"


def test_a_terminal_gets_a_drawn_table(monkeypatch, capsys):
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "dumb")
    show_table(TABLE)
    shown = capsys.readouterr().out
    assert "front [red]" in shown
    assert "\x1b[2J" not in shown
    assert any(set(line.strip()) in ({"\u2500"}, {"-"}) for line in shown.splitlines())


@pytest.mark.parametrize("gap", [True, False])
def test_a_table_without_rows_is_not_printed(capsys, gap):
    show_table(Lines(heads=("seam", "verdict"), rows=()), gap=gap)
    assert capsys.readouterr().out == ""


def test_nothing_steers_a_terminal(capsys):
    say("a\x1b[2J", "b\u202e")
    assert capsys.readouterr().out == "a?[2J\nb?\n"
    assert printable("two\nlines") == "two\nlines"


def test_progress_says_nothing_where_nobody_looks(capsys):
    with shown_progress() as progress:
        progress("trying layouts: 3")
    assert capsys.readouterr() == ("", "")


def test_progress_on_a_terminal_is_the_step_and_the_time(monkeypatch):
    shown = StringIO()
    shown.isatty = lambda: True
    monkeypatch.setattr(sys, "stderr", shown)
    monkeypatch.setenv("TERM", "xterm")
    with shown_progress() as progress:
        progress("drawing [front]: 2 of 4")
    assert "drawing [front]: 2 of 4" in shown.getvalue()
