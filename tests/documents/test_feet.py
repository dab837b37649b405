"""A job in feet, through every command: what a person with an inch tape then reads.

Proves, on one set of sample pictures and by texts made without pictures, that every metric figure
in what is printed, in the pages and in the texts of the files has an imperial one beside it, that
the rounding is stated once, and that a metric job has neither. Does not prove the looks of a page.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from cli.main import app
from tests.conftest import hand_made_inspection
from tests.paths import SAMPLES
from tests.tape import in_feet, metric_alone
from vision.comparison.change import CameraChange, Comparison, Gap, SeamChange, VehicleChange
from vision.documents.check_words.words import say_texture
from vision.documents.comparison_words import sentences
from vision.documents.forecast_words import change_words
from vision.documents.pick_judging import judge_picks
from vision.documents.pick_words import say_pick
from vision.documents.picks import Picked, Screen, pick_lists
from vision.documents.plan_words import say_plan
from vision.documents.report.report import report_html
from vision.documents.result import result_of
from vision.documents.top_view import top_view
from vision.inspection.inspect import inspect
from vision.inspection.inspected import Inspection
from vision.inspection.whatif.asked import asked_change, small_changes
from vision.job.job import Job, Means
from vision.job.job_file import job_from_text
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId
from vision.planning.assessment import PredictedCamera, PredictedLaying, PredictedSeam, Prediction
from vision.planning.limits import problems_of
from vision.planning.prediction import predict
from vision.planning.proposal import NoProposal, propose
from vision.units.errors import BadInputError
from vision.units.length_words import METRIC, LengthWords
from vision.views.texture.match import coarse

LONG_SHADOW = SAMPLES / "long_shadow"
FEET = LengthWords(imperial=True)
READINGS = (
    ("distance", MarkId("left", 0), MarkId("left", 16), 12.0),
    ("distance", MarkId("right", 0), MarkId("right", 16), 12.0),
    ("diagonal", MarkId("left", 0), MarkId("right", 16), float(np.hypot(12.0, 3.35))),
    # An inch too long.
    ("diagonal", MarkId("right", 0), MarkId("left", 16), float(np.hypot(12.0, 3.35)) + 0.0254),
    ("distance", MarkId("left", 0), MarkId("right", 0), 3.35),
    ("distance", MarkId("left", 16), MarkId("right", 16), 3.35),
)


class Words(HTMLParser):
    """What a page says: text, and what it says of its drawings."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.said: list[str] = []
        self.open: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open.append(tag)
        self.said += [value or "" for name, value in attrs if name == "aria-label"]

    def handle_data(self, data: str) -> None:
        if self.open[-1:] not in (["style"], ["script"]):
            self.said.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"[ \n]+", " ", "".join(self.said))


def texts_in(value: Any) -> Iterator[str]:
    """Every text of a result, however deep."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list):
        for each in value.values() if isinstance(value, dict) else value:
            yield from texts_in(each)


def job_file(folder: Path, text: str) -> Path:
    folder.mkdir()
    for picture in LONG_SHADOW.glob("*.jpg"):
        shutil.copy(picture, folder)
    file = folder / "job.toml"
    file.write_text(text, encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def in_a_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The sample job in feet, inspected once for all commands."""
    file = job_file(
        tmp_path_factory.mktemp("feet") / "job", in_feet((LONG_SHADOW / "job.toml").read_text())
    )
    found: list[Inspection] = []

    def once(job: Job, pictures: Any, progress: Any = None) -> Inspection:
        assert job.lengths == FEET
        if not found:
            found.append(inspect(job, pictures))
        return found[0]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("vision.inspection.inspect.inspect", once)
        yield file


def run(*arguments: object) -> str:
    outcome = CliRunner().invoke(app, [str(each) for each in arguments])
    assert outcome.exit_code in (0, 3, 4), outcome.output
    return outcome.stdout


def said(output: str, folder: Path) -> str:
    """What was printed, without the names of files, which may hold anything."""
    return output.replace(str(folder), "")


@pytest.mark.parametrize(
    ("command", "options", "page"),
    [
        ("check", ["--out", "OUT", "--record", "OUT/kept.sqlite"], "report.html"),
        ("walk", ["--out", "OUT"], "walk-round.html"),
        ("whatif", [], None),
        ("whatif", ["--turn", "front.tilt=-3", "--lower", "2 in"], None),
        ("compare", ["--record", "OUT/kept.sqlite", "--out", "OUT/moved.html"], "moved.html"),
    ],
)
def test_every_length_has_inches(
    in_a_folder: Path, command: str, options: list[str], page: str | None
) -> None:
    out = in_a_folder.parent / "out"
    out.mkdir(exist_ok=True)
    output = run(command, in_a_folder, *(each.replace("OUT", str(out)) for each in options))
    printed = said(output, out)
    assert metric_alone(printed) == []
    assert not re.search(r"\b(?:cm|mm|m)\b *(?:$|  )", printed, re.MULTILINE)
    assert printed.count("inches are rounded to 1/") == 1
    assert re.search(r"[0-9] in\b", printed)
    if page is not None:
        shown = Words((out / page).read_text(encoding="utf-8")).text
        assert metric_alone(shown) == []
        assert shown.lower().count("inches are rounded to 1/") == 1
    if command == "check":
        result = json.loads((out / "inspection.json").read_text(encoding="utf-8"))
        assert [each for text in texts_in(result) for each in metric_alone(text)] == []
        assert result["tolerances"]["strip_m"] == 0.03


def test_what_a_plan_says(tmp_path: Path) -> None:
    text = (LONG_SHADOW / "job.toml").read_text()
    # Two cameras and two strips: a quicker job.
    for section in ("camera.rear", "camera.right", "strip.rear", "strip.right", "mark.[a-z_]+"):
        text = re.sub(rf"\[{section}\]\n(?:.+\n)*", "", text)
    printed = run("plan", job_file(tmp_path / "job", in_feet(text)), "--out", tmp_path)
    assert metric_alone(said(printed, tmp_path)) == []
    assert printed.count("inches are rounded to 1/16") == 1
    assert re.search(r"one more raised mark: a raised mark at x -?[0-9]+ ft", printed)
    plan = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))
    assert [each for text in texts_in(plan) for each in metric_alone(text)] == []


def test_what_the_tape_alone_tells(tmp_path: Path) -> None:
    text = (LONG_SHADOW / "job.toml").read_text()
    for kind, first, second, value in READINGS:
        text += f'\n[[reading]]\nkind = "{kind}"\nbetween = ["{first}", "{second}"]\n'
        text += f"value = {value:.4f}\n"
    file = job_file(tmp_path / "job", in_feet(text))
    printed = run("measure", file, "--fraction", "32")
    assert metric_alone(printed) == []
    assert "read as 40 ft 11" in printed
    assert "inches are rounded to 1/32, at most 0.4 mm off; a doubt" in printed
    assert re.search(
        r"^no +reading +read +off inch +sigma inch +surely told inch$",
        printed,
        re.MULTILINE,
    )
    as_metric = run("measure", job_file(tmp_path / "metric", text))
    assert "inches are rounded" not in as_metric
    assert "off mm" in as_metric


def test_a_metric_job_has_metric_words(tmp_path: Path) -> None:
    file = job_file(tmp_path / "job", (LONG_SHADOW / "job.toml").read_text())
    printed = run("walk", file, "--planned", "--out", tmp_path)
    page = Words((tmp_path / "walk-round.html").read_text(encoding="utf-8")).text
    for text in (said(printed, tmp_path), page):
        assert not re.search(r"[0-9] in \(|inches|sq ft", text)
        assert "0.52 m ahead of the front" in text


def test_a_fraction_that_no_tape_has_is_usage() -> None:
    for command in ("check", "compare", "length", "measure", "plan", "walk", "whatif"):
        outcome = CliRunner().invoke(app, [command, "nothing.toml", "--fraction", "10"])
        assert outcome.exit_code == 2, command
        assert "10 is not one of 1, 2, 4, 8, 16, 32, 64" in outcome.output.replace("\n", " ")


# ------------------------------------------------------------------- without pictures of a sample


@pytest.fixture(scope="module")
def metric_job() -> Job:
    return job_from_text((LONG_SHADOW / "job.toml").read_bytes(), "job.toml")


@pytest.fixture(scope="module")
def job(metric_job: Job) -> Job:
    return replace(metric_job, lengths=FEET)


def test_units_say_which_tape_is_in_the_hand(metric_job: Job) -> None:
    text = (LONG_SHADOW / "job.toml").read_text()
    assert metric_job.lengths == METRIC
    for unit, words in (("ft", FEET), ("in", FEET), ("m", METRIC), ("cm", METRIC), ("mm", METRIC)):
        written = in_feet(text).replace('"ft"', f'"{unit}"')
        assert job_from_text(written, "job.toml").lengths == words
    assert metric_job.to_fraction(32).lengths.fraction == 32


def test_the_page_of_an_inspection_in_feet() -> None:
    made = hand_made_inspection()
    made = replace(made, job=replace(made.job, lengths=FEET))
    page = report_html(made, result_of(made), top_view(made))
    shown = Words(page).text
    # Sentences made by hand keep their words.
    own = [text for text in texts_in(result_of(made)) if metric_alone(text)]
    for text in own:
        shown = shown.replace(text.replace("+-", "\N{PLUS-MINUS SIGN}"), "")
    assert metric_alone(shown) == []
    assert "Gap in inches, at most" in shown
    assert '<data value="0.03">1\N{NO-BREAK SPACE}3/16\N{NO-BREAK SPACE}in</data>' in page or (
        '<data value="0.03">1\N{NO-BREAK SPACE}3/16</data>&nbsp;in' in page
    )


def test_what_is_faulty_in_a_layout(job: Job) -> None:
    seam = PredictedSeam(
        between=("front", "left"),
        shared_marks=3,
        sigma_m=0.04,
        worst_at_m=(5.0, 2.0),
        usual_gap_m=0.05,
        uncovered_m=0.4,
        overlap_m=0.3,
        overlap_sigma_m=0.02,
        verdict="not-judged",
    )
    camera = PredictedCamera(
        name="front",
        marks=12,
        strips=2,
        aim_sigma_rad=(0.001, 0.001, 0.001),
        position_sigma_m=(0.01, 0.01, 0.01),
        nearest_ground_m=1.2,
        nearest_ground_sigma_m=0.02,
        found_mounting_m=0.1,
        verdict="not-judged",
    )
    unseen = replace(camera, name="left", nearest_ground_m=float("inf"))
    laid = PredictedLaying(name="left", sigma_m=0.04, mark=MarkId("left", 0), found_m=0.1)
    problems = problems_of(job, (camera, unseen), (laid,), (seam,))
    codes = {"nearest-ground", "uncovered", "overlap", "sigma-beyond-tolerance"}
    assert codes <= {each.code for each in problems}
    texts = [say_plan(job.lengths)(each.reason) for each in problems]
    assert [each for text in texts for each in metric_alone(text)] == []
    assert any("nowhere within 32 ft 9 1/2 in (10 m)" in text for text in texts)


def test_a_lot_or_a_tape_that_will_not_do(job: Job) -> None:
    for means in (Means(lot_length_m=9.0), Means(tape_width_m=0.05)):
        found = propose(replace(job, strips=(), marks=(), means=means))
        assert isinstance(found, NoProposal)
        text = say_plan(job.lengths)(found.reasons[0])
        assert "in (" in text
        assert metric_alone(text) == []


def test_shortcomings_of_a_proposal(job: Job) -> None:
    from vision.planning.proposal import shortcomings

    prediction: Prediction = predict(job, rough=True)
    texts = [say_plan(job.lengths)(each) for each in shortcomings(prediction)]
    assert [each for text in texts for each in metric_alone(text)] == []


def test_changes_that_are_asked_or_usual(job: Job, metric_job: Job) -> None:
    assert change_words(small_changes(metric_job)[0], metric_job.lengths) == "5 cm lower"
    change = small_changes(job)[0]
    assert change_words(change, job.lengths) == "2 in (5.08 cm) lower"
    assert change.lower_m == pytest.approx(0.0508)
    with pytest.raises(BadInputError) as refused:
        asked_change(job, (), "2 m", 0.0, 0.0)
    assert "at most 3 ft 3 3/8 in (1 m)" in str(refused.value)


def test_what_moved_since() -> None:
    moved = CameraChange(
        name="front",
        aim_rad=np.zeros(3),
        aim_sigma_rad=np.full(3, 0.001),
        place_m=np.array([0.05, 0.0, 0.0]),
        place_sigma_m=np.full(3, 0.004),
        turned=False,
        moved=True,
        detectable_rad=0.002,
        detectable_m=0.02,
    )
    seam = SeamChange(
        between=("front", "left"),
        before=Gap(length_m=0.01, sigma_m=0.004, verdict="within"),
        after=Gap(length_m=0.08, sigma_m=0.004, verdict="beyond"),
        moved=Gap(length_m=0.07, sigma_m=0.004, verdict="beyond"),
    )
    vehicle = VehicleChange(
        height_m=-0.05,
        lean_rad=0.0,
        nose_down_rad=0.0,
        height_sigma_m=0.003,
        lean_sigma_rad=0.001,
        nose_down_sigma_rad=0.001,
        significant=True,
    )
    still = replace(moved, name="left", moved=False)
    result = Comparison(cameras=(moved, still), vehicle=vehicle, seams=(seam,), lengths=FEET)
    lines = sentences(result, "since 3 March 2026", 0.05)
    assert [each for line in lines for each in metric_alone(line)] == []
    assert "front moved forward by 1 15/16 in +-3/16 in (5.0 cm +-0.4)" in lines[0]
    assert any("1 15/16 in +-1/8 in (5.0 cm +-0.3) lower" in line for line in lines)
    assert lines[-1].startswith("inches are rounded to 1/16")


def test_picks_that_are_off() -> None:
    made = hand_made_inspection()
    made = replace(made, job=replace(made.job, lengths=FEET))
    screen = Screen(width=1280, height=720)
    pick = pick_lists(made, screen)["front"][0]
    off = Picked(
        camera="front", mark=str(pick.mark), screen_px=pick.screen_px + np.array([9.0, 0.0])
    )
    (judged,) = judge_picks(made, screen, [off])
    said = say_pick(FEET)(judged.reason)
    assert "cm on the ground" in said
    assert metric_alone(said) == []
    assert planned_layout(made.job).marks


def test_faults_of_distances_along_a_strip() -> None:
    text = in_feet((LONG_SHADOW / "job.toml").read_text())
    whole = '"11.25 m", "12 m"]'
    assert whole in text
    for wrong, words in (
        ('"11.25 m", "13 m"]', "the two to agree within 3/8 in (1 cm)"),
        ('"12 m", "11.25 m"]', "36 ft 10 15/16 in (11.25 m) after 39 ft 4 7/16 in (12 m)"),
    ):
        with pytest.raises(BadInputError) as refused:
            job_from_text(text.replace(whole, wrong), "job.toml")
        assert words in str(refused.value)


def test_ground_without_a_peak() -> None:
    rng = np.random.default_rng(3)
    texture = rng.normal(size=(160, 160)).astype(np.float32)
    masks = [np.ones_like(texture, dtype=bool)] * 2
    shifted = np.roll(texture, 10, axis=1)
    found = coarse([texture, shifted], masks)
    assert not isinstance(found, np.ndarray)
    assert metric_alone(say_texture(FEET)(found.reason)) == []
