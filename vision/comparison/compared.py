"""Two checks compared: what changed by how much, what would have been seen, which seams break."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.adjustment.groups import Group
from vision.camera.geometry import Pose, d_aim_d_rotation_vector
from vision.camera.rotations import rotation_from_vector, vector_from_rotation
from vision.camera.solver import NoFit
from vision.camera.statistics import chi_square_tail, noncentrality
from vision.comparison.change import (
    CameraChange,
    Comparison,
    Epoch,
    Exchanged,
    Shared,
    VehicleChange,
)
from vision.comparison.epoch_ground import same_laying
from vision.comparison.pair import build_pair
from vision.comparison.seam_changes import seam_changes
from vision.comparison.search import Found, Weighed, group_alpha, search, weighed, without_lenses
from vision.comparison.settings import SETTINGS
from vision.units.reason import Reason

LAID_ANEW = Shared()


def compare(baseline: Epoch, later: Epoch, shared: Shared = LAID_ANEW) -> Comparison | NoFit:
    """What changed from `baseline` to `later`.

    Lens and mounting are one unknown in both; so is each strip or single mark that was not laid
    anew and that both jobs plan alike. NoFit where no camera can be compared (code
    'nothing-shared') or the network does not settle.
    """
    epochs, left_out = _comparable(baseline, later)
    if epochs is None:
        return NoFit(reason=Reason("nothing-shared", left_out=left_out))
    names = [*(s.name for s in later.job.strips), *(m.name for m in later.job.marks)]
    alike = {n: same_laying(baseline.job, later.job, n) for n in names if shared.keeps(n)}
    same = frozenset(name for name, yes in alike.items() if yes)
    pair = build_pair(epochs, same, shared.untouched)
    found = search(pair, epochs)
    if isinstance(found, NoFit):
        return found
    both = weighed(found)
    found = both.found
    by_lens = {name for name in pair.both if Group("exchange", name) in found.free}
    open_ = [name for name in both.torn if name in by_lens]
    left_out = (*left_out, *((name, Reason("turn-or-lens")) for name in open_))
    told = [name for name in pair.both if name not in (*open_, *both.exchanged)]
    return Comparison(
        cameras=tuple(replace(_camera(found, name), or_lens=name in both.torn) for name in told),
        exchanged=tuple(_exchanged(both, name) for name in both.exchanged),
        vehicle=_vehicle(found),
        seams=seam_changes(found, baseline, later.job),
        strips_moved=tuple(group.name for group in sorted(found.free) if group.kind == "move"),
        planned_otherwise=tuple(name for name, yes in alike.items() if yes is False),
        not_compared=left_out,
        variance_factor=found.variance_factor,
        lengths=later.job.lengths,
    )


def _comparable(
    baseline: Epoch, later: Epoch
) -> tuple[tuple[Epoch, Epoch] | None, tuple[tuple[str, Reason], ...]]:
    """Both checks without what cannot be compared, and why each such camera cannot.

    None where no camera can be.
    """
    pairs = [{o.name: o for o in each.observations} for each in (baseline, later)]
    names = dict.fromkeys(c.name for each in (baseline, later) for c in each.job.cameras)
    out: dict[str, Reason] = {}
    clashing: set[str] = set()
    for name in names:
        before, after = (pair.get(name) for pair in pairs)
        if before is None or after is None:
            when = "baseline" if before is None else "later"
            out[name] = Reason("took-no-part", check=when)
            continue
        sizes = [(o.prior.guess.width, o.prior.guess.height) for o in (before, after)]
        if sizes[0] != sizes[1]:
            out[name] = Reason("sizes-differ", sizes_px=tuple(sizes))
            clashing.add(name)
    if len(out) == len(names):
        return None, tuple(out.items())
    # A camera in one check alone still says where the strips lay.
    kept = [
        replace(each, observations=tuple(o for o in each.observations if o.name not in clashing))
        for each in (baseline, later)
    ]
    return (kept[0], kept[1]), tuple(out.items())


def _camera(found: Found, name: str) -> CameraChange:
    own = Group("turn", name), Group("shift", name)
    turn, shift = (found.tests[group] for group in own)
    state = found.solution.state
    pose = state.pose(found.pair.before[name])
    turned = rotation_from_vector(turn.estimate) @ pose.R
    after = Pose.at(pose.camera_in_ground_m, turned)
    factor = max(1.0, found.variance_factor)
    alpha = group_alpha(len(found.pair.ties), len(found.free.difference(own)))
    size = np.sqrt(noncentrality(3, alpha, SETTINGS.power) * factor)
    by_turn = d_aim_d_rotation_vector(turned)
    by_stance = by_turn @ turned @ state.R[found.pair.stance].T
    d_aim = np.hstack([by_turn, by_stance, -d_aim_d_rotation_vector(pose.R)])
    aim_sigma = np.sqrt(np.maximum(np.diag(d_aim @ turn.touched @ d_aim.T), 0.0))
    return CameraChange(
        name=name,
        aim_rad=np.nan_to_num(after.aim.minus(pose.aim)),
        aim_sigma_rad=np.nan_to_num(aim_sigma, nan=np.pi),
        place_m=shift.estimate,
        place_sigma_m=np.sqrt(np.diag(shift.covariance)),
        turned=own[0] in found.free,
        moved=own[1] in found.free,
        detectable_rad=float(size * np.sqrt(np.linalg.eigvalsh(turn.spread)[-1])),
        detectable_m=float(size * np.sqrt(np.linalg.eigvalsh(shift.spread)[-1])),
    )


def _exchanged(both: Weighed, name: str) -> Exchanged:
    """What the later lens differs by from the one before."""
    found = both.found
    state, pair, test = found.solution.state, found.pair, found.tests[Group("exchange", name)]
    before, after = state.lens[pair.before[name]], state.lens[pair.after[name]]
    focal = float(np.sqrt(after[0] * after[1] / (before[0] * before[1]))) - 1
    return Exchanged(
        name=name,
        log10_odds=both.lens_nats[name] / np.log(10),
        focal_share=focal,
        focal_sigma=float(np.sqrt(test.covariance[0, 0])) * SETTINGS.units.focal_share,
        centre_px=after[2:4] - before[2:4],
    )


def _vehicle(found: Found) -> VehicleChange:
    """How it stands, and whether other lenses explain that as well."""
    stands = _stands(found)
    if not stands.significant:
        return stands
    freed = without_lenses(found)
    return replace(stands, or_lenses=freed is None or not _stands(freed).significant)


def _stands(found: Found) -> VehicleChange:
    """Height, lean to the right and nose down, tested together against standing as before."""
    network, state, stance = found.pair.network, found.solution.state, found.pair.stance
    at = network.columns.pose[stance]
    covariance = found.solution.covariance.kept[np.ix_(at, at)]
    # The estimate is drawn towards nothing by its prior: its own spread is less than its sigma.
    stated = network.statements[Group("stance", "")]
    _, by_stance = stated.rows(state)
    prior = by_stance.T @ by_stance
    spread = (covariance - covariance @ prior @ covariance)[2:5, 2:5]
    turned = vector_from_rotation(state.R[stance])
    value = np.array([state.place_m[stance, 2], turned[0], turned[1]])
    values, vectors = np.linalg.eigh(spread)
    known = values > 1e-3 * values.max()
    parts = np.square(vectors.T @ value)[known] / values[known]
    statistic = float(parts.sum()) / max(1.0, found.variance_factor)
    p = chi_square_tail(statistic, int(known.sum()))
    sigma = np.sqrt(np.diag(covariance)[2:5])
    return VehicleChange(
        height_m=float(value[0]),
        lean_rad=float(value[1]),
        nose_down_rad=float(value[2]),
        height_sigma_m=float(sigma[0]),
        lean_sigma_rad=float(sigma[1]),
        nose_down_sigma_rad=float(sigma[2]),
        significant=p < SETTINGS.family_alpha,
    )
