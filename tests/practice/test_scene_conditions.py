"""What befalls a yard in a drawn scene, and that the truth says so.

Proves: wet ground is darker and mirrors the wall; a glossy flank mirrors a tape; a person stands in
front of marks, as do things of any outline, which throw that outline's shadow; odd rows show the
yard from farther on and the body where it was; bands of light are as strong as stated; bowed and
wrinkled tapes carry their marks with them; torn, smeared, covered and leaf-strewn marks look so;
the truth's clear shares, widths and what was done agree with the picture; faults of the file are
told at once.

Does not prove: that real water, paint or leaves look like this.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.yards import PLAIN, YARD_JOB, level, probe, sighting
from vision.job.job import Job
from vision.job.job_file import job_from_text
from vision.job.mark_id import MarkId
from vision.practice.boxes import Box, box_entry, shaded_by
from vision.practice.deviations import Damage, Deviations, Ground, Moved, Person
from vision.practice.deviations_file import deviations_from_text
from vision.practice.scene import Scene, draw_scene
from vision.practice.world import true_world
from vision.units.errors import BadInputError

BASE = Deviations(width=640, height=360, light=PLAIN)


@pytest.fixture(scope="module")
def job() -> Job:
    text = YARD_JOB.replace("mirrored = true", "mirrored = false")
    return job_from_text(text, "job.toml")


@pytest.fixture(scope="module")
def plain(job: Job) -> Scene:
    return draw_scene(job, BASE, seed=3)


def ground_level(scene: Scene, camera: str, x: float, y: float, z: float = 0.0) -> float:
    """Mean level of a few pixels round a place."""
    eye = next(eye for eye in scene.world.eyes if eye.camera.name == camera)
    u, v = np.round(eye.lens.project(eye.pose.transform(np.array([x, y, z])))).astype(int)
    return float(scene.pictures[camera][v - 2 : v + 3, u - 2 : u + 3].mean())


def test_wet_ground_is_darker_near_and_mirrors_far_away(job: Job, plain: Scene) -> None:
    wet = draw_scene(job, replace(BASE, ground=Ground(wet=1)), seed=3)
    near = [(x, y) for x in (3.8, 4.2) for y in (-0.5, 0.5)]
    dry_level = np.mean([ground_level(plain, "front", *at) for at in near])
    assert np.mean([ground_level(wet, "front", *at) for at in near]) < 0.75 * dry_level
    # Towards grazing the wet ground takes on what stands behind it, so it loses less.
    far = [(17.0, y) for y in (-2.0, 0.0, 2.0)]
    share_far = [ground_level(wet, "front", *at) / ground_level(plain, "front", *at) for at in far]
    share_near = [ground_level(wet, "front", *a) / ground_level(plain, "front", *a) for a in near]
    assert np.mean(share_far) > 1.15 * np.mean(share_near)
    assert wet.truth["ground"]["wet"] == 1


def test_a_glossy_flank_mirrors_the_tape(job: Job, plain: Scene) -> None:
    glossy = draw_scene(job, replace(BASE, ground=Ground(gloss=1)), seed=3)
    eye = glossy.world.eyes[1]
    # The flank lies at y = 1.1: light from a mark beside it meets the camera as if from behind it.
    mark = next(each for each in glossy.world.marks if each.id == MarkId("side", 1)).centre_m
    behind = np.array([mark[0], 2 * glossy.world.body.half_m[1] - mark[1], 0.0])
    pixel = eye.lens.project(eye.pose.transform(behind))
    assert eye.lens.contains(pixel)
    u, v = np.round(pixel).astype(int)
    spread = [
        float(np.ptp(scene.pictures["left"][v - 12 : v + 13, u - 12 : u + 13].mean(axis=2)))
        for scene in (plain, glossy)
    ]
    # The light cross on its dark tape is there to be seen, and was not before.
    assert spread[1] > spread[0] + 15


def test_a_person_hides_the_mark_behind(job: Job, plain: Scene) -> None:
    asked = replace(BASE, people=(Person(name="anna", at_m=(4.3, 0.0), facing_rad=0.4),))
    scene = draw_scene(job, asked, seed=3)
    assert sighting(plain.truth, "front", "across/1")["status"] == "visible"
    seen = sighting(scene.truth, "front", "across/1")
    assert (seen["status"], seen["hidden_by"]) == ("hidden", "person anna")
    assert seen["clear"] < 0.7
    assert scene.truth["people"] == [{"name": "anna", "at_m": [4.3, 0.0], "height_m": 1.75}]
    before, now = (level(each.pictures["front"], seen["pixel"]) for each in (plain, scene))
    assert abs(before - now) > 15
    # A neighbour is not touched.
    assert sighting(scene.truth, "front", "across/0")["clear"] == 1


def test_a_bowed_tape_carries_its_marks(job: Job) -> None:
    moved = {"side": Moved(bow_m=0.12, wrinkles_m=0.01)}
    scene = draw_scene(job, replace(BASE, strips=moved), seed=3)
    marks = {mark["id"]: mark for mark in scene.truth["marks"]}
    off = np.array([marks[f"side/{i}"]["true_m"][1] - 1.6 for i in range(6)])
    # A parabola of 12 cm over the strip, and some waves of 1 cm.
    at = np.linspace(-1, 1, 6)
    np.testing.assert_allclose(off, 0.12 * (1 - at**2), atol=0.03)
    turns = np.array([marks[f"side/{i}"]["heading_deg"] for i in range(6)])
    assert turns[0] > 1.5
    assert turns[-1] < -1.5
    for index in (2, 3):
        # Light arms on dark tape, where the truth puts and turns them.
        arm = probe(scene, "left", f"side/{index}", 0.10, 0.0)
        between = probe(scene, "left", f"side/{index}", 0.09, 0.09)
        assert arm > between + 60
    told = next(each for each in scene.truth["strips"] if each["name"] == "side")
    assert (told["bow_m"], told["wrinkles_m"]) == (0.12, 0.01)


def test_damaged_marks_look_damaged(job: Job, plain: Scene) -> None:
    damages = {
        MarkId("across", 0): Damage(torn=0.5),
        MarkId("across", 1): Damage(smeared=0.9),
        MarkId("across", 2): Damage(covered=0.5),
        MarkId("trestle"): Damage(leaves=5),
    }
    scene = draw_scene(job, replace(BASE, damages=damages), seed=3)

    def contrast(drawn: Scene, mark: str, s: float) -> float:
        # Ink ahead-left and behind-right, paper on the other two.
        ink = probe(drawn, "front", mark, s, s)
        return probe(drawn, "front", mark, s, -s) - ink

    assert contrast(plain, "across/0", 0.06) > 80
    # Torn off at its far end, covered at its near end, smeared over its far half.
    assert abs(contrast(scene, "across/0", 0.07)) < 40
    assert contrast(scene, "across/0", -0.07) > 80
    assert abs(contrast(scene, "across/2", -0.07)) < 25
    assert contrast(scene, "across/2", 0.07) > 80
    assert contrast(scene, "across/1", 0.06) < 0.4 * contrast(plain, "across/1", 0.06)
    share = {
        str(mark_id): sighting(scene.truth, "front", str(mark_id))["clear"] for mark_id in damages
    }
    assert 0.3 < share["across/0"] < 0.65
    assert 0.3 < share["across/2"] < 0.65
    assert share["across/1"] < 0.7
    assert share["trestle"] < 1
    told = {mark["id"]: mark for mark in scene.truth["marks"]}
    assert told["across/0"]["torn"] == 0.5
    assert "torn" not in told["across/1"]


def test_leaves_paint_cracks_and_dusk(job: Job, plain: Scene) -> None:
    ground = Ground(lines=20, cracks=20, covers=10, leaves=60)
    strewn = draw_scene(job, replace(BASE, ground=ground), seed=3)
    changed = np.abs(
        strewn.pictures["front"].astype(float) - plain.pictures["front"].astype(float)
    ).max(axis=2)
    assert 0.005 < np.mean(changed > 15) < 0.5
    some = [mark["clear"] for mark in strewn.truth["cameras"][0]["marks"]]
    assert any(0 < share < 1 for share in some)
    dusk = draw_scene(job, replace(BASE, light=replace(PLAIN, level=0.3)), seed=3)
    share = dusk.pictures["front"].astype(float).mean() / plain.pictures["front"].mean()
    assert share == pytest.approx(0.3, abs=0.01)


def test_widths_in_the_truth_are_those_of_the_picture(job: Job, plain: Scene) -> None:
    eye = plain.world.eyes[0]
    mark = next(each for each in plain.world.marks if each.id == MarkId("across", 1))
    # A disc of radius 14 cm: its outline in the picture, its narrowest width by turning calipers.
    turns = np.linspace(0, 2 * np.pi, 360)
    edge = mark.centre_m + 0.14 * np.stack([np.cos(turns), np.sin(turns), 0 * turns], axis=-1)
    outline = eye.lens.project(eye.pose.transform(edge))
    ways = np.stack([np.cos(turns), np.sin(turns)], axis=-1)
    narrowest = np.ptp(outline @ ways.T, axis=0).min()
    told = sighting(plain.truth, "front", "across/1")["extent_px"]
    assert told == pytest.approx(narrowest, rel=0.02)


def test_a_box_above_the_ground_is_met_and_throws_its_shadow() -> None:
    box = Box(name="b", middle_m=np.array([2.0, 0.0]), heading_rad=0.0, half_m=(0.5, 0.5),
              height_m=2.0, foot_m=1.0)  # fmt: skip
    rays = np.array([[1.0, 0, 0], [1.0, 0, 0.3], [0.6, 0, 0.8]], dtype=np.float32)
    away, face = box_entry(box, np.array([0.0, 0.0, 0.5]), rays)
    assert np.isinf(away[0])
    # 1.5 m ahead at a slope of 0.3 it is still below the foot, which is met from below.
    assert away[1] == pytest.approx(0.5 / 0.3)
    assert face[1] == 4
    assert np.isinf(away[2])
    places = np.array([[2.0, 0.0, 0.0], [0.5, 0.0, 0.0], [4.0, 0.0, 0.0]], dtype=np.float32)
    sun = np.array([1.0, 0.0, 1.0]) / np.sqrt(2)
    assert shaded_by(box, sun, places).tolist() == [False, True, False]
    assert shaded_by(box, np.array([0.0, 0.0, 1.0]), places).tolist() == [True, False, False]


def test_a_card_is_met_and_throws_its_shadow_within_its_outline() -> None:
    # A frame of 2 by 2 m round a hole of 1 by 1 m, 3 m ahead.
    ring = [[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]]
    hole = [[-0.5, -0.5], [-0.5, 0.5], [0.5, 0.5], [0.5, -0.5], [-0.5, -0.5]]
    card = Box(name="frame", middle_m=np.array([3.0, 0.0]), heading_rad=0.0, half_m=(0.005, 1.0),
               height_m=2.0, outline=np.array(ring + hole))  # fmt: skip
    eye = np.array([0.0, 0.0, 1.0])
    at = np.array([[3, 0, 1], [3, 0.75, 1], [3, 0, 1.75], [3, 1.2, 1], [3, 0.4, 0.4]])
    away, face = box_entry(card, eye, (at - eye).astype(np.float32))
    assert np.isfinite(away).tolist() == [False, True, True, False, True]
    np.testing.assert_allclose(away[[1, 2, 4]], 1)
    assert face[1] == 1
    sun = np.array([1.0, 0.0, 1.0]) / np.sqrt(2)
    places = np.array([[2.0, 0.0, 0], [2.0, 0.75, 0], [2.75, 0, 0], [4.0, 0.75, 0]], np.float32)
    assert shaded_by(card, sun, places).tolist() == [False, True, True, False]
    lying = replace(card, half_m=(1.0, 1.0), height_m=0.01)
    away, face = box_entry(lying, np.array([3.0, 0.75, 1.0]), np.array([[0, 0, -1]], np.float32))
    assert (float(away[0]), int(face[0])) == (pytest.approx(0.995), 4)


def test_covers_hide_marks_and_are_told(job: Job, plain: Scene) -> None:
    text = b"""
    [cover.cone]
    at = [4.6, 0]
    size = ["1 cm", "80 cm"]
    height = "50 cm"
    colour = [230, 90, 20]
    bands = 1
    outline = [[-1, -1], [1, -1], [0, 1]]
    [cover.tarpaulin]
    at = [4.6, 1.2]
    size = ["60 cm", "60 cm"]
    height = "2 cm"
    mottled = 0.5
    """
    asked = deviations_from_text(text, "d.toml", job)
    scene = draw_scene(job, replace(BASE, covers=asked.covers), seed=3)
    seen = {index: sighting(scene.truth, "front", f"across/{index}") for index in range(3)}
    assert (seen[2]["status"], seen[2]["hidden_by"]) == ("hidden", "tarpaulin")
    # The cone stands on the middle of a mark: what is before it stays clear.
    assert 0.3 < seen[1]["clear"] < 0.9
    assert seen[0]["clear"] == 1
    assert [each["name"] for each in scene.truth["covers"]] == ["cone", "tarpaulin"]
    u, v = np.round(seen[2]["pixel"]).astype(int)
    blue, green, red = scene.pictures["front"][v, u]
    assert max(blue, red) < green < 120
    untouched = (level(each.pictures["front"], seen[0]["pixel"]) for each in (plain, scene))
    assert abs(np.subtract(*untouched)) < 1


def test_odd_rows_show_the_yard_later_and_aside(job: Job, plain: Scene) -> None:
    text = b'[camera.front]\ncomb = ["4 cm", 0, 0]\nrow_shift_px = 3'
    asked = deviations_from_text(text, "d.toml", job)
    scene = draw_scene(job, replace(BASE, cameras=asked.cameras), seed=3)
    moved = replace(BASE, cameras={"front": Moved(shift_m=np.array([0.04, 0.0, 0.0]))})
    later = draw_scene(job, moved, seed=3)
    np.testing.assert_array_equal(scene.pictures["front"][::2], plain.pictures["front"][::2])
    # The middle of the picture, where the body is not: as from there, three pixels to the right.
    odd, there = (each.pictures["front"][141:240:2].astype(float) for each in (scene, later))
    assert np.quantile(np.abs(odd[:, 203:443] - there[:, 200:440]), 0.99) < 3
    for mark in ("across/0", "across/2"):
        seen, then = (sighting(each.truth, "front", mark) for each in (scene, later))
        expected = np.add(then["pixel"], [3, 0])
        np.testing.assert_allclose(seen["pixel_odd_rows"], expected, atol=1e-5)
    assert "pixel_odd_rows" not in sighting(scene.truth, "left", "side/2")
    # The body goes with the camera.
    bumper, still = (each.pictures["front"][-6:].astype(float) for each in (scene, plain))
    assert np.abs(bumper[1::2, 303:343] - still[1::2, 300:340]).max() < 4


def test_pixels_are_as_wide_as_stated(job: Job, plain: Scene) -> None:
    asked = deviations_from_text(b"[scene]\nexact_lenses = true\npixel_aspect = 1.5", "d", job)
    assert asked.pixel_aspect == 1.5
    lens = true_world(job, asked, np.random.default_rng(1)).eyes[0].lens
    assert lens.fy / lens.fx == pytest.approx(1.5)
    # As wide as with square pixels, and flatter by the shape of a pixel.
    flat = true_world(job, replace(asked, pixel_aspect=None), np.random.default_rng(1)).eyes[0].lens
    assert (lens.fx, lens.cx) == (flat.fx, flat.cx)
    with pytest.raises(BadInputError, match="pixel_aspect"):
        deviations_from_text(b"[scene]\npixel_aspect = 5", "d.toml", job)


def test_bands_are_as_strong_as_stated(job: Job, plain: Scene) -> None:
    banded = draw_scene(job, replace(BASE, light=replace(PLAIN, bands=6)), seed=3)
    off = banded.pictures["front"].astype(float) - plain.pictures["front"]
    rows = off[:, 200:440].mean(axis=(1, 2))
    assert np.ptp(rows) == pytest.approx(12, abs=1)
    assert np.abs(off[:, 200:440] - rows[:, None, None]).max() <= 1


def test_the_file_says_all_of_it(job: Job) -> None:
    text = b"""
    [light]
    level = 0.3
    [ground]
    wet = 0.5
    gloss = 1
    lines = 3
    cracks = 0
    covers = 1
    leaves = 9
    [person.anna]
    at = ["250 cm", 1.5]
    height = "1.8 m"
    facing_deg = 90
    [strip.side]
    bow = "-2 cm"
    wrinkles = "3 mm"
    [mark.trestle]
    leaves = 2
    torn = 0.4
    smeared = 0.5
    covered = 0.25
    """
    asked = deviations_from_text(text, "d.toml", job)
    assert asked.light.level == 0.3
    assert asked.ground == Ground(wet=0.5, gloss=1, lines=3, cracks=0, covers=1, leaves=9)
    assert asked.people == (
        Person(name="anna", at_m=(2.5, 1.5), height_m=1.8, facing_rad=np.pi / 2),
    )
    assert (asked.strips["side"].bow_m, asked.strips["side"].wrinkles_m) == (-0.02, 0.003)
    assert asked.damages == {
        MarkId("trestle"): Damage(leaves=2, torn=0.4, smeared=0.5, covered=0.25)
    }


def test_every_fault_of_it_is_told(job: Job) -> None:
    text = b"""
    person = 3
    [ground]
    wet = 2
    leaves = -1
    puddles = 1
    [strip.side]
    bow = 2
    wrinkles = "-1 mm"
    [mark.trestle]
    torn = "half"
    """
    with pytest.raises(BadInputError) as caught:
        deviations_from_text(text, "d.toml", job)
    told = str(caught.value)
    for key in ("person", "ground.wet", "leaves", "puddles", "bow", "wrinkles", "torn"):
        assert key in told
    with pytest.raises(BadInputError) as caught:
        deviations_from_text(
            b"[person.x]\nat = [1]\nheight = 9\nhat = 1\n[person]\ny = 2", "d.toml", job
        )
    assert "TOML" in str(caught.value) or "person" in str(caught.value)
    with pytest.raises(BadInputError) as caught:
        deviations_from_text(b"[person.x]\nat = [1]\nheight = 9\nhat = 1", "d.toml", job)
    for key in ("at", "height", "hat"):
        assert f"person.x.{key}" in str(caught.value)
    text = b"""
    [cover.x]
    at = [1]
    size = [1, -1]
    height = 1
    foot = 2
    colour = [300, 0, 0]
    outline = [[0, 0], [1, 1]]
    bands = 0.5
    [camera.front]
    comb = [1]
    row_shift_px = 99
    """
    with pytest.raises(BadInputError) as caught:
        deviations_from_text(text, "d.toml", job)
    for key in ("at", "size", "foot", "colour", "outline", "bands"):
        assert f"cover.x.{key}" in str(caught.value)
    for key in ("comb", "row_shift_px"):
        assert f"camera.front.{key}" in str(caught.value)
