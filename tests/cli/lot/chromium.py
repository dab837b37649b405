"""Debian's Chromium, driven by Selenium: it speaks to this machine alone."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import Any

from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service

BROWSER, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    "--force-prefers-reduced-motion",
)
GRAVE = ("serious", "critical")


@contextmanager
def chromium(
    profile: Path, width: int = 1280, *, dark: bool = False, script: bool = True
) -> Iterator[webdriver.Chrome]:
    """A browser with a fresh profile and a window of that width."""
    options = Options()
    options.binary_location = str(BROWSER)
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    if not script:
        off = {"profile.managed_default_content_settings.javascript": 2}
        options.add_experimental_option("prefs", off)
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    try:
        on_screen(driver, width, dark=dark)
        yield driver
    finally:
        driver.quit()


def on_screen(driver: webdriver.Chrome, width: int, *, dark: bool = False) -> None:
    """Give a browser a window of that width; what it said and asked before is forgotten."""
    screen = {"width": width, "height": 844, "deviceScaleFactor": 1, "mobile": width < 600}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
    scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})
    for log in ("browser", "performance"):
        driver.get_log(log)


def console(driver: webdriver.Chrome) -> list[str]:
    """What was said on the console."""
    return [each["message"] for each in driver.get_log("browser")]


def asked(driver: webdriver.Chrome) -> set[str]:
    """Every address of a network that was asked for."""
    events = (json.loads(each["message"])["message"] for each in driver.get_log("performance"))
    sent = (e["params"]["request"]["url"] for e in events if e["method"].endswith("WillBeSent"))
    return {url for url in sent if url.startswith(("http", "ws", "ftp"))}


def grave_findings(driver: webdriver.Chrome) -> list[tuple[str, list[str]]]:
    """Serious findings of axe-core on the page, with the elements they are about.

    It is run over the developer's protocol, which no policy of the page holds back.
    """
    axe = (
        files("axe_selenium_python").joinpath("node_modules/axe-core/axe.min.js").read_text("utf-8")
    )
    driver.execute_cdp_cmd("Runtime.evaluate", {"expression": axe})
    run = "axe.run({resultTypes: ['violations']}).then((found) => JSON.stringify(found.violations))"
    answer: dict[str, Any] = driver.execute_cdp_cmd(
        "Runtime.evaluate", {"expression": run, "awaitPromise": True}
    )
    return [
        (each["id"], [node["html"][:200] for node in each["nodes"]])
        for each in json.loads(answer["result"]["value"])
        if each["impact"] in GRAVE
    ]
