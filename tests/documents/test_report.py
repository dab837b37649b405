"""Proves that the page is one safe file whose figures are the result's.

Does not prove its looks: those are looked at in a browser.
"""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser

import cv2
import numpy as np
import pytest

from tests.conftest import hand_made_inspection
from vision.adjustment.groups import Group
from vision.documents.cautions import CAUTION
from vision.documents.report.report import report_html
from vision.documents.result import result_of
from vision.documents.steps import steps
from vision.documents.terms import meaning_of
from vision.documents.top_view import top_view
from vision.job.mark_id import MarkId
from vision.units.reason import Reason
from vision.views.ground import GroundMap
from vision.views.seam_edges import EdgeCrossing
from vision.views.texture.shift import TextureShift

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


@cache
def from_above():
    """A top view; which one is no matter here."""
    return top_view(hand_made_inspection())


def page_of(inspection, **options):
    result = result_of(inspection)
    html = report_html(inspection, result, from_above(), **options)
    return html, Page(html), result


def with_texture(inspection):
    """The same with a texture's shift and a tape's edge at the first seam that has a gap."""
    place = next(index for index, seam in enumerate(inspection.seams) if seam.gap is not None)
    seam = inspection.seams[place]
    texture = TextureShift(
        at_m=(seam.gap.start_m + seam.gap.end_m) / 2,
        shift_m=np.array([0.00731, -0.00412]),
        covariance_m2=np.diag([0.00321, 0.00234]) ** 2,
        slope=np.zeros(2),
        correlation=0.9,
    )
    edge = EdgeCrossing(
        strip="front",
        side="left",
        at_m=np.array([5.0, 2.0]),
        break_m=-0.00617,
        break_sigma_m=0.00118,
        kink_rad=0.0171,
        kink_sigma_rad=0.0024,
    )
    seams = list(inspection.seams)
    seams[place] = replace(seam, texture=texture, edges=(edge,))
    return replace(inspection, seams=tuple(seams))


@pytest.fixture(scope="module")
def ready():
    """The page of the inspection made by hand, written once."""
    return page_of(with_texture(hand_made_inspection()))


def pictures_in(html, alt):
    """The pictures of a page whose alternative text begins with `alt`."""
    found = re.findall(rf'<img src="data:image/jpeg;base64,([^"]+)" alt="{alt}', html)
    return [
        cv2.imdecode(np.frombuffer(base64.b64decode(data), np.uint8), cv2.IMREAD_COLOR)
        for data in found
    ]


def test_page_is_well_formed_and_needs_nothing_from_outside(ready):
    html, page, _ = ready
    assert page.open == []
    assert html.lstrip().lower().startswith("<!doctype html>")
    for tag, attributes in page.tags:
        assert tag not in ("link", "iframe", "object", "form")
        assert tag != "script" or not attributes
        assert not any(name.startswith("on") for name in attributes)
        for name in ("src", "href"):
            assert attributes.get(name, "#").startswith(("data:image/", "#"))
    scripts = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
    assert len(scripts) == 1
    digest = base64.b64encode(hashlib.sha256(scripts[0].encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in html
    style = "".join(re.findall(r"<style>(.*?)</style>", html, re.DOTALL))
    assert "url(" not in style
    assert "@import" not in style
    assert "prefers-color-scheme: dark" in style


def renamed(name, inspection):
    """The inspection with a job, camera, mark, strip, seams and warning of that name."""
    first = inspection.cameras[0]
    camera = replace(first.camera, name=name)
    marks = (replace(first.marks[0], id=MarkId(name)), *first.marks[1:])
    seams = tuple(
        replace(seam, between=tuple(name if each == "front" else each for each in seam.between))
        for seam in inspection.seams
    )
    return replace(
        inspection,
        cameras=(replace(first, camera=camera, marks=marks), *inspection.cameras[1:]),
        seams=seams,
        strips=(replace(inspection.strips[0], name=name), *inspection.strips[1:]),
        warnings=(Reason("stated", group=Group("mark", name)),),
    )


@pytest.mark.parametrize("name", [HOSTILE, "\u202eright-to-left \u05d0\u05d1\u05d2", "a" * 200])
def test_hostile_names_are_text(inspection_of, job_called, name):
    html, page, _ = page_of(renamed(name, inspection_of(job_called(name))))
    _, harmless, _ = page_of(renamed("plain", inspection_of(job_called("plain"))))
    assert [tag for tag, _ in page.tags] == [tag for tag, _ in harmless.tags]
    assert "".join(page.text).count(name) >= 12
    assert page.open == []
    (script,) = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
    assert name not in script


def test_figures_on_the_page_are_those_of_the_result(ready):
    _, page, result = ready
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
    for shown in (
        0.221,
        0.513,
        0.00412,
        0.02131,
        0.051,
        -0.023,
        0.0412,
        0.0119,
        0.0033,
        1.934,
        1.1234,
    ):
        assert shown in page.values
    for shown in (0.00731, -0.00412, 0.00321, 0.00234, -0.00617, 0.00118, 0.98, 8.0, 2.4, 3.0):
        assert shown in page.values


def test_shown_digits_agree_with_the_numbers(ready):
    html, _, _ = ready
    shown = re.findall(r'<data value="([^"]+)">([^<]+)</data>', html)
    assert len(shown) > 50
    for value, text in shown:
        number, figure = float(value), float(text.replace("\N{MINUS SIGN}", "-"))
        digits = len(text.partition(".")[2])
        as_is, as_cm = abs(figure - number), abs(figure - 100 * number)
        assert min(as_is, as_cm) <= 0.5000001 * 10.0**-digits


def test_marks_are_told_apart_by_shape_and_drawn_where_they_are(ready, inspection):
    html, _, _ = ready
    drawn_mark = r'<a class="mark (\S+)".*?<g class="sym"><g class="halo">\s*(.*?)\s*</g>'
    symbols = dict(re.findall(drawn_mark, html, re.DOTALL))
    assert set(symbols) == {"used", "rejected", "not-found"}
    assert len(set(symbols.values())) == 3
    places = re.findall(
        r'<a class="mark (\S+)".*?translate\(([\d.-]+) ([\d.-]+)\)', html, re.DOTALL
    )
    assert ("used", "200.1", "100.6") in places
    # The mark that was not found is drawn where the fit expects it, turned over where mirrored.
    for camera in inspection.cameras:
        if camera.plan_fit is None:
            continue
        fit = camera.plan_fit
        u, v = camera.picture.as_delivered(
            fit.lens.project(fit.pose.transform(camera.marks[2].planned_m))
        )
        is_drawn = ("not-found", f"{u:.1f}", f"{v:.1f}") in places
        assert is_drawn == bool(fit.lens.contains(np.array([u, v])))


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
    (shown,) = pictures_in(html, "The picture of camera rear")
    assert shown.shape[:2] == (576, 1280)
    assert shown[:, :600].mean() > 250
    assert shown[:, 700:].mean() < 5


@pytest.mark.parametrize(
    "phrase",
    [
        CAUTION,
        "chocked",
        "brake",
        "moving traffic",
        "Ladders",
        "Variance factor",
        "worked out beforehand",
    ],
)
def test_page_says_what_it_must(ready, phrase):
    _, page, _ = ready
    assert phrase in " ".join("".join(page.text).split())


def test_to_do_list_starts_with_the_worst(ready):
    _, page, _ = ready
    text = "".join(page.text)
    again, move, turn = (
        text.index(words)
        for words in (
            "take the right camera's picture again",
            "move the front strip 4.1 cm",
            "turn the left camera up by 3.9",
        )
    )
    assert again < move < turn


def test_a_job_where_all_is_kept_says_so(inspection):
    kept = replace(inspection, verdict="keep", cameras=inspection.cameras[:1], strips=(), seams=())
    kept = replace(kept, raised_marks=(), warnings=(), variance_factor=None)
    _, page, _ = page_of(kept)
    text = "".join(page.text)
    assert meaning_of("keep") in text
    assert "Do this" not in text
    assert "Variance factor: none" in text


def test_every_link_and_label_leads_to_something(ready):
    _, page, _ = ready
    ids = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for tag, attributes in page.tags:
        if tag == "a":
            assert attributes["href"][1:] in ids
        if tag == "label":
            assert attributes["for"] in ids
        if tag == "img":
            assert attributes["alt"]
        if tag == "svg":
            assert attributes.get("aria-hidden") == "true" or attributes["aria-label"]


def test_pictures_can_be_left_out(inspection):
    html, page, _ = page_of(inspection, shown="none")
    assert "data:image" not in html
    assert "img" not in [tag for tag, _ in page.tags]
    assert 'class="mark used"' in html


def test_cropped_pictures_show_only_ground_near_the_layout(inspection):
    """Pixels whose ray misses the ground near the marks are grey, and so is all without a fit."""
    html, _, _ = page_of(inspection, shown="cropped")
    (front,) = pictures_in(html, "The picture of camera front")
    camera = inspection.cameras[0]
    view = GroundMap(ray_from_ground=camera.ray_from_ground, lens=camera.plan_fit.lens)
    for x, y, near in ((5.5, 0.2, True), (9.5, 0.0, False), (5.0, 4.0, False)):
        u, v = np.round(view.pixel_from_ground(np.array([x, y]))).astype(int)
        grey = np.abs(front[v, u].astype(int) - 128).max() < 8
        assert grey != near, (x, y)
    assert np.abs(front[:20].astype(int) - 128).max() < 12
    assert not pictures_in(html, "The picture of camera right")
    (above,) = pictures_in(html, "The pictures merged")
    assert np.abs(above[-10:, -10:].astype(int) - 128).max() < 8


def test_a_page_with_four_large_pictures_stays_small(inspection):
    rng = np.random.default_rng(1)
    rough = cv2.GaussianBlur(rng.normal(size=(1080, 1920, 3)), (0, 0), 1.5)
    bgr = np.clip(120 + 40 * rough / rough.std(), 0, 255).astype(np.uint8)
    cameras = tuple(
        replace(
            each,
            picture=type(each.picture).from_delivered(
                name=each.picture.name, file="a.jpg", sha256="0" * 64, mirrored=False, bgr=bgr
            ),
        )
        for each in inspection.cameras
    )
    html, _, _ = page_of(replace(inspection, cameras=cameras))
    assert len(html.encode()) < 3_000_000


def test_the_hand_over_sheet_is_there_to_print(inspection):
    kept = replace(inspection, verdict="keep")
    _, page, _ = page_of(kept, made_on="1 March 2031", shown="none")
    text = "".join(page.text)
    for phrase in ("What makes this void", "Signature", "suspension", "A knock", "1 March 2031"):
        assert phrase in text


def test_a_job_that_is_not_kept_has_a_to_do_sheet_and_none_to_sign(inspection):
    html, page, _ = page_of(inspection, shown="none")
    sheet = html.partition("<header>")[0]
    assert sheet.count("<li>take new pictures, and check again</li>") == 1
    assert "Signature" not in "".join(page.text)
    for step in steps(inspection):
        assert step.head.replace("+-", "±").replace("'", "&#39;") in sheet
