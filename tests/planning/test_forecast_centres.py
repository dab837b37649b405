"""Proves that a predicted centre's sigma is the spread of measured centres over noise.

Does not prove: anything about real light, paint or lenses.
"""

from __future__ import annotations

import numpy as np

from vision.camera.geometry import Pose
from vision.camera.lens_prior import lens_prior
from vision.job.layout import planned_layout
from vision.job.mark_id import MarkId
from vision.marks.measure.descent import STATE_SIGMA
from vision.marks.measure.drawing import draw, start
from vision.marks.measure.forecast import Light, forecast_covariances
from vision.marks.measure.mark_fit import measure
from vision.marks.measure.patches import cut_patches
from vision.marks.settings import SETTINGS


def test_a_forecast_is_the_spread_of_measured_centres(job):
    camera, layout = job.cameras[2], planned_layout(job)
    prior = lens_prior(job.lens_of(camera), 1280, 720)
    pose, lens = Pose.at(camera.position_m, camera.aim.rotation()), prior.guess
    mark = layout.mark(MarkId("left", 4))
    light = Light(texture_px=0.0)
    (covariance,) = forecast_covariances(pose, lens, [mark], light)
    centre = lens.project(pose.transform(mark.centre_m))
    blank = np.zeros((720, 1280), dtype=np.float32)
    patches, state = cut_patches(blank, pose, lens, [mark], centre[None]), start(1)
    state[:, 3] = light.blur_px
    u, v = patches.pixels.T
    levels = np.array([90.0, 90.0, light.tape_level, 0.0, 0.0, light.ink_level])
    rng = np.random.default_rng(3)
    found = []
    for _ in range(80):
        # Turn and tape vary as the fit's weak knowledge of them says, which is in the bound.
        state[:, [2, 4]] = rng.normal(size=2) * STATE_SIGMA[[2, 4]]
        noisy = draw(patches, state).basis @ levels + rng.normal(0, light.noise, len(u))
        picture = blank.copy()
        picture[v, u] = noisy
        (measured,) = measure(picture, pose, lens, [mark], centre[None])
        found.append(measured.pixel_px)
    spread = np.cov(np.array(found).T)
    bound = covariance - SETTINGS.measure.floor_sigma_px**2 * np.eye(2)
    # 80 draws tell this to 6 %.
    over = np.sqrt(np.linalg.det(spread) / np.linalg.det(bound)) ** 0.5
    assert 0.85 < over < 1.15


def test_a_fainter_or_softer_mark_is_known_less_well(job):
    camera = job.cameras[2]
    prior = lens_prior(job.lens_of(camera), 1280, 720)
    pose, mark = (
        Pose.at(camera.position_m, camera.aim.rotation()),
        planned_layout(job).mark(MarkId("left", 4)),
    )

    def sigma(light: Light) -> float:
        (covariance,) = forecast_covariances(pose, prior.guess, [mark], light)
        return float(np.sqrt(np.trace(covariance)))

    plain = sigma(Light())
    assert sigma(Light(ink_level=120.0)) > plain
    assert sigma(Light(blur_px=2.0)) > plain
    assert sigma(Light(noise=12.0)) > plain
