"""Proves that pages keep to the table of terms, that forbidden words stand nowhere, one sigma each.

Does not prove that a sentence is understood: that takes somebody beside a vehicle.
"""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from tests.conftest import hand_made_inspection
from tests.documents.test_report import from_above, with_texture
from tests.paths import ROOT
from vision.documents.report.report import report_html
from vision.documents.result import result_of
from vision.documents.terms import Terms, meaning_of, plain_sentences, term_id
from vision.inspection.verdict.jobs import WORST_FIRST

FORBIDDEN = (
    "set free", "usual slip hides", "straddles", "as set", "set anew", "breaks by", "kinks by",
    "lens is a guess", "(one sigma)", "sigma", "a priori", "joint adjustment", "plan fit",
    "residual", "does not fit the rest", "from what a gauge on its housing reads",
    "not certain to be", "not sure enough", "blunder", "covariance", "\N{GREEK SMALL LETTER SIGMA}",
)  # fmt: skip
"""Words of the fit, or of this project alone, that nobody beside a vehicle has a use for."""
UNSAID = re.compile(r"\{[{%#].*?[}%#]\}|^\s*#.*?$|^[\w-]+ = ", re.DOTALL | re.MULTILINE)
"""What a template computes, comments, and the codes that words are found by."""
PLAIN = {
    "Seam", "gap", "overlap", "Camera", "Degrees", "Name", "turn", "What", "in words", "Value",
    "It is", "Change", "Mark", "right", "down", "ahead", "left", "Picture", "Its edges",
    "Drawn out", "Soft patch", "±", "Vehicle", "Number plate or fleet number", "Checked on",
    "Cameras", "Seams", "Strips", "Allowed at most", "Not judged", "Done by", "Date, time",
    "Miss on the ground", "Load, as checked", "Suspension height, as checked",
    "Tyre pressure, as checked", "Doors, as checked", "Mirrors, as checked",
}  # fmt: skip
"""Heads and labels that are everyday words, or terms that are tapped once above."""


class Labels(HTMLParser):
    """The heads of tables and the labels of a page, and the terms that stand in each."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[tuple[str, list[str]]] = []
        self.tapped: set[str] = set()
        self.tips: dict[str, str] = {}
        self._in: str | None = None
        self._tip = ""
        self.text: list[str] = []
        self._skip = 0
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        names = dict(attrs)
        if tag in ("style", "script"):
            self._skip += 1
        if tag in ("dt", "th") and names.get("scope") != "row":
            self._in = tag
            self.found.append(("", []))
        if "popovertarget" in names:
            self.tapped.add(names["popovertarget"])
            if self._in:
                self.found[-1][1].append(names["popovertarget"])
        if "popover" in names:
            self._tip = names["id"]
            self.tips[self._tip] = ""

    def handle_endtag(self, tag):
        if tag in ("style", "script"):
            self._skip -= 1
        if tag == self._in:
            self._in = None
        if tag == "div":
            self._tip = ""

    def handle_data(self, data):
        if self._skip:
            return
        self.text.append(data)
        if self._tip:
            self.tips[self._tip] += data
        if self._in:
            text, terms = self.found[-1]
            self.found[-1] = (text + data, terms)


@pytest.fixture(scope="module")
def page() -> Labels:
    made = with_texture(hand_made_inspection())
    return Labels(report_html(made, result_of(made), from_above()))


def test_every_head_and_label_is_a_term_or_an_everyday_word(page: Labels) -> None:
    names = {f"Edge of {strip}" for strip in ("front", "left", "right", "rear")}
    open_ = {
        " ".join(text.split())
        for text, terms in page.found
        if not terms and text.strip() and " \N{EN DASH} " not in text
    }
    assert open_ <= PLAIN | names


def test_every_term_that_can_be_tapped_has_its_plain_sentence(page: Labels) -> None:
    assert page.tapped
    assert page.tapped == set(page.tips)
    says = {term_id(term): sentence for term, sentence in plain_sentences().items()}
    for tip in page.tapped:
        assert says[tip] in " ".join(page.tips[tip].split())


def test_a_term_without_a_sentence_is_a_mistake() -> None:
    with pytest.raises(KeyError):
        Terms().term("homography")


def test_a_term_is_tapped_once_in_a_part_of_the_page() -> None:
    terms = Terms()
    assert terms.linked("pan and pan, tilt (±0.3) and ±0.4").count("<button") == 3
    assert terms.linked("pan").count("<button") == 0
    terms.fresh()
    assert terms.linked("<b>panama</b> & pan").count("<button") == 1


def test_what_every_verdict_means_is_said() -> None:
    assert len({meaning_of(word) for word in WORST_FIRST}) == len(WORST_FIRST)


def forbidden_in(text: str) -> list[str]:
    return [word for word in FORBIDDEN if re.search(rf"(?<!\w){re.escape(word)}", text)]


def test_forbidden_words_are_on_no_page(page: Labels) -> None:
    text = " ".join("".join(page.text).split()).lower()
    assert forbidden_in(text) == []


def test_forbidden_words_are_in_no_file_of_words() -> None:
    """Of checks, plans, sheets, tapes, lenses, settings and whatever else is written."""
    documents = ROOT / "vision" / "documents"
    found = []
    for path in sorted([*documents.rglob("*.toml"), *documents.rglob("*.j2")]):
        said = UNSAID.sub("", path.read_text("utf-8"))
        found += [(path.name, word) for word in forbidden_in(said.lower())]
    assert found == []


def test_one_figure_has_one_sigma() -> None:
    """A seam's gap is said with the sigma along it wherever it stands, and never by axes."""
    made = hand_made_inspection()
    result = result_of(made)
    (seams,) = re.findall(
        r'id="seams">(.*?)</details>', report_html(made, result, from_above()), re.S
    )
    (sure,) = re.findall(
        r'id="sure">(.*?)</details>', report_html(made, result, from_above()), re.S
    )
    gaps = [seam for seam in result["seams"] if seam["gap_m"] is not None]
    assert gaps
    for seam in gaps:
        up = f'<data value="{seam["gap_sigma_m"]}">'
        assert up in seams
        assert up in sure
        for axis in range(2):
            assert f'<data value="{seam["worst_gap_sigma_m"][axis]}">' not in seams + sure
