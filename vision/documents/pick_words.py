"""What `seamtrue picks` makes of an inspection: the list and its files, or a word on each pick."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment

from vision.documents.check_words.saying import Say, templates_of, words_of
from vision.documents.pick_judging import ALIKE_PX, judge_picks
from vision.documents.picks import Screen, pick_lists
from vision.documents.picks_text import picks_csv, picks_from_text
from vision.documents.report.pick_page import picks_html
from vision.inspection.inspected import Inspection
from vision.job.layout import planned_layout
from vision.units.length_words import LengthWords

WAYS = (("left", "right"), ("high", "low"))
"""Words for a pick too far back and too far on across the screen, and down it."""
STRETCH = 0.01
"""Share by which a screen may stretch a picture unsaid."""
Said = tuple[list[str], set[str]]
"""Lines to print, and verdicts for the exit code."""


def listed(inspection: Inspection, screen: Screen) -> tuple[dict[str, bytes | str], Said]:
    """The files picks.html and picks.csv, and what to say of them."""
    lists = pick_lists(inspection, screen)
    size = (screen.width, screen.height) if screen.width and screen.height else None
    contents: dict[str, bytes | str] = {
        "picks.html": picks_html(inspection, lists, size),
        "picks.csv": picks_csv(lists),
    }
    lines = [
        f"{name}: {len(picks)} marks" if picks else f"{name}: its marks were not found"
        for name, picks in lists.items()
    ]
    for found in inspection.cameras:
        across, down = screen.scale(found)
        if abs(across / down - 1) > STRETCH:
            lines.append(
                f"note: the {found.camera.name} camera's picture has another shape than that "
                "screen; the list takes it as stretched to fill it"
            )
    verdicts = set() if all(lists.values()) else {"not-judged"}
    return contents, (lines, verdicts)


def judged_file(inspection: Inspection, screen: Screen, text: bytes, file: str) -> Said:
    """Judge a table of picks."""
    lists = pick_lists(inspection, screen)
    ids = [str(mark.id) for mark in planned_layout(inspection.job).points]
    names = {name: [*ids, *(str(pick.number) for pick in picks)] for name, picks in lists.items()}
    judged = judge_picks(inspection, screen, picks_from_text(text, file, names))
    say = say_pick(inspection.job.lengths)
    lines = []
    for each in judged:
        mark = each.picked.mark
        name = mark if mark == each.mark else f"{mark} ({each.mark})"
        lines.append(f"{each.picked.camera} {name}: {say(each.reason)}")
    good = sum(each.verdict == "good" for each in judged)
    return [*lines, f"{good} of {len(judged)} picks are good"], {each.verdict for each in judged}


def say_pick(lengths: LengthWords) -> Say:
    """What makes the sentence of the reason that a judged pick carries."""
    return Say(lengths=lengths, templates=_templates())


@cache
def _templates() -> Environment:
    return templates_of(words_of("pick_words.toml"), on_screen=_on_screen)


def _on_screen(off_px: tuple[float, float]) -> str:
    """Such as '9 px low and 2 px right'."""
    parts = [
        f"{abs(value):.0f} px {words[int(value > 0)]}"
        for value, words in zip(off_px[::-1], WAYS[::-1], strict=True)
        if abs(value) >= ALIKE_PX
    ]
    return " and ".join(parts) or "on it to half a pixel"
