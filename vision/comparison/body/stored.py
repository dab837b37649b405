"""Kept edges as plain data, and back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.comparison.body.values import BodyEdges, Unkept
from vision.marks.strands.pieces import Pieces
from vision.units.arrays import Array
from vision.units.reason import Reason


def plain_edges(every: Sequence[BodyEdges | Unkept]) -> list[dict[str, Any]]:
    """Everything that JSON can hold of kept edges; pixels in the picture turned back."""
    return [_plain(each) for each in every]


def edges_of_plain(data: Sequence[dict[str, Any]]) -> tuple[BodyEdges | Unkept, ...]:
    """The way back."""
    return tuple(_read(each) for each in data)


def _plain(each: BodyEdges | Unkept) -> dict[str, Any]:
    if isinstance(each, Unkept):
        why = {"code": each.reason.code, **each.reason.arguments}
        return {"camera": each.camera, "missing": why}
    pieces = each.pieces
    return {
        "camera": each.camera,
        "size_px": [each.lens.width, each.lens.height],
        "lens": _rounded(each.lens.as_vector(), 10),
        "rotation": _rounded(each.pose.R, 12),
        "translation_m": _rounded(each.pose.t_m, 6),
        "covariance": [[float(f"{value:.5g}") for value in row] for row in each.covariance],
        "middle_px": _rounded(pieces.middle_px, 3),
        "normal_deg": _rounded(np.degrees(pieces.normal_rad), 3),
        "bend_per_px": _rounded(pieces.bend, 6),
        "length_px": _rounded(pieces.length_px, 1),
        "profile": _rounded(pieces.profile, 3),
        "strand": pieces.strand.tolist(),
        "depth_m": _rounded(each.depth_m, 3),
        "depth_log_sigma": _rounded(each.depth_log_sigma, 3),
        "face": list(each.face),
    }


def _rounded(values: Array, digits: int) -> Any:
    return np.round(values, digits).tolist()


def _read(data: dict[str, Any]) -> BodyEdges | Unkept:
    if "missing" in data:
        why = dict(data["missing"])
        return Unkept(camera=data["camera"], reason=Reason(why.pop("code"), **why))
    width, height = data["size_px"]
    lens = Lens(width=width, height=height, fx=1.0, fy=1.0, cx=0.0, cy=0.0)
    lens = lens.with_vector(np.array(data["lens"]))
    return BodyEdges(
        camera=data["camera"],
        pose=Pose(R=np.array(data["rotation"]), t_m=np.array(data["translation_m"])),
        lens=lens,
        covariance=np.array(data["covariance"]),
        pieces=Pieces(
            middle_px=np.array(data["middle_px"]),
            normal_rad=np.radians(data["normal_deg"]),
            bend=np.array(data["bend_per_px"]),
            length_px=np.array(data["length_px"]),
            profile=np.array(data["profile"]),
            strand=np.array(data["strand"], dtype=np.int64),
        ),
        depth_m=np.array(data["depth_m"]),
        depth_log_sigma=np.array(data["depth_log_sigma"]),
        face=tuple(data["face"]),
    )
