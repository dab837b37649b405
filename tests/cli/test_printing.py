"""Proves how commands print: plain columns for a script, a drawn table for a terminal.

Does not prove colours, nor what the figures are.
"""

from __future__ import annotations

import sys
from io import StringIO

import pytest

from cli.printing import Lines, plain, printable, say, say_numbered, show_table
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


def test_a_terminal_of_80_columns_cuts_no_verdict_and_folds_no_figure(monkeypatch, capsys):
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "dumb")
    monkeypatch.setenv("COLUMNS", "80")
    heads = ("camera", "verdict", "marks", "blur px", "rms px", "pan off", "tilt off", "roll off")
    row = ("right", "not-judged", "20/22", "0.7", "0.60", "-10.11", "+10.35", "-10.67", "0.65")
    show_table(Lines(heads=(*heads, "sigma deg"), rows=(row,)))
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert sum(all(figure in line for figure in row) for line in lines) == 1


def test_long_lines_are_folded_for_a_terminal_alone(monkeypatch, capsys):
    long = "step " * 40
    say(long.strip())
    assert len(capsys.readouterr().out.splitlines()) == 1
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "80")
    say_numbered([(long.strip(), "then it lies within")])
    first, *rest = capsys.readouterr().out.splitlines()
    assert first.startswith("1. step")
    assert all(line.startswith("   ") and len(line) <= 80 for line in rest)
    assert rest[-1] == "   then it lies within"


def test_a_doubt_is_written_as_the_terminal_can(monkeypatch, capsys):
    say("5.4 cm (+-0.6)")
    assert capsys.readouterr().out == "5.4 cm (\N{PLUS-MINUS SIGN}0.6)\n"
    monkeypatch.setattr("cli.printing._has", lambda character: False)
    say("5.4 cm (+-0.6)")
    assert capsys.readouterr().out == "5.4 cm (+-0.6)\n"
