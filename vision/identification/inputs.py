"""What identifying starts from: the picture prepared once, and what one camera may see of the job.

What belongs to the picture alone is worked out here, before any aim is thought of.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision.camera.lens_prior import LensPrior
from vision.identification.settings import SETTINGS
from vision.job.body import body_hides
from vision.job.job import Camera, Job
from vision.job.layout import Layout, PlannedMark
from vision.marks.candidates import picture_noise, softened, unveiled
from vision.marks.measure.matching import Edges
from vision.marks.picture import filled
from vision.units.arrays import Array, Flags
from vision.units.reason import Reason


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PreparedPicture:
    """One grey picture (height, width), turned back, and what follows from it alone.

    `grey` is measured in, `noise` its sigma in levels. Candidates are found in `looked_at`, which
    may be without a veil, and templates matched in `edges`, those of a picture that is softened
    where it is noisy: see `unveiled` and `softened`. `covered` (height, width) says which pixels
    show nothing of the scene and are filled; None for none.
    """

    grey: np.ndarray
    noise: float
    looked_at: np.ndarray
    edges: Edges
    covered: Flags | None = None

    @classmethod
    def of(cls, grey: np.ndarray) -> PreparedPicture:
        """Prepare a picture as it is, NaN where something is drawn over it."""
        covered = np.isnan(grey)
        some = bool(covered.any())
        if some:
            grey = filled(grey, covered)
        noise = picture_noise(grey)
        edges = Edges.of(softened(grey, noise))
        whose = covered if some else None
        return cls(grey=grey, noise=noise, looked_at=grey, edges=edges, covered=whose)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in px."""
        return self.grey.shape[1], self.grey.shape[0]

    @property
    def burnt_share(self) -> float:
        """Share of the picture that is burnt out to white."""
        return float(np.mean(self.grey > SETTINGS.burnt_level))

    def without_veil(self) -> PreparedPicture | None:
        """The same without the light that lies over all of it; None where there is none."""
        without = unveiled(self.grey)
        if without is None:
            return None
        return replace(self, looked_at=without, edges=Edges.of(softened(without, self.noise)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class IdentificationInput:
    """What every step needs: the picture, the camera, and the marks that can be looked for.

    `marks` are those that the body does not surely hide, `clear` (n,) says which it surely leaves
    free: those are missed where they are not seen.
    """

    job: Job
    layout: Layout
    camera: Camera
    prior: LensPrior
    picture: PreparedPicture
    marks: tuple[PlannedMark, ...]
    clear: Flags

    @property
    def centres_m(self) -> Array:
        """The marks' centres in ground coordinates, (n, 3)."""
        return np.array([mark.centre_m for mark in self.marks]).reshape(-1, 3)


def useless(grey: np.ndarray) -> Reason | None:
    """Why a picture holds nothing at all, or None."""
    # Every third row and column: hundreds of thousands of places do.
    some = grey[::3, ::3]
    bright, spread = float(np.nanpercentile(some, 99)), float(np.nanstd(some))
    if bright < SETTINGS.dark_level:
        return Reason("dark", level=bright)
    if spread < SETTINGS.flat_spread:
        return Reason("blank")
    return None


def prepared(
    job: Job,
    layout: Layout,
    camera: Camera,
    prior: LensPrior,
    picture: np.ndarray | PreparedPicture,
) -> IdentificationInput | Reason:
    """Prepare a picture and the marks to look for in it, or say why that is of no use."""
    why = useless(picture.grey if isinstance(picture, PreparedPicture) else picture)
    if why is not None:
        return why
    drawn = [mark for mark in layout.marks if mark.shape.drawn]
    centres = np.array([mark.centre_m for mark in drawn]).reshape(-1, 3)
    margin_m = SETTINGS.half_seen_margin_m
    hidden = body_hides(job.vehicle, camera.position_m, centres, margin_m=margin_m)
    clear = ~body_hides(job.vehicle, camera.position_m, centres)
    marks = tuple(mark for mark, hides in zip(drawn, hidden, strict=True) if not hides)
    if len(marks) < SETTINGS.least_marks:
        return Reason("too-few-marks", marks=len(marks), needed=SETTINGS.least_marks)
    return IdentificationInput(
        job=job,
        layout=layout,
        camera=camera,
        prior=prior,
        picture=picture if isinstance(picture, PreparedPicture) else PreparedPicture.of(picture),
        marks=marks,
        clear=clear[~hidden],
    )
