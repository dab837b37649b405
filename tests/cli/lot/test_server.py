"""Proves what the page's server takes, what it refuses, and that nothing else reaches the disk.

The engine is the stand-in of `tests.cli.test_watch`: what is found is proved elsewhere. Does not
prove what a browser does with it; `test_browser.py` does.
"""

from __future__ import annotations

import http.client
import struct
import threading
import zlib

import numpy as np
import pytest

from tests.cli.lot.serving import serving
from tests.cli.test_watch import Aimed
from tests.lots import lot_text
from vision.files import day_folder, record_file
from vision.marks.picture import encoded

NAMES = ("front", "left", "rear", "right")


class Sorting(Aimed):
    """The same, which takes what is dark for the rear camera's, and may be broken."""

    broken = False

    def inspections(self, *given):
        if self.broken:
            raise ZeroDivisionError("broken")
        return super().inspections(*given)

    def whose(self, job, picture):
        return "rear" if picture.bgr.mean() < 5 else None


def still(level, width=160):
    return encoded(np.full((width * 9 // 16, width, 3), level, dtype=np.uint8), ".jpg")


@pytest.fixture
def lot(tmp_path):
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "job.toml").write_text(lot_text(8.0))
    return tmp_path


@pytest.fixture
def served(lot, inspection):
    with serving(lot / "job" / "job.toml", Sorting(inspection)) as page:
        page.settled(lambda shown: shown.cards)
        yield page


def card(shown, name):
    return next(each for each in shown.cards if each.name == name)


def kept(lot):
    """Every file of the whole test's folder but the job."""
    return sorted(p for p in lot.rglob("*") if p.is_file() and p.name != "job.toml")


def test_a_picture_of_a_camera_rewrites_its_card(served, lot):
    assert served.send("/pictures", ("FRONT_12.JPG", still(56)))[0] == 200
    served.settled(lambda shown: card(shown, "front").verdict == "re-aim")
    served.send("/pictures", ("front.jpg", still(12)))
    served.settled(lambda shown: card(shown, "front").verdict == "keep")
    front = card(served.page.day.shown, "front")
    assert front.changed == "tilt 5.6 -> 1.2"
    assert [round(tilt, 1) for _, tilt, _ in front.trail] == [5.6, 1.2]
    assert served.page.day.shown.missing == ("left", "rear", "right")
    served.send("/back", camera="front")
    served.settled(lambda shown: card(shown, "front").verdict == "re-aim")
    served.send("/back", camera="front", forth="yes")
    served.settled(lambda shown: card(shown, "front").verdict == "keep")
    assert len([p for p in kept(lot) if p.suffix == ".jpg"]) == 2


def test_all_pictures_give_a_verdict_a_sheet_and_a_record(served, lot):
    files = [(f"{name}.jpg", still(1 + n, 320)) for n, name in enumerate(NAMES)]
    served.send("/pictures", *files)
    served.settled(lambda shown: shown.verdict == "keep")
    assert b"Hand-over sheet" in served.ask("GET", "/sheet")[1]
    served.send("/note", note="windy <b>here</b>")
    served.send("/keep")
    (check,) = record_file.read_record(lot / "job" / record_file.RECORD_NAME).checks
    assert check.job_text == lot_text(8.0)
    assert [each.camera for each in check.pictures] == list(NAMES)
    assert served.page.day.folder.note() == "windy <b>here</b>"
    page = served.ask("GET", "/")[1].decode()
    assert "windy &lt;b&gt;here&lt;/b&gt;" in page


def test_a_picture_without_a_name_is_sorted_by_what_it_shows_or_asked(served):
    served.send("/pictures", ("IMG_0001.jpg", still(2)), ("IMG_0002.jpg", still(90)))
    served.settled(lambda shown: shown.unsorted and card(shown, "rear").still)
    ((asked, _),) = served.page.day.shown.unsorted
    assert "Whose picture is this?" in served.parts()["came"]
    served.send("/give", number=str(asked.number), camera="left")
    served.settled(lambda shown: card(shown, "left").still and not shown.unsorted)


def png_bomb(width, height):
    """A PNG of few bytes that declares a huge picture."""

    def chunk(name, body):
        check = struct.pack(">I", zlib.crc32(name + body))
        return struct.pack(">I", len(body)) + name + body + check

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    pixels = zlib.compress(bytes(3 * width + 1) * 8)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("front.jpg", b"no picture at all", "another format"),
        ("front.jpg", b"", "an empty file"),
        ("front.jpg", still(9)[:-200], "breaks off"),
        ("front.png", png_bomb(60_000, 60_000), "at most 40 megapixels"),
        ("front.png", png_bomb(5_000, 5_000), "cannot be decoded"),
        ("front.jpg", encoded(np.zeros((20, 20, 3), np.uint8), ".jpg"), "at least 64 px"),
        ("front.jpg", bytes(60_000_000), "60 MB"),
    ],
)
def test_what_is_no_picture_of_use_is_said_and_not_kept(served, lot, name, data, said):
    assert served.send("/pictures", (name, data))[0] == 200
    assert said in served.said[0]
    assert kept(lot) == []


@pytest.mark.parametrize(
    "name",
    [
        "../../front.jpg",
        "/etc/front.jpg",
        "..\\front.jpg",
        f"front{'x' * 200}.jpg",
        "front \u202egpj.exe.jpg",
        "front\x00.jpg",
        "front <script>alert(1)</script>.jpg",
    ],
)
def test_a_name_is_never_a_path_and_harms_no_page(served, lot, name):
    served.send("/pictures", (name, still(30)), camera="front")
    served.settled(lambda shown: card(shown, "front").verdict)
    (path,) = [p for p in kept(lot) if p.suffix == ".jpg"]
    assert path.name.startswith("front-0001-")
    assert path.parent.parent == lot / "job" / day_folder.LOT_FOLDER
    assert len(served.said[0]) < 120
    assert "<script>alert" not in served.ask("GET", "/")[1].decode()


def test_the_same_picture_twice_is_taken_once(served, lot):
    served.send("/pictures", ("front.jpg", still(30)))
    served.send("/pictures", ("front.jpg", still(30)))
    assert "here already" in served.said[0]
    served.send("/pictures", ("left.jpg", still(30)))
    assert "the same picture as the front camera's" in served.said[0]
    assert len([p for p in kept(lot) if p.suffix == ".jpg"]) == 2


def test_a_picture_of_another_size_is_taken_and_said(served):
    served.send("/pictures", ("front.jpg", still(30)))
    served.settled(lambda shown: card(shown, "front").verdict)
    served.send("/pictures", ("front.jpg", still(40, width=200)))
    assert "200 x 112 px, the one before had 160 x 90 px" in served.said[0]


def test_two_uploads_for_one_camera_at_once_are_both_kept(served, lot):
    threads = [
        threading.Thread(target=served.send, args=("/pictures", ("front.jpg", still(10 + n))))
        for n in range(2)
    ]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert len([p for p in kept(lot) if p.suffix == ".jpg"]) == 2
    served.settled(lambda shown: card(shown, "front").verdict == "keep")


def test_forms_of_other_pages_and_too_much_at_once_are_refused(served, lot, capsys):
    assert served.send("/pictures", ("front.jpg", still(9)), token="guess")[0] == 403
    assert served.send("/pictures", ("front.jpg", still(9)), token="guéss")[0] == 403
    many = [(f"front{n}.jpg", still(n)) for n in range(13)]
    assert served.send("/pictures", *many)[0] == 413
    for kind in ("text/plain", "multipart/form-data", "multipart/form-data; boundary=x"):
        headers = {"content_type": kind, "accept": "application/json"}
        assert served.ask("POST", "/pictures", b"x", **headers)[0] in (403, 413)
    assert served.ask("GET", "/pictures")[0] == 405
    assert kept(lot) == []
    lines = capsys.readouterr().out.splitlines()
    assert len([line for line in lines if line.startswith("refused: ")]) == 6
    assert "guess" not in "".join(lines)


def test_a_broken_job_is_said_and_pictures_still_come_in(served, lot):
    served.send("/pictures", ("front.jpg", still(56)))
    served.settled(lambda shown: card(shown, "front").verdict == "re-aim")
    (lot / "job" / "job.toml").write_text("[job")
    served.send("/pictures", ("front.jpg", still(12)))
    served.settled(lambda shown: shown.job_faults)
    assert card(served.page.day.shown, "front").verdict == "re-aim"
    assert "The job file cannot be used now" in served.parts()["head"]
    (lot / "job" / "job.toml").write_text(lot_text(8.0, name="Mended"))
    served.settled(lambda shown: card(shown, "front").verdict == "keep" and shown.job == "Mended")


def test_a_full_disk_is_said(served, lot, monkeypatch):
    def full(handle):
        raise OSError(day_folder.errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(day_folder.os, "fsync", full)
    assert served.send("/pictures", ("front.jpg", still(12)))[0] == 507
    assert "a full disk" in served.said[0]
    monkeypatch.undo()
    assert kept(lot) == []


def test_a_later_start_on_the_same_day_goes_on(served, lot, inspection):
    served.send("/pictures", ("front.jpg", still(56)))
    served.settled(lambda shown: card(shown, "front").verdict == "re-aim")
    with serving(lot / "job" / "job.toml", Sorting(inspection)) as later:
        later.settled(lambda shown: shown.cards and card(shown, "front").verdict == "re-aim")
        later.send("/pictures", ("front.jpg", still(12)))
        later.settled(lambda shown: card(shown, "front").changed == "tilt 5.6 -> 1.2")


def test_a_bug_is_one_line_and_ends_no_day(served, capsys, monkeypatch):
    monkeypatch.setattr(Sorting, "broken", True)
    served.send("/pictures", ("front.jpg", still(12)))
    served.settled(lambda shown: "bug" in shown.said[0].text)
    monkeypatch.setattr("cli.lot.app._parts", None)
    assert served.ask("GET", "/parts")[0] == 500
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 2
    assert all(line.startswith("this is a bug in seamtrue") for line in lines)
    monkeypatch.undo()
    served.send("/pictures", ("front.jpg", still(13)))
    served.settled(lambda shown: card(shown, "front").verdict == "keep")


def test_pictures_beside_the_job_are_taken_by_asking(served, lot):
    (lot / "job" / "front.jpg").write_bytes(still(12))
    served.send("/beside")
    served.settled(lambda shown: card(shown, "front").verdict == "keep")


def test_without_script_a_form_leads_back_to_the_page(served):
    status, _ = served.send("/pictures", ("front.jpg", still(12)), accept="text/html")
    assert status == 303


def test_news_are_told_as_events(served):
    connection = http.client.HTTPConnection(served.host, timeout=20)
    connection.request("GET", "/news")
    answer = connection.getresponse()
    assert answer.getheader("content-type").startswith("text/event-stream")
    before = answer.readline()
    served.send("/note", note="x")
    answer.readline()
    assert answer.readline() != before
    connection.close()


def test_with_a_door_a_token_lets_one_browser_in(lot, inspection):
    with serving(lot / "job" / "job.toml", Sorting(inspection), door=True) as served:
        assert served.ask("GET", "/")[0] == 403
        assert served.send("/pictures", ("front.jpg", still(9)))[0] == 403
        first = served.page.door.token
        connection = http.client.HTTPConnection(served.host, timeout=20)
        connection.request("GET", f"/join/{first}")
        answer = connection.getresponse()
        cookie = answer.getheader("set-cookie")
        assert answer.getheader("referrer-policy") == "no-referrer"
        assert {"httponly", "samesite=strict"} <= {p.strip().lower() for p in cookie.split(";")}
        connection.close()
        assert served.ask("GET", "/", cookie=cookie.partition(";")[0])[0] == 200
        assert served.ask("GET", f"/join/{first}")[0] == 403
