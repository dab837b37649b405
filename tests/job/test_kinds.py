"""Every kind of mark says of itself what the others ask, and a new one needs one file.

Proves for each kind: its ink under a small blur, its sharp ink and its polygons are one drawing;
its keys are read as they are written; its points are those of the result file. A kind that only
this file knows is laid out, drawn, found, named and measured in a practice picture, and goes
through the job file, what is cut and what is printed. Does not prove how well a new kind is found
in real yards.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

import cv2
import numpy as np
import pytest

from tests.lots import lot, lot_text
from tests.refusing import refused
from vision.camera.lens_prior import lens_prior
from vision.documents.sheets.mark_art import mark_art
from vision.identification.decision import identify
from vision.identification.identified import Identified
from vision.job.coverage import Blurred, Drawn
from vision.job.job_file import job_from_text
from vision.job.kinds.board import Board, BoardCorner
from vision.job.kinds.box_corner import BoxCorner
from vision.job.kinds.cross import Cross
from vision.job.kinds.every import KINDS
from vision.job.kinds.mark_shape import MarkShape, Polygon, WriteLength, rectangle
from vision.job.kinds.quadrant import Quadrant
from vision.job.layout import planned_layout, points_of
from vision.job.mark_id import MarkId
from vision.planning.setting_out.supplies import cut_list, lot_size
from vision.practice.deviations import Deviations
from vision.practice.scene import draw_scene
from vision.units.tables import Table, Units

BOARD = Board(square_m=0.06, corners_along=4, corners_across=3)


@dataclass(frozen=True, slots=True, kw_only=True)
class TwinBlocks(MarkShape):
    """Two rectangles that meet in the centre, ahead-left and behind-right: alike after half a turn.

    Nobody else knows this kind.
    """

    kind: ClassVar[str] = "twin_blocks"
    keys: ClassVar[tuple[str, ...]] = ("block",)

    along_m: float
    across_m: float

    @classmethod
    def read(cls, table: Table) -> Self:
        along, across = table.lengths("block", (2,), "[along, across]") or (np.nan, np.nan)
        return cls(along_m=along, across_m=across)

    def written(self, length: WriteLength) -> dict[str, object]:
        return {"block": [length(self.along_m), length(self.across_m)]}

    @property
    def half_extent_m(self) -> tuple[float, float]:
        return self.along_m, self.across_m

    def ink(self, at: Blurred) -> Drawn:
        a, b = self.along_m, self.across_m
        ahead = at.corner(at.band("s", a / 2, a / 2), at.band("q", b / 2, b / 2))
        return ahead + at.corner(at.band("s", a / 2, -a / 2), at.band("q", b / 2, -b / 2))

    @property
    def polygons(self) -> tuple[Polygon, ...]:
        a, b = self.along_m, self.across_m
        return rectangle(0, a, 0, b), rectangle(-a, 0, -b, 0)


TWIN = TwinBlocks(along_m=0.09, across_m=0.07)
DRAWN = (
    Cross(arm_along_m=0.12, arm_across_m=0.08, line_m=0.025),
    Quadrant(radius_m=0.06),
    BOARD,
    replace(BOARD, corners_along=3, corners_across=4),
    TWIN,
)


@pytest.fixture
def known(monkeypatch: pytest.MonkeyPatch) -> None:
    """A job file may name the kind of this file."""
    monkeypatch.setitem(KINDS, TwinBlocks.kind, TwinBlocks)


@pytest.mark.parametrize("shape", DRAWN, ids=lambda shape: shape.kind)
def test_ink_and_polygons_are_one_drawing(shape: MarkShape) -> None:
    places = np.random.default_rng(3).uniform(-1.1, 1.1, (4000, 2)) * shape.half_extent_m
    s, q = places.T
    sharp = shape.inked(s, q)
    assert 0.05 < sharp.mean() < 0.7
    value = shape.ink(Blurred.under(s, q, np.eye(2) * 1e-6, 0.05)).value
    clear = np.abs(value - 0.5) > 0.499
    assert clear.mean() > 0.97
    np.testing.assert_array_equal(value[clear] > 0.5, sharp[clear])
    # Chords of a disc lie up to 0.01 mm within it.
    assert np.mean(MarkShape.inked(shape, s, q) != sharp) < 2e-3


@pytest.mark.parametrize("shape", [*DRAWN, BoardCorner(square_m=0.06, ahead_left=True)])
def test_polygons_are_convex_and_counter_clockwise(shape: MarkShape) -> None:
    for polygon in shape.polygons:
        corners = np.array(polygon)
        sides = np.roll(corners, -1, axis=0) - corners
        following = np.roll(sides, -1, axis=0)
        assert (sides[:, 0] * following[:, 1] - sides[:, 1] * following[:, 0] >= 0).all()


@pytest.mark.parametrize(
    "shape",
    [
        *DRAWN,
        Cross(arm_along_m=0.1, arm_across_m=0.1, line_m=0.03),
        BoxCorner(),
        BoxCorner(size_m=(0.5, 0.4), turn_rad=0.25),
    ],
)
def test_keys_are_read_as_they_are_written(shape: MarkShape) -> None:
    values = shape.written(lambda metres: metres)
    table = Table([], "job.toml", "mark.one", values, Units("m"))
    read = type(shape).read(table)
    assert not table.faults
    assert set(values) <= set(type(shape).keys)
    assert read == shape


def test_corners_are_counted_from_behind_right() -> None:
    (mark,) = planned_layout(lot(8.4, mark='mark = "cross"\narm = "8 cm"\nline = "2 cm"')).marks[:1]
    points = points_of(replace(mark, shape=BOARD))
    assert [point.id for point in points[:5]] == [mark.id.corner(0, c) for c in range(4)] + [
        mark.id.corner(1, 0)
    ]
    away = points[0].centre_m - mark.centre_m
    assert np.allclose(away[:2], [-0.09, -0.06])
    assert points[0].is_corner
    assert not mark.is_corner


@pytest.mark.usefixtures("known")
def test_a_new_kind_is_read_laid_out_cut_and_printed() -> None:
    job = lot(8.4, mark='mark = "twin_blocks"\nblock = ["9 cm", "7 cm"]')
    assert {strip.shape for strip in job.strips} == {TWIN}
    layout = planned_layout(job)
    assert layout.mark(MarkId("left", 3)).shape == TWIN
    assert layout.mark(MarkId("left", 3)) in layout.points
    pieces = {(piece.of, piece.what) for piece in cut_list(job, lot_size(job)).marks}
    assert ("left", "printed twin_blocks") in pieces
    art = mark_art(job.strips[0])
    assert art is not None
    assert art.inked[0] == ((0, 0), (90, 0), (90, 70), (0, 70))
    with refused(*["missing"] * len(job.strips)):
        job_from_text(lot_text(8.4, mark='mark = "twin_blocks"'), "job.toml")


def test_a_new_kind_is_found_named_and_measured_in_a_picture() -> None:
    drawn = lot(8.4, mark='mark = "quadrant"\nradius = "8 cm"')
    strips = tuple(replace(strip, shape=TWIN) for strip in drawn.strips)
    job = replace(drawn, cameras=drawn.cameras[:1], strips=strips)
    scene = draw_scene(job, Deviations(), seed=4)
    grey = cv2.cvtColor(scene.pictures["front"], cv2.COLOR_BGR2GRAY).astype(np.float32)
    camera = job.cameras[0]
    prior = lens_prior(job.lens_of(camera), grey.shape[1], grey.shape[0])
    outcome = identify(job, planned_layout(job), camera, prior, grey)
    assert isinstance(outcome, Identified)
    true_px = {
        mark["id"]: np.array(mark["pixel"])
        for mark in scene.truth["cameras"][0]["marks"]
        if mark["status"] == "visible"
    }
    used = [each for each in outcome.sightings if each.status == "used" and each.measured]
    assert len(used) >= 8
    off = [each.measured.pixel_px - true_px[str(each.id)] for each in used if each.measured]
    assert np.linalg.norm(off, axis=1).max() < 0.5
