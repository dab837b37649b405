"""Proves that the page is one safe file whose figures are the result's.

Does not prove its looks: those are looked at in a browser.
"""

from __future__ import annotations

import base64
import re
from dataclasses import replace
from html.parser import HTMLParser

import cv2
import numpy as np
import pytest

from vision.report import report_html
from vision.result import result_of
from vision.topview import top_view

HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{ 7 * 7 }}"
VOID = {"meta", "img", "br", "link", "input"}


class Page(HTMLParser):
    """Tags with attributes, text, and whether every tag is closed in order."""

    def __init__(self, html):
        super().__init__(convert_charrefs=True)
        self.tags, self.text, self.values, self.open = [], [], [], []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag == "data":
            self.values.append(float(dict(attrs)["value"]))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def page_of(inspection):
    result = result_of(inspection)
    html = report_html(inspection, result, top_view(inspection))
    return html, Page(html), result


def test_page_is_well_formed_and_needs_nothing_from_outside(inspection):
    html, page, _ = page_of(inspection)
    assert page.open == []
    assert html.lstrip().lower().startswith("<!doctype html>")
    for tag, attributes in page.tags:
        assert tag not in ("script", "link", "iframe", "object")
        assert not any(name.startswith("on") for name in attributes)
        for name in ("src", "href"):
            assert attributes.get(name, "#").startswith(("data:image/", "#"))
    style = "".join(re.findall(r"<style>(.*?)</style>", html, re.DOTALL))
    assert "url(" not in style
    assert "@import" not in style
    assert "prefers-color-scheme: dark" in style


def test_hostile_names_are_text(inspection, inspection_of, job_called):
    hostile = inspection_of(job_called(HOSTILE))
    first = hostile.cameras[0]
    cameras = (replace(first, camera=replace(first.camera, name=HOSTILE)), *hostile.cameras[1:])
    hostile = replace(hostile, cameras=cameras, warnings=(HOSTILE,))
    _, page, _ = page_of(hostile)
    _, harmless, _ = page_of(inspection)
    assert [tag for tag, _ in page.tags] == [tag for tag, _ in harmless.tags]
    text = "".join(page.text)
    assert text.count(HOSTILE) >= 3
    assert page.open == []


def test_figures_on_the_page_are_those_of_the_result(inspection):
    _, page, result = page_of(inspection)
    numbers = set()

    def collect(value):
        if isinstance(value, dict):
            for each in value.values():
                collect(each)
        elif isinstance(value, list):
            for each in value:
                collect(each)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            numbers.add(float(value))

    collect(result)
    differences = {
        round((camera["joint"]["aim_deg"][name] - intended + 180) % 360 - 180, 4)
        for camera in result["cameras"]
        if camera["joint"]
        for name, intended in camera["intended_aim_deg"].items()
    }
    assert set(page.values) <= numbers | differences
    for shown in (0.221, 0.513, 0.00412, 0.02131, 0.051, -0.023, 0.0412, -0.0112, 1.934, 1.1234):
        assert shown in page.values


def test_shown_digits_agree_with_the_numbers(inspection):
    html, _, _ = page_of(inspection)
    shown = re.findall(r'<data value="([^"]+)">([^<]+)</data>', html)
    assert len(shown) > 50
    for value, text in shown:
        number, figure = float(value), float(text.replace("\N{MINUS SIGN}", "-"))
        digits = len(text.partition(".")[2])
        as_is, as_cm = abs(figure - number), abs(figure - 100 * number)
        assert min(as_is, as_cm) <= 0.5000001 * 10.0**-digits


def test_marks_are_told_apart_by_shape_and_drawn_where_they_are(inspection):
    html, _, _ = page_of(inspection)
    symbols = dict(
        re.findall(r'<g class="mark (\S+)" .*?<g class="halo">\s*(.*?)\s*</g>', html, re.DOTALL)
    )
    assert set(symbols) == {"used", "rejected", "not-found"}
    assert len(set(symbols.values())) == 3
    assert 'class="mark used" transform="translate(200.1 100.6)' in html
    # The mark that was not found is drawn where the fit expects it, turned over where mirrored.
    for camera in inspection.cameras:
        if camera.plan_fit is None:
            continue
        fit = camera.plan_fit
        u, v = camera.picture.as_delivered(
            fit.lens.project(fit.pose.transform(camera.marks[2].planned_m))
        )
        drawn = f'class="mark not-found" transform="translate({u:.1f} {v:.1f})'
        assert (drawn in html) == bool(fit.lens.contains(np.array([u, v])))


def test_pictures_are_shown_as_delivered_and_not_wider_than_a_screen(inspection):
    rear = inspection.cameras[2]
    assert rear.picture.mirrored
    wide = np.zeros((900, 2000, 3), dtype=np.uint8)
    wide[:, :1000] = 255
    picture = type(rear.picture).from_delivered(
        name="rear", file="rear.jpg", sha256="0" * 64, mirrored=True, bgr=wide
    )
    cameras = tuple(
        replace(each, picture=picture) if each is rear else each for each in inspection.cameras
    )
    html, _, _ = page_of(replace(inspection, cameras=cameras))
    shown = [
        cv2.imdecode(np.frombuffer(base64.b64decode(data), np.uint8), cv2.IMREAD_COLOR)
        for data in re.findall(r"data:image/jpeg;base64,([^\"]+)", html)
    ]
    assert len(shown) == 4
    assert shown[2].shape[:2] == (576, 1280)
    assert shown[2][:, :600].mean() > 250
    assert shown[2][:, 700:].mean() < 5


@pytest.mark.parametrize(
    "phrase",
    [
        "measuring aid",
        "certifies nothing",
        "replaces no mirror and no look around the vehicle",
        "Local law",
        "chocked",
        "brake",
        "moving traffic",
        "Ladders",
        "Variance factor",
        "a priori",
    ],
)
def test_page_says_what_it_must(inspection, phrase):
    _, page, _ = page_of(inspection)
    assert phrase in " ".join("".join(page.text).split())


def test_to_do_list_starts_with_the_worst(inspection):
    _, page, _ = page_of(inspection)
    text = "".join(page.text)
    again, move, turn = (
        text.index(words)
        for words in ("take the picture again", "move it back", "turn it up by 3.9")
    )
    assert again < move < turn


def test_a_job_where_all_is_kept_says_so(inspection):
    kept = replace(inspection, verdict="keep", cameras=inspection.cameras[:1], strips=(), seams=())
    kept = replace(kept, raised_marks=(), warnings=(), variance_factor=None)
    _, page, _ = page_of(kept)
    text = "".join(page.text)
    assert "Nothing to do" in text
    assert "Variance factor: none" in text
