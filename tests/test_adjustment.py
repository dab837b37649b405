"""The joint adjustment on made-up jobs whose truth is drawn from the very sigmas they state.

Proves: analytic derivatives of all rows, readings included; a strip laid 5 cm wrong, a mounting
15 cm wrong and a wrong reading are set free and found, and nothing is where nothing is wrong; two
readings that contradict each other are named together, and the reading that would decide is asked
for; a lens of another type, a bow and a misplaced single mark are named; detectable biases; a wrong
pick is left out; elimination gives the step and covariance of the whole matrix; the a-priori
covariance describes the scatter of repeats; one camera alone, degenerate layouts, unseen strips, no
camera and readings alone are answered. Does not prove: that marks are measured as well as they say,
nor that real tape deviates as the model has it. tests/accuracy/network.py does the same by the
thousand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from scipy.linalg import block_diag

from vision.adjustment import Adjustment, CameraObservations, adjust, adjust_readings
from vision.adjustment.building import build_network
from vision.adjustment.elimination import reduce
from vision.adjustment.faults import noncentrality
from vision.adjustment.group_tests import group_alpha, group_tests
from vision.adjustment.network import Network
from vision.adjustment.report import common_motion, length_slip
from vision.adjustment.screening import run, weights_of
from vision.adjustment.search import usable
from vision.adjustment.state import State, Weights, whiteners
from vision.geometry import Aim, Array, Pose
from vision.job import (
    AngleReading,
    Board,
    Camera,
    Cross,
    Job,
    LengthReading,
    Quadrant,
    Reading,
    SingleMark,
    StatedLens,
    Strip,
    Vehicle,
)
from vision.layout import Layout, planned_layout
from vision.length_words import LengthWords
from vision.lens import Lens
from vision.lens_prior import lens_prior
from vision.plan_fit import Flags, Points
from vision.solver import NoFit, normal_inverse
from vision.verdict import camera_verdict, causes, unobserved

CROSS = Cross(arm_along_m=0.12, arm_across_m=0.08, line_m=0.025)
LENS = Lens(
    width=1280, height=720, fx=427.0, fy=427.0, cx=641.0, cy=357.0, k=[-0.04, 0.005, -0.001, 1e-4]
)
LENS_SIGMA = np.array([4.0, 4.0, 3.0, 3.0, 0.004, 0.002, 0.001, 0.0003])
PIXEL_SIGMA_PX = 0.06


def strip(name: str, a: tuple[float, float], b: tuple[float, float], count: int) -> Strip:
    length = float(np.hypot(b[0] - a[0], b[1] - a[1]))
    return Strip(
        name=name,
        from_m=np.array(a),
        to_m=np.array(b),
        at_m=np.linspace(0, length, count),
        shape=CROSS,
        tape_width_m=0.18,
        position_sigma_m=0.01,
    )


def camera(name: str, place: tuple[float, float, float], pan_deg: float) -> Camera:
    return Camera(
        name=name,
        picture=f"{name}.jpg",
        lens=name,
        position_m=np.array(place),
        position_sigma_m=0.02,
        aim=Aim.from_degrees(pan_deg, 45, 0),
    )


STRIPS = (
    strip("left", (-4.9, 1.54), (4.7, 1.54), 17),
    strip("right", (-4.9, -1.54), (4.7, -1.54), 17),
    strip("front", (5.3, -2.4), (5.3, 2.4), 9),
    strip("rear", (-5.5, -2.4), (-5.5, 2.4), 9),
)
CAMERAS = (
    camera("front", (4.1, 0, 2.5), 0),
    camera("left", (0, 1.28, 2.45), 90),
    camera("rear", (-4.1, 0, 2.5), 180),
    camera("right", (0, -1.28, 2.45), -90),
)
MARKS = tuple(
    SingleMark(
        name=f"{name}_trestle",
        at_m=np.array(at),
        shape=Quadrant(radius_m=0.06),
        position_sigma_m=0.01,
    )
    for name, at in (("front", (5.8, 0.8, 0.75)), ("left", (0.7, 1.9, 0.75)))
)
JOB = Job(
    name="Mobile library",
    vehicle=Vehicle(length_m=8.2, width_m=2.35),
    lenses=tuple(
        StatedLens(name=each.name, fitted=LENS, covariance=np.diag(LENS_SIGMA**2))
        for each in CAMERAS
    ),
    cameras=CAMERAS,
    strips=STRIPS,
    marks=MARKS,
)


class Scene:
    """A truth drawn from the sigmas of `job`, with stated faults, and what its cameras measure."""

    def __init__(
        self,
        job: Job,
        rng: np.random.Generator,
        faults: dict[str, Array] | None = None,
        lens_sigma: Array = LENS_SIGMA,
    ):
        faults = faults or {}
        self.job, self.layout = job, planned_layout(job)
        self.poses: dict[str, Pose] = {}
        self.lenses: dict[str, Lens] = {}
        self.ends: dict[str, Array] = {}
        for each in job.strips:
            ends = np.stack([each.from_m, each.to_m])
            ends = ends + rng.normal(0, each.position_sigma_m, (2, 2))
            self.ends[each.name] = ends + faults.get(f"strip {each.name}", np.zeros(2))
        self.places = self._places(rng)
        seen = []
        for each in job.cameras:
            at = each.position_m + rng.normal(0, each.position_sigma_m, 3)
            at = at + faults.get(f"mounting {each.name}", np.zeros(3))
            pose = Pose.at(at, each.aim.rotation())
            self.poses[each.name] = pose.perturbed(np.r_[0, 0, 0, rng.normal(0, 0.01, 3)])
            lens = LENS.with_vector(LENS.as_vector() + rng.normal(0, lens_sigma))
            self.lenses[each.name] = lens
            seen.append(self._observed(each, rng))
        self.observations = tuple(seen)

    def _places(self, rng: np.random.Generator) -> dict[str, Array]:
        places = {}
        for mark in self.layout.marks:
            if mark.strip is None:
                sigma = next(m.position_sigma_m for m in self.job.marks if m.name == mark.id)
                places[mark.id] = mark.centre_m + rng.normal(0, sigma, 3)
                continue
            own = self.job.strip(mark.strip)
            share = own.at_m[mark.index] / own.length_m
            first, last = self.ends[own.name]
            xy = first + share * (last - first) + rng.normal(0, own.mark_sigma_m, 2)
            places[mark.id] = np.array([*xy, 0.0])
        return places

    def _observed(self, each: Camera, rng: np.random.Generator) -> CameraObservations:
        pose, lens = self.poses[each.name], self.lenses[each.name]
        pixels = lens.project(pose.transform(np.array(list(self.places.values()))))
        inside = lens.contains(pixels)
        ids = tuple(i for i, yes in zip(self.places, inside, strict=True) if yes)
        n = len(ids)
        points = Points(
            ids=ids,
            planned_m=self.layout.centres_m[inside],
            mark_sigma_m=np.full(n, 0.003),
            pixels_px=pixels[inside] + rng.normal(0, PIXEL_SIGMA_PX, (n, 2)),
            covariance_px2=np.tile(PIXEL_SIGMA_PX**2 * np.eye(2), (n, 1, 1)),
        )
        prior = lens_prior(self.job.lens_of(each), LENS.width, LENS.height)
        start = (pose.perturbed(rng.normal(0, 0.03, 6)), prior.guess)
        return CameraObservations(name=each.name, prior=prior, points=points, start=start)

    def adjusted(self) -> Adjustment:
        result = adjust(self.job, self.layout, self.observations)
        assert isinstance(result, Adjustment), result
        return result

    def errors(self, result: Adjustment, name: str) -> Array:
        """Estimate minus truth of one camera, in its fourteen steps."""
        found, true = result.camera(name), self.poses[name]
        turn = found.pose.R @ true.R.T
        vector = 0.5 * np.array(
            [turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]]
        )
        place = found.pose.camera_in_ground_m - true.camera_in_ground_m
        lens = found.lens.as_vector() - self.lenses[name].as_vector()
        return np.concatenate([place, vector, lens])


def moved(observations: CameraObservations, row: int, by_px: Array) -> CameraObservations:
    """Make one wrong pick."""
    pixels = observations.points.pixels_px.copy()
    pixels[row] += by_px
    return replace(observations, points=replace(observations.points, pixels_px=pixels))


def full_weights(network: Network) -> Weights:
    return weights_of(whiteners(network.points.covariance_px2), all_points(network))


def all_points(network: Network) -> Flags:
    return np.ones(len(network.points.ids), dtype=bool)


def whole(network: Network, weights: Weights, state: State) -> tuple[Array, Array]:
    """All whitened rows and their derivative by every unknown, kept ones and eliminated."""
    rows = network.rows(network.seen(state), weights)
    points, kept, size = len(rows.r), network.kept, network.size
    by_points = np.zeros((points, 2, size))
    by_points[:, :, :kept] = network.by_kept(rows.by_camera, rows.by_world)
    for row, block in enumerate(network.points.blocks):
        if block >= 0:
            start = kept + network.world.own_size * block
            by_points[row, :, start : start + network.world.own_size] = rows.by_own[row]
    others = np.zeros((len(rows.others), size))
    others[:, :kept] = rows.by_kept_others
    single = np.diag(np.concatenate([rows.weight, rows.weight_own.ravel()]))
    residuals = [rows.r.ravel(), rows.others, rows.prior, rows.prior_own.ravel()]
    return np.concatenate(residuals), np.concatenate([by_points.reshape(-1, size), others, single])


SHARED = replace(
    JOB,
    cameras=tuple(replace(each, lens="wide") for each in CAMERAS),
    lenses=(StatedLens(name="wide", field_of_view_rad=float(np.radians(187))),),
)


@pytest.mark.parametrize("case", ["own lenses", "shared lens", "readings"])
def test_derivatives_of_all_rows_match_central_differences(case: str) -> None:
    job, types = (SHARED, ["wide"]) if case == "shared lens" else (JOB, [])
    scene = Scene(job, np.random.default_rng(1))
    if case == "readings":
        job = read(scene, np.random.default_rng(2))
    network = build_network(job, scene.layout, scene.observations)
    assert [name for name, _ in network.types] == types
    weights = Weights(
        whiteners=whiteners(network.points.covariance_px2),
        group_sigma={"strip left": 1.0, "mounting rear": 1.0, "lens front": 10.0},
    )
    rng = np.random.default_rng(2)
    state = network.retract(network.start, rng.normal(0, 1e-3, network.size))
    _, jacobian = whole(network, weights, state)
    lengths = np.linalg.norm(jacobian, axis=0)
    for column in range(network.size):
        step = np.zeros(network.size)
        step[column] = 1e-2 / lengths[column]
        plus, _ = whole(network, weights, network.retract(state, step))
        minus, _ = whole(network, weights, network.retract(state, -step))
        numeric = (plus - minus) / (2 * step[column])
        np.testing.assert_allclose(
            numeric, jacobian[:, column], atol=2e-6 * lengths[column], err_msg=str(column)
        )


@pytest.mark.parametrize("case", ["readings", "shared lens", "panels"])
def test_elimination_gives_the_step_and_covariance_of_the_whole_matrix(case: str) -> None:
    scene = Scene(SHARED if case == "shared lens" else JOB, np.random.default_rng(1))
    job, observations = scene.job, scene.observations
    if case == "readings":
        job = read(scene, np.random.default_rng(2))
    if case == "panels":
        job, observations = panels(0.01)
    network = build_network(job, planned_layout(job), observations)
    weights = full_weights(network)
    r, jacobian = whole(network, weights, network.start)
    reduced = reduce(network.rows(network.seen(network.start), weights))
    assert reduced is not None
    covariance = reduced.covariance()
    assert covariance is not None
    assert reduced.chi2 == pytest.approx(r @ r)
    expected = normal_inverse(jacobian)
    assert expected is not None
    sigma = np.sqrt(np.diag(expected))
    count, size, kept = covariance.follows.shape
    follows = covariance.follows.reshape(count * size, kept)
    own = follows @ covariance.kept @ follows.T + block_diag(*covariance.own)
    cross = -covariance.kept @ follows.T
    found = np.block([[covariance.kept, cross], [cross.T, own]])
    np.testing.assert_allclose(
        found / np.outer(sigma, sigma), expected / np.outer(sigma, sigma), atol=1e-7
    )
    step, promised = reduced.step(1e-15)
    np.testing.assert_allclose(step / sigma, -expected @ jacobian.T @ r / sigma, atol=1e-6)
    assert promised == pytest.approx(r @ r - np.sum(np.square(r + jacobian @ step)), rel=1e-6)
    damped, promised = reduced.step(0.1)
    length = np.linalg.norm(jacobian, axis=0)
    inverse = normal_inverse(np.concatenate([jacobian, np.sqrt(0.1) * np.diag(length)]))
    assert inverse is not None
    np.testing.assert_allclose(damped * length, -inverse @ jacobian.T @ r * length, atol=1e-6)
    assert promised == pytest.approx(r @ r - np.sum(np.square(r + jacobian @ damped)), rel=1e-6)


def test_a_point_that_leaves_its_mark_open_has_no_linear_model() -> None:
    scene = Scene(JOB, np.random.default_rng(1))
    network = build_network(JOB, scene.layout, scene.observations)
    weights = full_weights(network)
    # One direction so sharp that the prior across it is below rounding.
    sharp = weights.whiteners.copy()
    sharp[0] = [[1e9, 0.0], [1e9, 0.0]]
    assert network.points.blocks[0] >= 0
    seen = network.seen(network.start)
    assert reduce(network.rows(seen, weights)) is not None
    assert reduce(network.rows(seen, replace(weights, whiteners=sharp))) is None


READINGS = (
    LengthReading(
        kind="distance",
        between=("left/0", "rear/8"),
        value_m=0.0,
        sigma_m=0.003,
        tape="yellow",
        scale_sigma=1.2e-4,
    ),
    LengthReading(kind="diagonal", between=("left/0", "front/0"), value_m=0.0, sigma_m=0.003),
    LengthReading(kind="distance", between=("left", "left_trestle"), value_m=0.0, sigma_m=0.004),
    LengthReading(kind="offset", between=("right/3",), value_m=0.0, sigma_m=0.003),
    AngleReading(camera="front", tilt_rad=0.0, roll_rad=0.0, against="gravity", sigma_rad=0.0035),
    AngleReading(camera="left", tilt_rad=0.0, roll_rad=None, against="ground", sigma_rad=0.0035),
)
SLOPE = np.array([0.012, -0.008])


def read(scene: Scene, rng: np.random.Generator, off: dict[int, float] | None = None) -> Job:
    """Read off the scene's truth with errors of the stated sigmas, and faults `off` by index."""
    read_off: list[Reading] = []
    scale = 1 + rng.normal(0, 1.2e-4)
    for index, each in enumerate(READINGS):
        error = rng.normal(0, 1, 2)
        fault = (off or {}).get(index, 0.0)
        if isinstance(each, AngleReading):
            slope = SLOPE if each.against == "gravity" else np.zeros(2)
            down = np.array([*slope, -1.0]) / np.hypot(1, np.hypot(*slope))
            x, y, z = scene.poses[each.camera].R @ down
            tilt = np.arcsin(z) + each.sigma_rad * error[0] + fault
            roll = np.arctan2(x, y) + each.sigma_rad * error[1]
            reading = replace(each, tilt_rad=tilt, roll_rad=None if each.roll_rad is None else roll)
            read_off.append(reading)
            continue
        places = [
            scene.poses[name].camera_in_ground_m if name in scene.poses else scene.places[name]
            for name in each.between
        ]
        if each.kind == "offset":
            length = abs(places[0][1])
        else:
            length = float(np.linalg.norm(places[0] - places[1]))
        length = length * (scale if each.tape else 1.0) + each.sigma_m * error[0] + fault
        read_off.append(replace(each, value_m=length))
    return replace(scene.job, readings=tuple(read_off))


def test_derivatives_of_readings_match_central_differences() -> None:
    scene = Scene(JOB, np.random.default_rng(1))
    job = read(scene, np.random.default_rng(2))
    network = build_network(job, scene.layout, scene.observations)
    assert len(network.readings) == len(READINGS)
    rng = np.random.default_rng(3)
    state = network.retract(network.start, rng.normal(0, 1e-2, network.size))
    for view in network.readings:
        _, jacobian = network.group_rows(state, view.group)
        assert jacobian.any(axis=1).all()
        for column in range(network.kept):
            step = np.zeros(network.size)
            step[column] = 1e-5
            plus, _ = network.group_rows(network.retract(state, step), view.group)
            minus, _ = network.group_rows(network.retract(state, -step), view.group)
            np.testing.assert_allclose(
                (plus - minus) / 2e-5, jacobian[:, column], atol=1e-7, err_msg=view.group
            )


def test_readings_narrow_what_they_measure() -> None:
    scene = Scene(JOB, np.random.default_rng(21))
    without = scene.adjusted()
    scene.job = read(scene, np.random.default_rng(22))
    result = scene.adjusted()
    assert result.freed == ()
    assert [each.name for each in result.readings] == [f"reading {i}" for i in range(1, 7)]
    for each, stated in zip(result.readings, READINGS, strict=True):
        sigma = stated.sigma_m if isinstance(stated, LengthReading) else stated.sigma_rad
        assert (np.abs(each.residual) < 4 * sigma).all()
        assert (each.sigma < sigma).all()
    before, after = (next(s for s in r.strips if s.name == "right") for r in (without, result))
    assert after.shift_sigma_m[1] < 0.7 * before.shift_sigma_m[1]
    aim = result.camera("front").aim.minus(scene.poses["front"].aim)
    assert (np.abs(aim) < 3 * np.sqrt(np.diag(result.camera("front").aim_covariance_rad2))).all()


@pytest.mark.parametrize(
    ("index", "fault", "slip"),
    [
        (1, 0.0254, "an inch too long"),
        (3, -0.3048, "a foot too short"),
        (5, np.radians(-35.0), None),
    ],
)
def test_a_reading_that_is_wrong_is_freed(index: int, fault: float, slip: str | None) -> None:
    scene = Scene(JOB, np.random.default_rng(23))
    scene.job = read(scene, np.random.default_rng(24), {index: fault})
    result = scene.adjusted()
    assert result.freed == (f"reading {index + 1}",)
    found = result.readings[index]
    assert abs(found.residual[0] - fault) < 4 * np.hypot(found.sigma[0], 0.0035)
    assert found.slip == slip
    (text,) = causes(scene.job, result)
    assert text.startswith(f"reading {index + 1} (")
    assert f"is {slip};" in text or slip is None


def test_readings_to_what_no_camera_shows() -> None:
    scene = Scene(JOB, np.random.default_rng(25))
    scene.job = read(scene, np.random.default_rng(26))
    # Only the left camera took part: the readings of the front one say nothing, and a taped mark
    # of the right strip is placed by its tape alone.
    result = adjust(scene.job, scene.layout, scene.observations[1:2])
    assert isinstance(result, Adjustment)
    assert "reading 5" not in [each.name for each in result.readings]
    assert "reading 4" in [each.name for each in result.readings]
    right = next(each for each in result.strips if each.name == "right")
    assert not right.seen
    assert right.shift_sigma_m[1] < 0.01 / np.sqrt(2)


def test_two_readings_that_contradict_each_other_cannot_be_told_apart() -> None:
    scene = Scene(JOB, np.random.default_rng(27))
    length = float(np.linalg.norm(scene.places["left/0"] - scene.places["left/16"]))
    alike = LengthReading(
        kind="distance", between=("left/0", "left/16"), value_m=length, sigma_m=0.003
    )
    # 5 cm apart, each as far from the pictures' own answer, which is worth little here: only
    # one camera with a lens that is hardly known shows anything.
    half = 0.025
    pair = (replace(alike, value_m=length + half), replace(alike, value_m=length - half))
    strips = tuple(replace(each, position_sigma_m=0.5) for each in STRIPS)
    scene.job = replace(JOB, readings=pair, strips=strips)
    result = adjust(scene.job, scene.layout, scene.observations[1:2])
    assert isinstance(result, Adjustment)
    assert result.freed == ()
    (tie,) = result.freed_alternatives
    assert set(tie) == {"reading 1", "reading 2"}


def test_detectable_bias_is_found_in_four_jobs_of_five() -> None:
    scene = Scene(JOB, np.random.default_rng(28))
    result = scene.adjusted()
    names = ("strip left", "mounting front", "mark left_trestle")
    assert set(names) <= set(result.groups)
    test = result.groups["mark left_trestle"]
    assert 0 < test.redundancy < 1
    assert set(test.faults) == {"shift"}
    strip = result.groups["strip left"]
    assert 0 < strip.faults["turn"].detectable() < np.radians(1)
    # Chi-square with one degree of freedom at 5 % and 80 %: (1.960 + 0.842)^2, normal tables.
    assert noncentrality(1, 0.05) == pytest.approx((1.95996 + 0.84162) ** 2, rel=1e-3)
    # The statistic of a biased strip grows by the bias in units of the detectable one, squared.
    network = build_network(JOB, scene.layout, scene.observations)
    solution = run(network, full_weights(network), network.seen(network.start))
    assert not isinstance(solution, NoFit)
    columns = network.base + np.arange(*network.world.strips["left"].indices(10**6)[:2])
    q = np.eye(4) - solution.covariance.kept[np.ix_(columns, columns)] / 0.01**2
    both = np.vstack([np.eye(2), np.eye(2)])
    _, vectors = np.linalg.eigh(both.T @ q @ both)
    bias = both @ vectors[:, 0] * strip.faults["shift"].detectable() / 0.01
    level = group_alpha(len(network.groups()))
    assert bias @ q @ bias == pytest.approx(noncentrality(4, level), rel=0.02)
    assert strip.times_detectable(0.01 * bias) == pytest.approx(1.0, rel=0.02)


def test_a_freed_group_is_tested_as_if_it_were_held() -> None:
    scene = Scene(JOB, np.random.default_rng(3), {"strip right": np.array([0.0, -0.05])})
    network = build_network(JOB, scene.layout, scene.observations)
    weights = full_weights(network)
    held = run(network, weights, network.seen(network.start))
    free = run(network, network.freeing(weights, ("strip right",)), network.seen(network.start))
    assert not isinstance(held, NoFit)
    assert not isinstance(free, NoFit)
    one = group_tests(network, held)["strip right"]
    other = group_tests(network, free, freed=("strip right",))["strip right"]
    assert one.statistic == pytest.approx(other.statistic, rel=0.03)
    assert one.redundancy == pytest.approx(other.redundancy, abs=0.02)
    assert one.faults["shift"].detectable() == pytest.approx(
        other.faults["shift"].detectable(), rel=0.02
    )
    for kind, fault in one.faults.items():
        sigma = np.sqrt(np.diag(np.linalg.inv(fault.information)))
        assert np.abs(fault.estimate - other.faults[kind].estimate).max() < 0.2 * sigma.min()
        assert fault.possible == pytest.approx(other.faults[kind].possible, rel=0.05)


def test_one_fault_brings_no_second_name() -> None:
    fault = {"strip right": np.array([0.0, -0.08])}
    named = [Scene(JOB, np.random.default_rng(s), fault).adjusted().freed for s in range(300, 306)]
    assert named == [("strip right",)] * 6


def test_two_faults_are_both_named() -> None:
    fault = {"strip right": np.array([0.0, -0.08]), "mounting rear": np.array([0.0, 0.15, 0.15])}
    result = Scene(JOB, np.random.default_rng(310), fault).adjusted()
    assert set(result.freed) == {"strip right", "mounting rear"}


def test_points_beyond_the_lens_weigh_nothing() -> None:
    scene = Scene(JOB, np.random.default_rng(1))
    # dr/dtheta = 1 - 0.9 theta^2 ends at 60 degrees: many marks lie beyond.
    narrow = replace(LENS, k=np.array([-0.3, 0.0, 0.0, 0.0]))
    seen = tuple(replace(each, start=(each.start[0], narrow)) for each in scene.observations)
    network = build_network(JOB, scene.layout, seen)
    used = np.concatenate([usable(each) for each in seen])
    assert not used.all()
    weights = weights_of(whiteners(network.points.covariance_px2), used)
    residuals, jacobian = whole(network, weights, network.start)
    assert np.isfinite(residuals).all()
    assert np.isfinite(jacobian).all()
    assert isinstance(adjust(JOB, scene.layout, seen), Adjustment | NoFit)


@pytest.mark.parametrize("seed", range(6))
def test_no_group_is_freed_and_no_mark_rejected_without_a_fault(seed: int) -> None:
    scene = Scene(JOB, np.random.default_rng(100 + seed))
    result = scene.adjusted()
    assert result.freed == ()
    assert all(each.used.all() for each in result.cameras)
    # Chi-square of some 190 rows: 0.6 and 1.4 are four sigma away.
    assert 0.6 < result.chi2 / result.degrees_of_freedom < 1.4


def test_a_strip_laid_wrong_is_freed_and_found() -> None:
    fault = {"strip right": np.array([0.0, -0.05])}
    scene = Scene(JOB, np.random.default_rng(3), fault)
    result = scene.adjusted()
    assert result.freed == ("strip right",)
    right = next(each for each in result.strips if each.name == "right")
    planned = JOB.strip("right")
    true_shift = scene.ends["right"].mean(axis=0) - 0.5 * (planned.from_m + planned.to_m)
    assert np.abs(right.shift_m - true_shift).max() < 0.01
    assert (np.abs(right.shift_m - true_shift) < 3 * right.shift_sigma_m).all()
    assert all(each.used.all() for each in result.cameras)
    first, last = scene.ends["right"]
    true_turn = np.arctan2(last[1] - first[1], last[0] - first[0])
    assert abs(right.turn_rad - true_turn) < 3 * right.turn_sigma_rad
    for mark_id, shift, cov in zip(
        right.mark_ids, right.mark_shift_m, right.mark_shift_covariance_m2, strict=True
    ):
        off = shift - (scene.places[mark_id] - scene.layout.mark(mark_id).centre_m)[:2]
        # 24.6 is the 1 - 4.5e-6 quantile of chi-square with two degrees of freedom.
        assert off @ np.linalg.solve(cov, off) < 24.6
        place = scene.layout.mark(mark_id).centre_m[:2] + shift
        np.testing.assert_allclose(result.mark_m[mark_id][:2], place, atol=1e-12)


def test_a_wrong_mounting_is_freed_and_found() -> None:
    fault = {"mounting left": np.array([0.0, 0.0, 0.15])}
    scene = Scene(JOB, np.random.default_rng(4), fault)
    result = scene.adjusted()
    assert result.freed == ("mounting left",)
    assert abs(scene.errors(result, "left")[2]) < 0.02


def test_wrong_picks_are_left_out_and_good_ones_kept() -> None:
    scene = Scene(JOB, np.random.default_rng(5))
    rows = (3, 10, 5, 7)
    scene.observations = tuple(
        moved(seen, row, np.array([6.0, -5.0]))
        for seen, row in zip(scene.observations, rows, strict=True)
    )
    result = scene.adjusted()
    for each, row in zip(result.cameras, rows, strict=True):
        assert np.flatnonzero(~each.used).tolist() == [row]
        assert np.linalg.norm(each.residual_px[row] - [6.0, -5.0]) < 1.0
    assert result.freed == ()


def test_covariance_describes_the_scatter_of_repeats() -> None:
    job = replace(JOB, cameras=CAMERAS[:2], strips=(STRIPS[0], STRIPS[2]), marks=())
    rng = np.random.default_rng(6)
    squares, aims = [], []
    for _ in range(100):
        scene = Scene(job, rng)
        network = build_network(job, scene.layout, scene.observations)
        solution = run(network, full_weights(network), network.seen(network.start))
        assert not isinstance(solution, NoFit)
        place = solution.state.place_m[0]
        lens = solution.state.lens[0] - scene.lenses["front"].as_vector()
        error = np.concatenate([place - scene.poses["front"].camera_in_ground_m, lens])
        columns = np.r_[0:3, 6:14]
        covariance = solution.covariance.kept[np.ix_(columns, columns)]
        squares.append(error @ np.linalg.solve(covariance, error))
        aims.append(solution.state.pose(0).aim.minus(scene.poses["front"].aim))
        aim_sigma = np.sqrt(np.diag(solution.covariance.kept)[3:6]).max()
    # Mean of 100 chi-squares with 11 degrees of freedom: 11 +- 0.47.
    assert np.mean(squares) == pytest.approx(11, abs=2.0)
    assert 0.5 * aim_sigma < np.std(aims, axis=0).max() < 2.5 * aim_sigma


def test_aim_and_place_lie_within_their_sigmas() -> None:
    rng = np.random.default_rng(7)
    normalised = []
    for _ in range(5):
        scene = Scene(JOB, rng)
        result = scene.adjusted()
        for each in result.cameras:
            aim = each.aim.minus(scene.poses[each.name].aim)
            normalised.append(aim / np.sqrt(np.diag(each.aim_covariance_rad2)))
            normalised.append(scene.errors(result, each.name)[:3] / each.position_sigma_m)
            assert each.covariance.shape == (14, 14)
    assert 0.7 < np.sqrt(np.mean(np.square(normalised))) < 1.35
    joint = result.covariance_of("front", "left")
    np.testing.assert_array_equal(joint[:14, :14], result.camera("front").covariance)
    assert np.linalg.eigvalsh(joint).min() > 0


def test_one_camera_alone_and_strips_that_nobody_saw() -> None:
    scene = Scene(JOB, np.random.default_rng(8))
    left = scene.observations[1]
    result = adjust(JOB, scene.layout, (left,))
    assert isinstance(result, Adjustment)
    assert [each.name for each in result.cameras] == ["left"]
    assert result.freed == ()
    with pytest.raises(KeyError):
        result.camera("front")
    error, covariance = scene.errors(result, "left"), result.camera("left").covariance
    assert (np.abs(error) < 4 * np.sqrt(np.diag(covariance))).all()
    unseen = next(each for each in result.strips if each.name == "right")
    assert not unseen.seen
    assert unseen.mark_ids == ()
    np.testing.assert_array_equal(unseen.ends_m, [STRIPS[1].from_m, STRIPS[1].to_m])
    np.testing.assert_allclose(unseen.shift_sigma_m, 0.01 / np.sqrt(2))
    trestle = next(each for each in result.marks if each.name == "left_trestle")
    assert trestle.seen == ("left_trestle" in left.points.ids)


def test_no_camera_or_too_few_marks_is_no_fit() -> None:
    scene = Scene(JOB, np.random.default_rng(9))
    none = adjust(JOB, scene.layout, ())
    assert isinstance(none, NoFit)
    assert none.code == "no-camera"
    points = scene.observations[0].points
    two = replace(
        points,
        ids=points.ids[:2],
        planned_m=points.planned_m[:2],
        mark_sigma_m=points.mark_sigma_m[:2],
        pixels_px=points.pixels_px[:2],
        covariance_px2=points.covariance_px2[:2],
    )
    few = replace(scene.observations[0], points=two)
    assert isinstance(adjust(JOB, scene.layout, (few,)), NoFit)
    beside = adjust(JOB, scene.layout, (few, *scene.observations[1:]))
    assert isinstance(beside, Adjustment)
    assert "front" not in [each.name for each in beside.cameras]


def panels(turn_rad: float) -> tuple[Job, tuple[CameraObservations, ...]]:
    """A job with panels on its right strip, each turned, and what is measured of their corners."""
    panel = Board(square_m=0.06, corners_along=4, corners_across=3)
    board_strip = replace(STRIPS[1], shape=panel)
    job = replace(JOB, strips=(STRIPS[0], board_strip, *STRIPS[2:]))
    layout: Layout = planned_layout(job)
    scene = Scene(job, np.random.default_rng(10))
    rng = np.random.default_rng(11)
    observations = []
    turned = np.array([[1.0, -turn_rad], [turn_rad, 1.0]])
    for seen in scene.observations:
        pose, lens = scene.poses[seen.name], scene.lenses[seen.name]
        ids, planned, true = [], [], []
        for mark_id in seen.points.ids:
            centre, place = layout.mark(mark_id).centre_m, scene.places[mark_id]
            if layout.mark(mark_id).strip != "right":
                ids, planned, true = [*ids, mark_id], [*planned, centre], [*true, place]
                continue
            for row, column in np.ndindex(3, 4):
                offset = 0.06 * np.array([column - 1.5, row - 1.0])
                ids.append(f"{mark_id}/{row}/{column}")
                planned.append(centre + np.r_[offset, 0.0])
                true.append(place + np.r_[turned @ offset, 0.0])
        pixels = lens.project(pose.transform(np.array(true)))
        n = len(ids)
        points = Points(
            ids=tuple(ids),
            planned_m=np.array(planned),
            mark_sigma_m=np.full(n, 0.003),
            pixels_px=pixels + rng.normal(0, PIXEL_SIGMA_PX, (n, 2)),
            covariance_px2=np.tile(PIXEL_SIGMA_PX**2 * np.eye(2), (n, 1, 1)),
        )
        observations.append(replace(seen, points=points))
    return job, tuple(observations)


def test_board_corners_move_and_turn_with_their_panel() -> None:
    turn_rad = 0.01
    job, observations = panels(turn_rad)
    result = adjust(job, planned_layout(job), observations)
    assert isinstance(result, Adjustment)
    assert result.freed == ()
    assert sum(int((~each.used).sum()) for each in result.cameras) == 0
    assert "right/8" in result.mark_m
    spread = result.mark_m["right/8/0/3"] - result.mark_m["right/8/0/0"]
    # The strip itself may turn by a milliradian or two beside the panel's own turn.
    assert np.arctan2(spread[1], spread[0]) == pytest.approx(turn_rad, abs=0.006)


def test_family_level_and_p_values() -> None:
    # Sidak: eight tests at this level keep a quarter per cent together.
    assert 1 - (1 - group_alpha(8)) ** 8 == pytest.approx(0.0025)
    scene = Scene(JOB, np.random.default_rng(12))
    network = build_network(JOB, scene.layout, scene.observations)
    weights = full_weights(network)
    held = run(network, weights, network.seen(network.start))
    assert not isinstance(held, NoFit)
    free = run(network, replace(weights, group_sigma={"strip left": 1e3}), held.seen)
    assert not isinstance(free, NoFit)
    p = group_tests(network, held)["strip left"].p_value
    # The Woodbury drop must equal that of an actual solution without the prior.
    drop = held.chi2 - free.chi2
    factor = max(1.0, free.chi2 / (held.degrees_of_freedom - 4))
    assert p == pytest.approx(float(stats.chi2.sf(drop / factor, 4)), rel=0.05)


def test_readings_alone_place_strips_marks_and_mountings() -> None:
    scene = Scene(JOB, np.random.default_rng(31), {"strip right": np.array([0.0, -0.08])})
    pairs = [
        ("left/0", "left/16"),
        ("left/0", "front/8"),
        ("left/16", "rear/8"),
        ("right/0", "right/16"),
        ("front/0", "rear/0"),
        ("left/0", "right/0"),
        ("left/16", "right/16"),
        ("left/0", "right/16"),
        ("left/16", "right/0"),
        ("front", "front_trestle"),
    ]
    rng = np.random.default_rng(32)
    lengths = []
    for pair in pairs:
        a, b = (
            scene.poses[n].camera_in_ground_m if n in scene.poses else scene.places[n] for n in pair
        )
        value = float(np.linalg.norm(a - b)) + rng.normal(0, 0.003)
        lengths.append(LengthReading(kind="distance", between=pair, value_m=value, sigma_m=0.003))
    result = adjust_readings(replace(JOB, readings=tuple(lengths)), scene.layout)
    assert isinstance(result, Adjustment)
    # Left and right are as far apart as one of them being wrong makes them: which, nobody can say.
    assert {"strip left", "strip right"} <= set(result.freed_alternatives[0])
    for name in ("left/0", "left/16"):
        value = abs(float(scene.places[name][1])) + rng.normal(0, 0.003)
        lengths.append(LengthReading(kind="offset", between=(name,), value_m=value, sigma_m=0.003))
    # An angle needs its camera's picture: it takes no part here.
    angle = AngleReading(
        camera="front", tilt_rad=0.8, roll_rad=None, against="gravity", sigma_rad=0.0035
    )
    job = replace(JOB, readings=(*lengths, angle))
    result = adjust_readings(job, scene.layout)
    assert isinstance(result, Adjustment)
    assert result.cameras == ()
    assert [each.name for each in result.readings] == [f"reading {i}" for i in range(1, 13)]
    assert {"mounting front", "mark front_trestle"} <= set(result.groups)
    assert result.freed == ("strip right",)
    right = next(each for each in result.strips if each.name == "right")
    assert not right.seen
    assert right.mark_ids == ("right/0", "right/16")
    across = [(scene.places[i] - scene.layout.mark(i).centre_m)[1] for i in right.mark_ids]
    assert np.abs(right.mark_shift_m[:, 1] - across).max() < 0.03
    none = adjust_readings(replace(JOB, readings=(angle,)), scene.layout)
    assert isinstance(none, NoFit)
    assert none.code == "no-reading"


def test_a_lens_of_another_type_is_named() -> None:
    scene = Scene(JOB, np.random.default_rng(41))
    # The front camera's lens draws a tenth larger than its file says, some ten sigmas.
    lens, pose = scene.lenses["front"], scene.poses["front"]
    other = replace(lens, fx=1.1 * lens.fx, fy=1.1 * lens.fy)
    front = scene.observations[0]
    places = np.array([scene.places[i] for i in front.points.ids])
    noise = np.random.default_rng(42).normal(0, PIXEL_SIGMA_PX, (len(places), 2))
    points = replace(front.points, pixels_px=other.project(pose.transform(places)) + noise)
    scene.observations = (replace(front, points=points), *scene.observations[1:])
    result = scene.adjusted()
    assert result.freed == ("lens front",)
    (found,) = result.explanations
    assert found.groups == ("lens front",)
    assert found.odds > 20


def test_cameras_that_share_a_type_of_lens_narrow_each_other() -> None:
    scene = Scene(SHARED, np.random.default_rng(43), lens_sigma=np.zeros(8))
    own = replace(
        SHARED,
        cameras=CAMERAS,
        lenses=tuple(replace(SHARED.lenses[0], name=each.name) for each in CAMERAS),
    )
    together = scene.adjusted()
    apart = adjust(own, scene.layout, scene.observations)
    assert isinstance(apart, Adjustment)
    assert together.freed == apart.freed == ()
    for name in ("front", "left"):
        pairs = [each.camera(name).aim_covariance_rad2[1, 1] for each in (together, apart)]
        assert pairs[0] < pairs[1]
        off = together.camera(name).aim.minus(scene.poses[name].aim)
        sigma = np.sqrt(np.diag(together.camera(name).aim_covariance_rad2))
        assert (np.abs(off) < 3.5 * sigma).all()


def test_a_bowed_strip_is_named_and_its_marks_are_placed() -> None:
    scene = Scene(JOB, np.random.default_rng(44))
    observations = []
    for seen in scene.observations:
        places = np.array([scene.places[i] for i in seen.points.ids])
        for row, mark_id in enumerate(seen.points.ids):
            if mark_id.startswith("left/"):
                share = int(mark_id.split("/")[1]) / 16
                places[row, 1] += 0.06 * 4 * share * (1 - share)
        pixels = scene.lenses[seen.name].project(scene.poses[seen.name].transform(places))
        noise = np.random.default_rng(45).normal(0, PIXEL_SIGMA_PX, pixels.shape)
        observations.append(replace(seen, points=replace(seen.points, pixels_px=pixels + noise)))
    scene.observations = tuple(observations)
    result = scene.adjusted()
    assert result.freed == ("bow left",)
    left = next(each for each in result.strips if each.name == "left")
    middle = left.mark_ids.index("left/8")
    true = scene.places["left/8"][1] + 0.06 - 1.54
    sigma = np.sqrt(left.mark_shift_covariance_m2[middle, 1, 1])
    assert abs(left.mark_shift_m[middle, 1] - true) < 3 * sigma
    assert sigma < 0.01


@pytest.mark.parametrize(
    ("off_m", "sigma_m", "slip"),
    [
        (0.026, 0.002, "an inch too long"),
        (-0.301, 0.003, "a foot too short"),
        (0.1, 0.002, "10 cm too long"),
        (0.04, 0.002, None),  # nobody misreads by that
        (0.026, 0.012, None),  # the sigmas explain it as well
        (0.06, 0.018, None),  # an inch or 10 cm
    ],
)
def test_slips_of_a_tape(off_m: float, sigma_m: float, slip: str | None) -> None:
    assert length_slip(off_m, sigma_m) == slip


def test_a_metric_slip_is_named_for_a_tape_in_inches_too() -> None:
    feet = LengthWords(imperial=True)
    assert length_slip(0.1, 0.002, feet) == "3 15/16 in (10 cm) too long"
    assert length_slip(-1.0, 0.002, feet) == "3 ft 3 3/8 in (1 m) too short"
    assert length_slip(0.0254, 0.002, feet) == "an inch too long"


def test_what_ties_comes_with_the_reading_that_decides() -> None:
    fault = {"strip front": np.array([0.05, 0.0])}
    scene = Scene(JOB, np.random.default_rng(301), fault)
    result = scene.adjusted()
    assert result.freed == ()
    (found,) = result.explanations
    assert set(found.groups) == {"strip front", "strip left"}
    assert found.decided_by is not None
    # Taking that reading does decide.
    (text,) = causes(JOB, result)
    assert text.startswith(
        "cannot tell whether the stated place of the front strip's ends is wrong"
    )
    assert text.endswith("to decide")
    kind, between = found.decided_by.kind, found.decided_by.between
    assert kind in ("distance", "offset")
    at = [scene.places[name] for name in between]
    value = abs(at[0][1]) if kind == "offset" else float(np.linalg.norm(at[0] - at[1]))
    reading = LengthReading(kind=kind, between=between, value_m=value, sigma_m=0.003)  # type: ignore[arg-type]
    scene.job = replace(JOB, readings=(reading,))
    after = scene.adjusted()
    assert after.freed == ("strip front",)
    (text,) = causes(scene.job, after)
    assert "the stated place of the front strip's ends does not fit the rest" in text
    assert "times as likely as the next cause" in text


FIELD_ONLY = tuple(replace(SHARED.lenses[0], name=each.name) for each in CAMERAS)
LEFT = CAMERAS[1]
DEGENERATE = {
    "one strip": replace(JOB, cameras=(LEFT,), strips=(STRIPS[0],), marks=()),
    "four marks in line": replace(
        JOB, cameras=(LEFT,), strips=(strip("left", (-0.9, 1.9), (0.9, 1.9), 4),), marks=()
    ),
    "straight down": replace(
        JOB,
        cameras=(
            replace(LEFT, position_m=np.array([0, 1.9, 2.45]), aim=Aim.from_degrees(90, 90, 0)),
        ),
    ),
    "marks only close": replace(
        JOB,
        strips=(
            strip("left", (-1.2, 1.54), (1.2, 1.54), 7),
            strip("right", (-1, -1.54), (1, -1.54), 6),
        ),
        cameras=(CAMERAS[1], CAMERAS[3]),
        marks=(),
    ),
    "no shared marks": replace(
        JOB,
        strips=(
            strip("left", (-1.2, 1.9), (1.2, 1.9), 7),
            strip("front", (5.6, -1.0), (5.6, 1.0), 5),
            strip("rear", (-5.6, -1.0), (-5.6, 1.0), 5),
        ),
        cameras=CAMERAS[:3],
        marks=(),
    ),
}


@pytest.mark.parametrize("case", DEGENERATE)
@pytest.mark.parametrize("lenses", [JOB.lenses, FIELD_ONLY], ids=["fitted", "field of view"])
def test_degenerate_jobs_have_wide_and_true_sigmas(
    case: str, lenses: tuple[StatedLens, ...]
) -> None:
    job = replace(DEGENERATE[case], lenses=lenses)
    lens_sigma = LENS_SIGMA if lenses == JOB.lenses else np.zeros(8)
    squares, freed = [], 0
    for seed in range(12):
        scene = Scene(job, np.random.default_rng(500 + seed), lens_sigma=lens_sigma)
        result = scene.adjusted()
        freed += bool(result.freed or result.freed_alternatives)
        for each in result.cameras:
            error, covariance = scene.errors(result, each.name)[:6], each.covariance[:6, :6]
            squares.append(error @ np.linalg.solve(covariance, error))
            assert np.isfinite(each.position_sigma_m).all()
            stated = next(camera for camera in job.cameras if camera.name == each.name)
            verdict = camera_verdict(stated, each, job.tolerances)
            assert verdict.verdict in ("keep", "re-aim", "not-judged")
            if case == "straight down":
                # Pan and roll are one angle then, and neither can be judged.
                assert verdict.verdict == "not-judged"
            else:
                # No false precision: the lens's centre alone leaves the aim open by some tenths.
                assert np.degrees(np.sqrt(covariance[3, 3])) > 0.15
    assert freed <= 1
    # Six degrees of freedom; the mean of n chi-squares has sigma sqrt(12 / n), and a lens that is
    # stated by its field of view only is no draw from its prior here.
    assert np.mean(squares) < 6 + 4 * np.sqrt(12 / len(squares))


def test_no_picture_shows_a_common_shift_and_turn() -> None:
    scene = Scene(JOB, np.random.default_rng(51))
    network = build_network(JOB, scene.layout, scene.observations)
    solution = run(network, full_weights(network), network.seen(network.start))
    assert not isinstance(solution, NoFit)
    motion = common_motion(network, solution.state)
    rows = network.rows(solution.seen, full_weights(network))
    by_kept = network.by_kept(rows.by_camera, rows.by_world)
    # The marks' own deviations of some millimetres stay as they are when the ground turns.
    assert np.abs(by_kept @ motion).max() < 1e-2 * np.abs(by_kept[:, :, :3]).max()
    assert np.abs(by_kept @ motion[:, :2]).max() < 1e-9 * np.abs(by_kept[:, :, :3]).max()
    result = scene.adjusted()
    assert result.datum is not None
    # Eight ends at 1 cm, four mountings at 2 cm, two marks at 1 cm.
    expected = 0.01 / np.sqrt(8 + 1 + 2)
    assert result.datum.shift_sigma_m == pytest.approx((expected, expected), rel=0.1)
    scene.job = read(scene, np.random.default_rng(52))
    offset = scene.adjusted()
    assert offset.datum is not None
    assert offset.datum.shift_sigma_m[1] < 0.75 * expected
    text = unobserved(result)
    assert text is not None
    assert "0.3 cm lengthways, 0.3 cm across" in text


def test_a_misplaced_single_mark_is_named_and_a_wrong_pick_of_one_is_left_out() -> None:
    fault = {"mark left_trestle": np.array([0.1, 0.0, 0.08])}
    scene = Scene(JOB, np.random.default_rng(61))
    scene.places["left_trestle"] += fault["mark left_trestle"]
    observations = []
    for seen in scene.observations:
        places = np.array([scene.places[i] for i in seen.points.ids])
        pixels = scene.lenses[seen.name].project(scene.poses[seen.name].transform(places))
        noise = np.random.default_rng(62).normal(0, PIXEL_SIGMA_PX, pixels.shape)
        observations.append(replace(seen, points=replace(seen.points, pixels_px=pixels + noise)))
    shown = [seen for seen in observations if "left_trestle" in seen.points.ids]
    assert len(shown) >= 1
    scene.observations = tuple(observations)
    result = scene.adjusted()
    assert result.freed == ("mark left_trestle",)
    mark = next(each for each in result.marks if each.name == "left_trestle")
    assert mark.views == len(shown)
    (text,) = causes(JOB, result)
    assert ("only one picture shows it" in text) == (mark.views == 1)


def test_a_wrong_pick_in_one_of_two_pictures_does_not_blame_the_mark() -> None:
    # The trestle stands where the front and the left camera both show it.
    corner = replace(MARKS[1], name="corner_trestle", at_m=np.array([5.0, 2.2, 0.75]))
    job = replace(JOB, marks=(corner,))
    scene = Scene(job, np.random.default_rng(63))
    showing = [n for n, s in enumerate(scene.observations) if "corner_trestle" in s.points.ids]
    assert len(showing) >= 2
    observations = list(scene.observations)
    wrong = observations[showing[0]]
    row = wrong.points.ids.index("corner_trestle")
    observations[showing[0]] = moved(wrong, row, np.array([9.0, -7.0]))
    scene.observations = tuple(observations)
    result = scene.adjusted()
    assert result.freed == ()
    assert result.freed_alternatives == ()
    assert np.flatnonzero(~result.camera(wrong.name).used).tolist() == [row]
