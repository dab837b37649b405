"""Layouts proposed for a vehicle.

Proves: a proposal fits its means, reads back, decides, and is like none of its own mirror images;
a drawn picture of it shows what was predicted; other kinds of mark and other units do as well.

Does not prove: anything about real light, paint or lenses, nor that laying takes as long as said.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.accuracy.plan import drawn, vehicle_text
from vision.camera.lens_prior import lens_prior
from vision.documents.check_words.saying import several
from vision.documents.job_text import job_text
from vision.documents.plan_text import proposal_words
from vision.documents.plan_words import say_plan
from vision.documents.sheets.paper import A4
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.job.job import Job, Means
from vision.job.job_file import job_from_text
from vision.job.kinds.board import Board
from vision.job.kinds.quadrant import Quadrant
from vision.job.layout import planned_layout
from vision.planning.layouts import extent_m
from vision.planning.prediction import predict
from vision.planning.proposal import NoProposal, minutes_of, propose, shortcomings
from vision.planning.remedies import what_would_do
from vision.planning.settings import SETTINGS
from vision.planning.sizes import KINDS, SIZES, sizes_for
from vision.practice.deviations import Deviations
from vision.views.seams.lines import seam_lines


@pytest.fixture(scope="module")
def vehicle() -> Job:
    return job_from_text(vehicle_text(), "vehicle.toml", planning=True)


@pytest.fixture(scope="module")
def proposal(vehicle):
    found = propose(vehicle)
    assert not isinstance(found, NoProposal)
    return found


@pytest.fixture(scope="module", params=["quadrant", "board"])
def other(vehicle, request):
    """A proposal of another kind of mark."""
    found = propose(vehicle, mark=request.param)
    assert not isinstance(found, NoProposal), found.reasons
    assert found.choice.size.kind == request.param
    return found


def test_a_proposal_decides_with_margin_and_reads_back(proposal):
    assert shortcomings(proposal.prediction) == ()
    text = job_text(vehicle_text(), proposal)
    written = job_from_text(text, "job.toml")
    assert [strip.name for strip in written.strips] == ["front", "left", "rear", "right"]
    for ours, theirs in zip(proposal.job.strips, written.strips, strict=True):
        np.testing.assert_allclose(ours.at_m, theirs.at_m, atol=1e-4)
        np.testing.assert_allclose(ours.from_m, theirs.from_m, atol=1e-4)
    assert {seam.between for seam in written.seams} == {
        ("front", "left"),
        ("front", "right"),
        ("rear", "left"),
        ("rear", "right"),
    }
    assert predict(written).word == "decides"
    assert written.cameras[0].picture == "front.jpg"


def test_a_drawn_picture_of_a_proposal_shows_what_was_predicted(proposal):
    shows_what_was_predicted(proposal)


def test_drawn_pictures_of_other_kinds_show_what_was_predicted(other):
    shows_what_was_predicted(other)


def shows_what_was_predicted(proposal):
    job = proposal.job
    left = job.camera("left")
    shown = drawn(replace(job, cameras=(left,)), Deviations(), 0).pictures["left"]
    prior = lens_prior(job.lens_of(left), 1280, 720)
    outcome = identify(job, planned_layout(job), left, prior, shown.grey)
    assert isinstance(outcome, Identified)
    used = {sighting.id for sighting in outcome.sightings if sighting.status == "used"}
    views = [view for view in proposal.prediction.views if view.camera == "left"]
    assert {view.mark for view in views if view.status == "seen"} <= used


def test_every_figure_of_a_proposal_is_on_the_tape(proposal):
    for strip in proposal.job.strips:
        for value in (*strip.from_m, *strip.to_m, *strip.at_m):
            assert value / 0.05 == pytest.approx(round(value / 0.05), abs=1e-6)
    for mark in proposal.job.marks:
        assert mark.at_m[2] == pytest.approx(0.75)


def test_a_proposal_is_like_none_of_its_mirror_images(proposal):
    centres = planned_layout(proposal.job).centres_m[:, :2]
    for turn in ((-1, -1), (1, -1), (-1, 1)):
        image = centres * np.array(turn)
        apart = np.linalg.norm(image[:, None] - centres[None], axis=2).min(axis=1)
        # 10 cm is what a mounting may be wrong; more than a third of the marks lie beyond that.
        assert np.mean(apart > 0.15) > 1 / 3


def test_tapes_do_not_cross_and_stands_stand_on_none(proposal):
    half = 0.5 * proposal.job.strips[0].tape_width_m
    lines = {strip.name: strip for strip in proposal.job.strips}
    for side in ("left", "right"):
        ahead = max(lines[side].from_m[0], lines[side].to_m[0]) + 0.5
        behind = min(lines[side].from_m[0], lines[side].to_m[0]) - 0.5
        assert ahead <= lines["front"].from_m[0] - half + 1e-9
        assert behind >= lines["rear"].from_m[0] + half - 1e-9
    for mark in proposal.job.marks:
        stand = 1.5 * mark.shape.arm_along_m
        end = lines["front" if mark.at_m[0] > 0 else "rear"]
        assert abs(mark.at_m[0]) - stand > abs(end.from_m[0]) + half


def test_other_kinds_of_mark_decide_with_margin_and_read_back(other):
    found, kind = other, other.choice.size.kind
    assert shortcomings(found.prediction) == ()
    written = job_from_text(job_text(vehicle_text(), found), "job.toml")
    wanted = {"quadrant": Quadrant, "board": Board}[kind]
    assert all(isinstance(strip.shape, wanted) for strip in written.strips)
    for ours, theirs in zip(found.job.strips, written.strips, strict=True):
        assert ours.shape == theirs.shape
        assert ours.tape_width_m == pytest.approx(theirs.tape_width_m, abs=1e-4)
    assert [mark.shape for mark in found.job.marks] == [mark.shape for mark in written.marks]
    assert predict(written).word == "decides"
    assert several(kind) in proposal_words(found, None, A4)


@pytest.mark.parametrize("kind", KINDS)
def test_sizes_of_every_kind_grow_and_neighbours_do_not_touch(kind):
    sizes = SIZES[kind]
    assert {size.kind for size in sizes} == {kind}
    reach = [max(size.side.extent_m) for size in sizes]
    assert reach == sorted(set(reach))
    for size in sizes:
        # The nearest marks of a strip lie half a spacing apart.
        for index, shape in enumerate((size.side, size.end)):
            long_m, wide_m = shape.extent_m
            spacing = [9.0, 9.0]
            spacing[index] = 2 * long_m
            assert size.crowded(*spacing)
            spacing[index] = 2.5 * long_m
            assert not size.crowded(*spacing)
            assert wide_m <= (size.side_width_m, size.end_width_m)[index]


def test_room_to_walk_is_kept_to_what_is_printed_not_to_the_tape(other, vehicle):
    half = vehicle.vehicle.width_m / 2
    for strip in other.job.strips:
        panel_m = strip.shape.extent_m[1]
        if strip.name in ("left", "right"):
            assert abs(strip.from_m[1]) - panel_m / 2 - half >= SETTINGS.walk_m - 1e-9
        # A board's panel may be wider than the usual roll that it lies on; that takes longer.
        board = isinstance(strip.shape, Board)
        assert strip.tape_width_m == pytest.approx(0.18 if board else panel_m + 0.02)


def test_panels_wider_than_their_tape_take_longer_to_lay(other):
    # On tape as wide as they are marks take a minute each, and the tape more; on a narrow one, as
    # many minutes as tapes side by side, and the tape less: 0.7 minutes a metre and width.
    strips = [replace(strip, tape_width_m=0.18) for strip in other.job.strips]
    for strip in strips:
        wide = replace(strip, tape_width_m=max(0.18, strip.shape.extent_m[1]))
        narrow, fit = (replace(other.job, strips=(each,)) for each in (strip, wide))
        per_mark = strip.shape.extent_m[1] / 0.18
        marks = len(strip.at_m)
        extra = max(per_mark - 1, 0) * (marks - 0.7 * strip.length_m)
        assert minutes_of(narrow) - minutes_of(fit) == pytest.approx(extra)


def test_a_lot_that_is_too_short_is_named(vehicle):
    found = propose(replace(vehicle, means=Means(lot_length_m=9.0)))
    assert isinstance(found, NoProposal)
    assert [each.code for each in found.reasons] == ["lot-too-small"]
    # Twice half the body, 0.7 m to the closest strip, 0.2 m to the lopsided one, 0.6 m to walk.
    assert found.reasons[0].arguments["along_m"] == pytest.approx(2 * (4.1 + 0.7 + 0.2 + 0.6))


def test_a_proposal_keeps_to_the_lot_and_to_the_tape(vehicle):
    means = Means(lot_length_m=13.5, tape_longest_m=6.0, tape_width_m=0.3)
    found = propose(replace(vehicle, means=means))
    assert not isinstance(found, NoProposal), found.reasons
    assert extent_m(found.job)[0] + 2 * SETTINGS.lot_room_m <= 13.5 + 1e-9
    assert all(strip.length_m <= 6.0 and strip.tape_width_m <= 0.3 for strip in found.job.strips)
    assert {"left_1", "left_2"} <= {strip.name for strip in found.job.strips}


def test_a_proposal_for_tape_and_paper_that_can_be_bought(vehicle):
    means, page_m = Means(tape_width_m=0.15), (0.177, 0.266)
    found = propose(replace(vehicle, means=means), page_m=page_m)
    assert not isinstance(found, NoProposal), found.reasons
    assert shortcomings(found.prediction, rarely=False) == ()
    for strip in found.job.strips:
        assert strip.tape_width_m == 0.15
        assert strip.shape.extent_m[1] + 2 * SETTINGS.tape_margin_m <= 0.15 + 1e-9
        assert strip.shape.extent_m[0] <= page_m[1]
        assert strip.shape.line_m <= 0.4 * strip.shape.half_extent_m[1] + 1e-9


@pytest.mark.parametrize("tape_m", [0.09, 0.1, 0.125, 0.15, 0.18, 0.3])
def test_sizes_for_a_tape_lie_on_it_and_grow(tape_m):
    sizes = sizes_for("cross", tape_m)
    assert all(each.side_tape_m == each.end_tape_m == tape_m for each in sizes)
    for each in sizes:
        for shape in (each.side, each.end):
            assert 2 * (shape.half_extent_m[1] + SETTINGS.tape_margin_m) <= tape_m + 1e-9
    reaches = [each.side.half_extent_m[0] for each in sizes]
    assert reaches == sorted(reaches)


def test_tape_that_is_too_narrow_for_any_mark(vehicle):
    found = propose(replace(vehicle, means=Means(tape_width_m=0.08)))
    assert isinstance(found, NoProposal)
    (reason,) = found.reasons
    assert (reason.code, reason.arguments["needed_m"]) == ("tape-too-narrow", 0.09)
    assert sizes_for("cross", 0.09)


def test_a_page_bounds_a_mark_where_any_fits_on_one():
    assert [each.side.arm_along_m for each in sizes_for("cross", 0.15, (0.177, 0.266))] == [0.12]
    # None fits: parts, then.
    assert sizes_for("cross", 0.3, (0.05, 0.05)) == sizes_for("cross", 0.3)


def test_a_vehicle_in_inches_gets_inches(vehicle):
    text = """
    [job]
    name = "Van"
    units = "ft"
    [vehicle]
    length = "16 ft 4 in"
    width = "6 ft 6 in"
    height = "8 ft"
    [lens.'wide "one"']
    field_of_view_deg = 187
    """
    for name, place, pan in (
        ("front", '["8 ft 3 in", 0, "6 ft 10 in"]', 0),
        ("rear", '["-8 ft 3 in", 0, "6 ft 10 in"]', 180),
        ("left", '[0, "3 ft 4 in", "6 ft 8 in"]', 90),
        ("right", '[0, "-3 ft 4 in", "6 ft 8 in"]', -90),
    ):
        text += (
            f"[camera.{name}]\nlens = 'wide \"one\"'\nposition = {place}\n"
            f"pan_deg = {pan}\ntilt_deg = 45\nroll_deg = 0\n"
        )
    van = job_from_text(text, "van.toml", planning=True)
    assert van.lengths.imperial
    found = propose(van)
    assert not isinstance(found, NoProposal), found.reasons
    written = job_text(text, found)
    assert 'units = "ft"' in written
    assert ' in"' in written
    back = job_from_text(written, "job.toml")
    for strip in back.strips:
        inches = strip.at_m / 0.0254
        np.testing.assert_allclose(inches, np.round(inches), atol=1e-6)
    assert predict(back).word == "decides"


SEAM = 'between = ["left", "front"]\nfrom = ["13 ft 9 in", 1.2]  # kept as typed\nto = [6, 4.0]\n'


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(lambda text: text, id="as it is"),
        pytest.param(lambda text: text.replace("\n", "\r\n").encode("utf-8-sig"), id="elsewhere"),
        pytest.param(lambda text: text + f"[seam.mine]\n{SEAM}", id="seam"),
        pytest.param(
            lambda text: text.replace("[camera.front]", "[camera]\n[camera.front]"), id="heads"
        ),
        pytest.param(
            lambda text: (
                text.replace("[camera.front]", "[tolerance]\nstrip = 0.02\n[camera.front]")
                + "[tape]\nwidth = 0.5"
            ),
            id="order",
        ),
    ],
)
def test_what_was_typed_stays_as_it_was_typed(proposal, change):
    typed = vehicle_text().replace('picture = "front.jpg"\n', "").replace("units", "# m\nunits")
    typed = typed.replace("[camera.rear]", "# the one that was moved\n[camera.rear]  # since May")
    text = change(typed)
    before = job_from_text(text, "vehicle.toml", planning=True)
    laid = replace(before, strips=proposal.job.strips, marks=proposal.job.marks)
    found = replace(proposal, prediction=replace(proposal.prediction, job=laid))
    written = job_text(text, found)
    lines = text.decode("utf-8-sig") if isinstance(text, bytes) else text
    kept = [line for line in written.splitlines() if line in lines.splitlines()]
    assert [line for line in kept if line] == [line for line in lines.splitlines() if line]
    after = job_from_text(written, "job.toml")
    for name in ("name", "vehicle", "tolerances", "means", "lenses", "lengths"):
        assert getattr(after, name) == getattr(before, name)
    assert [each.picture for each in after.cameras] == [each.picture for each in before.cameras]
    for ours, theirs in zip(before.cameras, after.cameras, strict=True):
        assert ours.position_m.tolist() == theirs.position_m.tolist()
    ours, theirs = ({frozenset(each.between) for each in seam_lines(job)} for job in (laid, after))
    assert ours == theirs == {frozenset(each.between) for each in after.seams}
    for seam in before.seams:
        assert any(seam.from_m.tolist() == each.from_m.tolist() for each in after.seams)


def test_what_would_do_is_the_least_of_its_kind(vehicle, proposal, monkeypatch):
    tried = []

    def propose_one(job, **how):
        tried.append((job.means.tape_width_m, job.tolerances.seam_gap_m))
        does = job.means.tape_width_m >= 0.15 or job.tolerances.seam_gap_m > 0.08
        return proposal if does else NoProposal(reasons=())

    monkeypatch.setattr("vision.planning.remedies.propose", propose_one)
    narrow = replace(vehicle, means=Means(tape_width_m=0.1))
    told = []
    tape, wider = what_would_do(narrow, trying=told.append)
    assert (tape.code, tape.arguments["tape_m"]) == ("wider-tape", 0.15)
    assert (wider.code, wider.arguments["seam_gap_m"]) == ("wider-tolerances", 0.1)
    # The widest first: where it will not do, nothing will.
    assert tried == [
        *((0.3, 0.05), (0.15, 0.05), (0.12, 0.05)),
        *((0.1, 0.1), (0.1, pytest.approx(0.075))),
    ]
    say = say_plan()
    assert all(say(each) for each in (tape, wider, *told))


def test_no_tape_is_no_tape_to_widen(vehicle, monkeypatch):
    monkeypatch.setattr(
        "vision.planning.remedies.propose", lambda job, **how: NoProposal(reasons=())
    )
    assert what_would_do(vehicle) == ()
