"""Pictures of a job that are photographs of the display's screen, straightened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from vision.camera.stated_lens import ThroughScreen
from vision.job.job import Job
from vision.marks.picture import Picture
from vision.marks.settings import SETTINGS
from vision.marks.sources.screen import NoScreen, Screen, find_screen, straightened
from vision.units.errors import Fault, fault_of

TUNED = SETTINGS.screen

HOLD = (
    "hold the phone square to the screen, so near that it fills most of the photograph with all "
    "four edges in it, room lights off, and rest it on something"
)


def of_screens(
    job: Job, stills: Sequence[Picture], file: str
) -> tuple[Job, tuple[Picture, ...], list[Fault]]:
    """The job and its pictures as the screen showed them; the same where nobody photographed one.

    Each camera then has a lens of its own, as sure as the way by the screen leaves it. With a fault
    for each photograph that is too poor.
    """
    if job.photographed_aspect is None:
        return job, tuple(stills), []
    pictures, faults, sigma_px = [], [], {}
    for each in stills:
        found = _straight(each, job.photographed_aspect)
        if isinstance(found, NoScreen):
            faults.append(_fault(found, each, file))
        else:
            pictures.append(found[0])
            sigma_px[each.name] = found[1]
    if faults:
        return job, tuple(stills), faults
    return _with_lenses(job, sigma_px), tuple(pictures), []


def _straight(picture: Picture, aspect: float) -> tuple[Picture, float] | NoScreen:
    """A picture and its further ones straightened, with the sigma of a place in them, px."""
    delivered = np.ascontiguousarray(picture.bgr[:, ::-1] if picture.mirrored else picture.bgr)
    screen = find_screen(cv2.cvtColor(delivered, cv2.COLOR_BGR2GRAY))
    if not isinstance(screen, Screen):
        return screen
    found = straightened(delivered, screen, aspect)
    if isinstance(found, NoScreen):
        return found
    bgr, image, shrunk = found
    source = replace(picture.own_sources[0], homography=image, bend=screen.bend)
    straight = Picture.from_delivered(
        name=picture.name,
        file=picture.file,
        sha256=picture.sha256,
        mirrored=picture.mirrored,
        bgr=bgr,
        sources=(source,),
    )
    corner_px = float(np.sqrt(np.trace(screen.covariance[:8, :8]) / 8))
    bent_px = float(np.hypot(screen.left_px, corner_px)) / shrunk
    return straight, float(np.hypot(TUNED.least_sigma_px, bent_px))


def _fault(why: NoScreen, picture: Picture, file: str) -> Fault:
    found = {
        "no-screen": "no lit screen with four straight edges",
        "screen-small": f"a screen {why.width_px:.0f} px wide",
        "screen-aslant": "a screen seen too much from one side",
    }[why.code]
    least = f"at least {TUNED.least_width_px:.0f} px wide"
    expected = f"the whole screen, {least} and up to 30 degrees aslant"
    key = f"camera.{picture.name}.picture"
    return fault_of(why.code, picture.file or file, found, expected, HOLD, key=key)


def _with_lenses(job: Job, sigma_px: dict[str, float]) -> Job:
    """The job with a lens for each camera: no two photographs show a screen alike."""
    lenses, cameras = list(job.lenses), []
    for camera in job.cameras:
        if camera.name not in sigma_px:
            cameras.append(camera)
            continue
        lens = job.lens_of(camera)
        name = f"{lens.name} ({camera.name})"
        through = ThroughScreen(
            scale_sigma=TUNED.scale_sigma,
            aspect_sigma=TUNED.aspect_sigma,
            centre_sigma=TUNED.centre_sigma,
            point_sigma_px=sigma_px[camera.name],
        )
        lenses.append(replace(lens, name=name, through=through))
        cameras.append(replace(camera, lens=name))
    return replace(job, lenses=tuple(lenses), cameras=tuple(cameras))
