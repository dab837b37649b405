"""The terms of a page, each with its plain sentence a tap away; no page shows a term without one.

A term is a button that opens its sentence over the page, which needs no script; where a browser
knows nothing of that, the sentences stand at the end of the page. In a sentence the first place of
a term in each part of the page is such a button.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

from markupsafe import Markup, escape


@cache
def plain_sentences() -> dict[str, str]:
    """Each term with its plain sentence."""
    return {term: entry["says"] for term, entry in _table().items()}


@cache
def _forms() -> dict[str, str]:
    """Every form of a term with the term itself, the longest first."""
    every = {form: term for term, e in _table().items() for form in (term, *e.get("also", ()))}
    return dict(sorted(every.items(), key=lambda item: -len(item[0])))


@cache
def _table() -> dict[str, dict[str, str]]:
    return dict(_file()["terms"])


@cache
def _file() -> dict[str, Any]:
    return tomllib.loads(files("vision.documents").joinpath("terms.toml").read_text("utf-8"))


def meaning_of(verdict: str) -> str:
    """What a verdict on the whole job means."""
    return str(_file()["verdicts"][verdict])


@cache
def _pattern() -> re.Pattern[str]:
    words = (form for form in _forms() if form not in COMMON and form[0].isalpha())
    return re.compile(
        rf"\(?±(?:\s?[\d.]+\)?)?|(?<![\w&;-])(?:{'|'.join(map(re.escape, words))})(?![\w-])"
    )


DOUBT = "±"
"""Tapped together with its figure: alone it is too small."""
COMMON = frozenset(
    {"ahead", "left", "up", "off", "found", "turn", "used", "place", "ground", "wrong", "light"}
    | {"camera", "cameras", "within", "aim", "allowed", "meant", "sound", "ring", "keep", "strip"}
    | {"strips", "mark", "marks", "display", "the display", "differs", "agrees"}
)
"""Terms that are everyday words in a sentence, and terms only as a head or a label."""


@dataclass(slots=True)
class Terms:
    """The terms shown so far on one page."""

    shown: set[str] = field(default_factory=set)
    here: set[str] = field(default_factory=set)

    def fresh(self) -> str:
        """Begin a part of the page, in which a term may be tapped once more."""
        self.here.clear()
        return ""

    def term(self, text: str, of: str = "") -> Markup:
        """A term as a button; `of` the term where the text is another form of it.

        KeyError for a term without a plain sentence.
        """
        term = of or _forms()[text]
        self.shown.add(term)
        self.here.add(term)
        return Markup('<button type="button" class="term" popovertarget="{}">{}</button>').format(
            term_id(term), text
        )

    def linked(self, text: str) -> Markup:
        """A sentence, in which each term that is new in this part of the page can be tapped."""

        def link(match: re.Match[str]) -> str:
            term = DOUBT if DOUBT in match[0] else _forms()[match[0]]
            return match[0] if term in self.here else str(self.term(match[0], term))

        return Markup(_pattern().sub(link, str(escape(text))))

    def told(self) -> list[tuple[str, str, str]]:
        """The terms shown, each with its id and its plain sentence."""
        says = plain_sentences()
        return [(term_id(term), term, says[term]) for term in says if term in self.shown]


def term_id(term: str) -> str:
    """The id of a term's sentence on a page."""
    return f"term-{list(_table()).index(term)}"
