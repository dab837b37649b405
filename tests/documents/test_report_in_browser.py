"""Proves in a browser what a page is like to use: on a phone, on a desk, and on paper.

Left out, with a word, where there is no Chromium. Does not prove that it reads well.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from selenium import webdriver

from tests.cli.lot.chromium import (
    BROWSER,
    DRIVER,
    asked,
    chromium,
    console,
    grave_findings,
    on_screen,
)
from tests.paths import LONG_SHADOW
from vision.documents.report.report import report_html
from vision.documents.result import result_of
from vision.documents.steps import steps
from vision.documents.top_view import top_view
from vision.files import disk
from vision.inspection.inspect import inspect
from vision.inspection.inspected import Inspection

pytestmark = pytest.mark.skipif(
    BROWSER is None or DRIVER is None, reason="no chromium and chromedriver here to look with"
)
SCREEN_PX = 844
A4 = {"paperWidth": 8.27, "paperHeight": 11.69, "printBackground": True, "preferCSSPageSize": True}


@cache
def made() -> Inspection:
    job, pictures = disk.read_inspection_input(LONG_SHADOW)
    return inspect(job, pictures)


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("page") / "report.html"
    html = report_html(made(), result_of(made()), top_view(made()))
    file.write_text(html, encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    with chromium(tmp_path_factory.mktemp("browser") / "profile") as driver:
        yield driver


@pytest.fixture(params=[(390, False), (390, True), (1280, False)], ids=["phone", "dark", "desk"])
def shown(
    request: pytest.FixtureRequest, page: Path, browser: webdriver.Chrome
) -> webdriver.Chrome:
    width, dark = request.param
    on_screen(browser, width, dark=dark)
    browser.get(page.as_uri())
    return browser


@pytest.fixture
def phone(page: Path, browser: webdriver.Chrome) -> webdriver.Chrome:
    on_screen(browser, 390)
    browser.get(page.as_uri())
    return browser


def measured(driver: webdriver.Chrome, expression: str) -> Any:
    return driver.execute_script(f"return {expression}")


OPEN_ALL = "document.querySelectorAll('details').forEach((e) => e.open = true)"
OVERLAPS = """(() => {
  const boxes = [...document.querySelectorAll('main > *, dl > *, td, th, .todo > li, .found > li')]
    .filter((e) => e.getClientRects().length).map((e) => [e, e.getBoundingClientRect()]);
  return boxes.flatMap(([a, r]) => boxes.filter(([b, s]) => a !== b
    && a.parentElement === b.parentElement
    && Math.min(r.right, s.right) - Math.max(r.left, s.left) > 1
    && Math.min(r.bottom, s.bottom) - Math.max(r.top, s.top) > 1).map(() => a.textContent.trim()));
})()"""


@pytest.mark.parametrize("opened", [False, True])
def test_nothing_is_wider_overlaps_asks_or_is_hard_to_reach(
    shown: webdriver.Chrome, opened: bool
) -> None:
    if opened:
        shown.execute_script(OPEN_ALL)
    assert measured(shown, "document.documentElement.scrollWidth - innerWidth") <= 0
    assert measured(shown, OVERLAPS) == []
    assert grave_findings(shown) == []
    assert console(shown) == []
    assert asked(shown) == set()


def test_the_first_screen_says_what_is_wrong_and_what_to_do_first(phone: webdriver.Chrome) -> None:
    """The verdict, a line for each camera and for what is not kept, and the first step whole."""
    lows = measured(
        phone,
        "['header', '.todo > li h3', '.todo > li figure .shot'].map((each) =>"
        " document.querySelector(each).getBoundingClientRect().bottom)",
    )
    assert max(lows) <= SCREEN_PX
    lines = measured(phone, "document.querySelectorAll('.found > li').length")
    assert lines == len(made().cameras) + sum(s.verdict != "keep" for s in made().strips) + sum(
        s.verdict != "within" for s in made().seams
    )


def test_a_report_is_at_most_four_screens_and_one_for_each_step(phone: webdriver.Chrome) -> None:
    screens = measured(phone, "document.documentElement.scrollHeight") / SCREEN_PX
    assert screens <= 4 + len(steps(made()))
    shut = measured(phone, "[...document.querySelectorAll('main details')].filter((e) => e.open)")
    assert shut == []
    assert measured(phone, "document.querySelector('#cautions').closest('details')") is None


def test_what_is_touched_is_large_enough_and_what_is_read_too(phone: webdriver.Chrome) -> None:
    """44 px for buttons, summaries and labels; 16 px for captions and all other text on them."""
    small = measured(
        phone,
        "[...document.querySelectorAll('summary, .verdict, .buttons button, .seam-view label')]"
        ".filter((e) => e.tagName !== 'SPAN' && e.getClientRects().length)"
        ".filter((e) => e.getBoundingClientRect().height < 43.9).map((e) => e.outerHTML)",
    )
    assert small == []
    captions = "[...document.querySelectorAll('figcaption, p, li')]"
    least = f"Math.min(...{captions}.map((e) => parseFloat(getComputedStyle(e).fontSize)))"
    assert measured(phone, least) >= 16


def test_tables_show_roll_and_overlap_on_a_phone(phone: webdriver.Chrome) -> None:
    phone.execute_script(OPEN_ALL)
    wide = measured(
        phone,
        "[...document.querySelectorAll('table')].map((e) => e.getBoundingClientRect().right)",
    )
    assert max(wide) <= 390


def test_a_term_is_a_tap_away_without_script(page: Path, tmp_path: Path) -> None:
    with chromium(tmp_path / "profile", 390, script=False) as driver:
        driver.get(page.as_uri())
        term = driver.find_element("css selector", ".todo .term")
        tip = driver.find_element("id", term.get_attribute("popovertarget"))
        assert not tip.is_displayed()
        term.click()
        assert tip.is_displayed()
        assert len(tip.text) > 20


def pages(driver: webdriver.Chrome) -> pypdfium2.PdfDocument:
    pdf = driver.execute_cdp_cmd("Page.printToPDF", A4)["data"]
    return pypdfium2.PdfDocument(base64.b64decode(pdf))


def test_it_prints_on_four_pages_that_fill(phone: webdriver.Chrome) -> None:
    """No page is left with less than a third of its height used."""
    printed = pages(phone)
    assert len(printed) == 4
    for sheet in printed:
        low = min(each.get_bounds()[1] for each in sheet.get_objects())
        assert low < sheet.get_height() * 2 / 3
    assert "Still to do" in printed[0].get_textpage().get_text_range()
    assert measured(phone, "document.querySelectorAll('main details[open]').length") == 0


def test_everything_is_printed_on_request(phone: webdriver.Chrome) -> None:
    phone.execute_script("document.body.classList.add('everything')")
    phone.execute_script(OPEN_ALL)
    assert len(pages(phone)) > 4


def test_a_job_that_is_kept_prints_a_sheet_to_sign(
    browser: webdriver.Chrome, tmp_path: Path
) -> None:
    kept = replace(made(), verdict="keep", actions=())
    file = tmp_path / "report.html"
    file.write_text(report_html(kept, result_of(kept), top_view(kept)), encoding="utf-8")
    on_screen(browser, 390)
    browser.get(file.as_uri())
    first = pages(browser)[0].get_textpage().get_text_range()
    assert "Signature" in first
    assert "What makes this void" in first
