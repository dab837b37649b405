"""How far a camera turned against the body since its edges were kept, or why nobody can say."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np

from vision.camera.geometry import Pose, d_aim_d_rotation_vector
from vision.camera.lens import Lens
from vision.camera.lens_prior import resized
from vision.camera.rotations import rotation_from_vector
from vision.camera.statistics import student_limit
from vision.comparison.body.keeping import struck_out
from vision.comparison.body.seams import seam_effects
from vision.comparison.body.search import first_turns, rival_start, scanned
from vision.comparison.body.settings import SETTINGS
from vision.comparison.body.turn import Fitted, Sight, fit, likelihood, sight_of
from vision.comparison.body.values import BodyComparison, BodyEdges, BodyTurn, Unkept
from vision.job.job import Job
from vision.marks.picture import Picture, Pixels
from vision.marks.strands.chamfer import chamfer_of
from vision.marks.strands.light import Gradient, gradient_of
from vision.units.arrays import Array, Flags
from vision.units.reason import Reason

UNRECOGNISED = ("body-too-few", "body-two-parts")
"""Codes of why a picture does not show the body as it was."""


def compare_bodies(
    kept: Sequence[BodyEdges | Unkept],
    job: Job,
    pictures: Mapping[str, Picture],
    only: Collection[str] = (),
) -> BodyComparison:
    """What pictures, by their cameras' names, say of every camera of the job.

    With `only` some cameras' names, of those alone.
    """
    by_name = {each.camera: each for each in kept}
    turns: list[BodyTurn] = []
    out: list[tuple[str, Reason]] = []
    for camera in job.cameras:
        if only and camera.name not in only:
            continue
        found = _judged(by_name.get(camera.name), job, pictures.get(camera.name))
        if isinstance(found, Reason):
            out.append((camera.name, found))
        else:
            turns.append(found)
    unknown = [name for name, why in out if why.code in UNRECOGNISED]
    if len(turns) < SETTINGS.least_cameras * (len(turns) + len(unknown)):
        others = Reason("body-others-unrecognised", cameras=tuple(unknown))
        out += [(each.name, others) for each in turns]
        turns = []
    allowed = np.array([job.tolerances.aim_rad] * 2 + [job.tolerances.roll_rad])
    fine = frozenset(t.name for t in turns if (t.detectable_rad <= 0.5 * allowed).all())
    return BodyComparison(
        cameras=tuple(turns), not_judged=tuple(out), fine=fine, lengths=job.lengths
    )


def _judged(
    kept: BodyEdges | Unkept | None, job: Job, picture: Picture | None
) -> BodyTurn | Reason:
    if kept is None or isinstance(kept, Unkept):
        return Reason("body-not-kept") if kept is None else kept.reason
    if picture is None:
        return Reason("no-picture")
    camera = job.camera(kept.camera)
    if camera.mounted_on and not camera.moving_px:
        return Reason("body-carried", part=camera.mounted_on)
    struck = struck_out(camera, kept.pieces, kept.lens, picture.corner_px)
    edges = kept.only(~struck)
    if len(edges.pieces) < SETTINGS.least_pieces:
        return Reason("body-no-edges", pieces=len(edges.pieces))
    found = turn_of(edges, picture.bgr)
    if isinstance(found, Reason):
        turned = turn_of(edges, picture.bgr[:, ::-1])
        if isinstance(turned, Reason) or turned.share < SETTINGS.mirrored_share:
            return found
        found = replace(turned, turned_over=True)
    return replace(found, seams=seam_effects(job, edges, found))


def turn_of(edges: BodyEdges, bgr: Pixels) -> BodyTurn | Reason:
    """How far the camera of these edges turned by the time of a picture turned back.

    Codes where nobody can say: 'sizes-differ', 'body-dark', 'body-too-few', 'body-two-parts'.
    """
    height, width = bgr.shape[:2]
    old = edges.lens
    if abs(width * old.height - height * old.width) > 0.01 * width * old.height:
        sizes = (old.width, old.height), (width, height)
        return Reason("sizes-differ", sizes_px=sizes)
    lens = resized(old, width, height)
    gradient = gradient_of(bgr)
    sight = sight_of(edges.pieces, old, edges.depth_m, edges.depth_log_sigma, width / old.width)
    found = _best(sight, gradient, lens)
    agreeing = 0 if found is None else int(found.agrees.sum())
    if found is None or not _enough(sight, found):
        why = Reason("body-too-few", agreeing=agreeing, pieces=len(sight.pieces))
        return why
    other = _second_part(sight, gradient, lens, found)
    if other is not None:
        return other
    found, owed = _against_rival(sight, gradient, lens, found)
    return _turn(edges, sight, found, owed)


def _best(sight: Sight, gradient: Gradient, lens: Lens) -> Fitted | None:
    """The fit that most edges agree with: near no turn, or where a search farther away leads."""
    best = scanned(sight, gradient, lens, np.zeros(3))
    found = fit(sight, gradient, lens, np.r_[best, 0.0, 0.0, 0.0])
    if _share(sight, found) >= SETTINGS.sure_share:
        return found
    chamfer = chamfer_of(gradient, SETTINGS.truncated_px)
    for start in first_turns(sight, chamfer, lens):
        best = scanned(sight, gradient, lens, start)
        other = fit(sight, gradient, lens, np.r_[best, 0.0, 0.0, 0.0])
        if _share(sight, other) > _share(sight, found):
            found = other
    return found


def _against_rival(
    sight: Sight, gradient: Gradient, lens: Lens, found: Fitted
) -> tuple[Fitted, Array]:
    """The likelier of a fit and another that begins beside it, and what its turn owes to the other.

    That is the way from the one to the other (3,), times the root of the other's chance.
    """
    weakest = np.linalg.eigh(found.covariance[:3, :3])[1][:, -1]
    start = rival_start(sight, gradient, lens, found.state, weakest)
    other = fit(sight, gradient, lens, start)
    if other is None or _same_turn(found, other):
        return found, np.zeros(3)
    nats = likelihood(sight, found) - likelihood(sight, other)
    if nats < 0:
        found, other, nats = other, found, -nats
    chance = 1 / (1 + np.exp(min(nats, 30.0)))
    return found, np.sqrt(chance) * (other.state[:3] - found.state[:3])


def _same_turn(one: Fitted, other: Fitted) -> bool:
    return float(np.linalg.norm(one.state[:3] - other.state[:3])) < SETTINGS.same_rad


def _share(sight: Sight, found: Fitted | None) -> float:
    """Share of the pieces that were found again, by length."""
    if found is None:
        return 0.0
    length = sight.pieces.length_px
    return float(length[found.near].sum() / length.sum())


def _enough(sight: Sight, found: Fitted) -> bool:
    length, agrees = sight.pieces.length_px, found.agrees
    strands = len(np.unique(sight.pieces.strand[agrees]))
    return (
        _share(sight, found) >= SETTINGS.least_share
        and length[agrees].sum() >= SETTINGS.agreeing_share * length[found.near].sum()
        and int(agrees.sum()) >= SETTINGS.least_pieces
        and strands >= SETTINGS.least_strands
    )


def _second_part(sight: Sight, gradient: Gradient, lens: Lens, found: Fitted) -> Reason | None:
    """Why nobody can say which edges are the body's: many others agree on a turn of their own."""
    left = ~found.agrees
    if left.sum() < SETTINGS.least_pieces:
        return None
    rest = sight.only(left)
    best = scanned(rest, gradient, lens, np.zeros(3))
    other = fit(rest, gradient, lens, np.r_[best, 0.0, 0.0, 0.0])
    if other is None:
        return None
    strands = len(np.unique(rest.pieces.strand[other.agrees]))
    lengths = [s.pieces.length_px[f.agrees].sum() for s, f in ((rest, other), (sight, found))]
    apart = other.state[:3] - found.state[:3]
    both = other.covariance[:3, :3] + found.covariance[:3, :3]
    if (
        strands < SETTINGS.least_strands
        or lengths[0] < SETTINGS.other_share * lengths[1]
        or float(apart @ np.linalg.solve(both, apart)) < SETTINGS.apart**2
    ):
        return None
    return Reason("body-two-parts", apart_rad=float(np.linalg.norm(apart)))


def _turn(edges: BodyEdges, sight: Sight, found: Fitted, owed: Array) -> BodyTurn:
    w, R = found.state[:3], edges.pose.R
    after = Pose.at(edges.pose.camera_in_ground_m, rotation_from_vector(w) @ R)
    covariance = found.covariance[:3, :3] + SETTINGS.give_rad**2 * np.eye(3)
    covariance = covariance + SETTINGS.lens_share**2 * np.outer(w, w)
    covariance = covariance + np.outer(owed, owed)
    by_turn = d_aim_d_rotation_vector(after.R)
    sigma = np.sqrt(np.diag(by_turn @ covariance @ by_turn.T))
    off = after.aim.minus(edges.pose.aim)
    strands = len(np.unique(sight.pieces.strand[found.agrees]))
    free = max(strands - 3, 2)
    limit = student_limit(1 - SETTINGS.alarm / 6, free)
    seen = limit + student_limit(SETTINGS.power, free)
    flags: Flags = np.abs(off) > limit * sigma
    return BodyTurn(
        name=edges.camera,
        aim_rad=off,
        aim_sigma_rad=sigma,
        detectable_rad=seen * sigma,
        significant=(bool(flags[0]), bool(flags[1]), bool(flags[2])),
        agreeing=int(found.agrees.sum()),
        kept=len(sight.pieces),
        share=_share(sight, found),
    )
