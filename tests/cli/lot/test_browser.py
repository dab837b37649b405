"""Proves the page in a real Chromium: a day in the lot from first picture to verdict.

Skipped, and says so, where there is no chromium with its driver. The job is what `init` makes of
answers, pictures are drawn by `scene`.
Does not prove what is found in them, nor how the page looks: somebody has to look at that.
"""

from __future__ import annotations

import contextlib
import shutil
import time
from pathlib import Path

import pytest

pytest.importorskip("selenium")

from selenium.common.exceptions import NoSuchElementException, StaleElementReferenceException
from selenium.webdriver.common.by import By
from typer.testing import CliRunner

from cli.main import app
from tests.cli.lot.chromium import BROWSER, DRIVER, asked, chromium, console, grave_findings
from tests.cli.lot.serving import serving
from tests.paths import SAMPLES
from vision.files.disk import read_job
from vision.inspection.running import Running
from vision.practice.deviations_file import deviations_from_text
from vision.practice.scene import draw_scene, drawn_file

pytestmark = pytest.mark.skipif(
    not (BROWSER and DRIVER),
    reason="no chromium with chromedriver: apt-get install chromium-driver",
)

ANSWERS = SAMPLES / "long_shadow" / "answers.toml"
NAMES = ("front", "left", "rear", "right")
SIZES = (390, 1280)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory) -> Path:
    """A job, pictures with the front camera six degrees too far down, and a fifth well aimed."""
    folder = tmp_path_factory.mktemp("drawn")
    made = CliRunner().invoke(app, ["init", str(folder), "--answers", str(ANSWERS)])
    assert made.exit_code == 0, made.output
    job, _ = read_job(folder / "job.toml")
    for file, tilt_deg in (("{}.jpg", 6), ("{}-2.jpg", 0.5)):
        text = f"[camera.front]\ntilt_deg = {tilt_deg}\n"
        asked_for = deviations_from_text(text, "deviations.toml", job)
        for name, pixels in draw_scene(job, asked_for, 1).pictures.items():
            path = folder / file.format(name)
            path.write_bytes(drawn_file(pixels, path.name, 92))
    return folder


def lot_of(drawn: Path, folder: Path) -> Path:
    """A folder with the job alone: the path of its job file."""
    for name in ("job.toml", "layout.toml"):
        shutil.copy(drawn / name, folder)
    return folder / "job.toml"


@pytest.fixture(scope="module")
def served(drawn, tmp_path_factory):
    with serving(lot_of(drawn, tmp_path_factory.mktemp("lot")), Running()) as page:
        page.settled(lambda shown: shown.cards)
        yield page


def cards(driver):
    """Verdict and picture of each card, as a person has them; read again where one was renewed."""
    found = {}
    until(lambda: found.update(_cards(driver)) or found)
    return found


def _cards(driver):
    found = {}
    for card in driver.find_elements(By.CSS_SELECTOR, "article"):
        name = card.find_element(By.TAG_NAME, "h2").text
        images = card.find_elements(By.CSS_SELECTOR, ".shot img")
        image = images[0].get_attribute("src") if images else ""
        found[name] = card.find_element(By.CSS_SELECTOR, ".verdict").text, image
    return found


def until(test, seconds=90.0):
    """Wait until something holds; parts of the page may be gone before they are read."""
    for _ in range(int(10 * seconds)):
        with contextlib.suppress(StaleElementReferenceException, NoSuchElementException):
            if test():
                return
        time.sleep(0.1)
    raise TimeoutError("it did not come about")


def choose(driver, field, *files):
    """Choose files in a field; parts of the page, and fields with them, may just be renewed."""
    names = "\n".join(map(str, files))
    until(lambda: driver.find_element(By.ID, field).send_keys(names) is None)


def text_of(driver, selector) -> str:
    return driver.find_element(By.CSS_SELECTOR, selector).text


def head(driver) -> str:
    return text_of(driver, "#head .all")


def in_order(driver, served):
    """No message, no request elsewhere, nothing beyond the right edge, no serious finding."""
    assert grave_findings(driver) == []
    assert console(driver) == []
    assert {url for url in asked(driver) if not url.startswith(served.url)} == set()
    wide = "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert driver.execute_script(wide) <= 0


def test_a_day_in_the_lot(served, drawn, tmp_path):
    with chromium(tmp_path / "profile") as driver:
        driver.get(served.url)
        assert {verdict for verdict, _ in cards(driver).values()} == {"no picture yet"}
        in_order(driver, served)
        choose(driver, "files", *(drawn / f"{name}.jpg" for name in NAMES))
        until(lambda: head(driver) == "re-aim")
        before = cards(driver)
        assert [before[name][0] for name in NAMES] == ["re-aim", "keep", "keep", "keep"]
        until(lambda: text_of(driver, "#camera-0 .what") == "turn it up")
        until(lambda: float(text_of(driver, "#camera-0 .big")[:-1]) == pytest.approx(6, abs=1))
        in_order(driver, served)
        # The fifth picture by its camera's own place.
        choose(driver, "file-0", drawn / "front-2.jpg")
        until(lambda: head(driver) == "keep")
        after = cards(driver)
        assert {name for name in NAMES if after[name] != before[name]} == {"front"}
        until(lambda: "→" in text_of(driver, "#camera-0 .changed"))
        in_order(driver, served)
        driver.get(served.url + "report")
        assert console(driver) == []


@pytest.mark.parametrize("width", SIZES)
@pytest.mark.parametrize("dark", [False, True])
def test_the_page_is_in_order_on_every_screen(served, drawn, tmp_path, width, dark):
    with chromium(tmp_path / "profile", width, dark=dark) as driver:
        for address in ("", "sheet"):
            driver.get(served.url + address)
            in_order(driver, served)


def test_upload_and_verdict_without_script(drawn, tmp_path):
    (tmp_path / "lot").mkdir()
    with (
        serving(lot_of(drawn, tmp_path / "lot"), Running()) as served,
        chromium(tmp_path / "profile", script=False) as driver,
    ):
        driver.get(served.url)
        files = "\n".join(str(drawn / f"{name}.jpg") for name in NAMES)
        driver.find_element(By.ID, "files").send_keys(files)
        driver.find_element(By.CSS_SELECTOR, ".drop .send").click()
        until(lambda: "re-aim" in driver.page_source and "looking" not in driver.page_source)
        assert cards(driver)["front"][0] == "re-aim"


def test_two_browsers_at_once(drawn, tmp_path):
    """Both see what either sends; of two pictures sent for one camera at once both are kept."""
    (tmp_path / "lot").mkdir()
    with (
        serving(lot_of(drawn, tmp_path / "lot"), Running()) as served,
        chromium(tmp_path / "one", SIZES[0]) as one,
        chromium(tmp_path / "two", SIZES[1]) as two,
    ):
        both = (one, two)
        for driver in both:
            driver.get(served.url)
        # Sent in one breath: the second request comes while the first is taken in or looked at.
        for driver, file in zip(both, ("front.jpg", "front-2.jpg"), strict=True):
            choose(driver, "file-0", drawn / file)
        choose(two, "files", *(drawn / f"{name}.jpg" for name in NAMES[1:]))
        served.settled(lambda shown: shown.verdict and shown.cards[0].tries == 2)
        kept = {each.hash12 for each in served.page.day.snapshots()}
        assert len(kept) == 5
        for driver in both:
            until(lambda driver=driver: head(driver) == served.page.day.shown.verdict)
            in_order(driver, served)
        until(lambda: cards(one) == cards(two))


def test_a_phone_comes_in_by_its_address_once(drawn, tmp_path):
    (tmp_path / "lot").mkdir()
    with (
        serving(lot_of(drawn, tmp_path / "lot"), Running(), door=True) as served,
        chromium(tmp_path / "profile", SIZES[0]) as driver,
    ):
        token = served.page.door.token
        driver.get(served.url)
        assert driver.find_element(By.TAG_NAME, "body").text.startswith("Refused:")
        driver.get(f"{served.url}join/{token}")
        until(lambda: driver.current_url == served.url)
        until(lambda: driver.find_elements(By.CSS_SELECTOR, "article"))
        assert driver.execute_script("return document.cookie") == ""
        choose(driver, "files", drawn / "front.jpg")
        until(lambda: cards(driver)["front"][0] == "re-aim")
        driver.get(f"{served.url}join/{token}")
        assert driver.find_element(By.TAG_NAME, "body").text.startswith("Refused:")
