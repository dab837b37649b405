"""What a comparison of two checks takes and gives, as values."""

from __future__ import annotations

from dataclasses import dataclass

from vision.adjustment.adjusted import Adjustment, CameraObservations
from vision.camera.geometry import Pose
from vision.camera.lens import Lens
from vision.inspection.verdict.rule import Judgement
from vision.job.job import Job
from vision.units.arrays import Array, freeze
from vision.units.length_words import METRIC, LengthWords
from vision.units.reason import Reason

EVERYTHING = "all"
"""Names every strip and mark at once."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Epoch:
    """One check, as far as a comparison needs it.

    `observations` of every camera that took part in its `adjustment`, in the same order; `displays`
    are the pose and lens of each camera's plan fit, which is how a display draws its picture.
    """

    job: Job
    observations: tuple[CameraObservations, ...]
    adjustment: Adjustment
    displays: dict[str, tuple[Pose, Lens]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """What a person says of the time between two checks.

    `strips` and single marks in `not_relaid` lie where they lay. `untouched`: nothing was laid
    anew, and the vehicle was not moved, loaded or unloaded either.
    """

    not_relaid: frozenset[str] = frozenset()
    untouched: bool = False

    def keeps(self, name: str) -> bool:
        """Whether the strip or single mark `name` lies where it lay."""
        return self.untouched or name in self.not_relaid or EVERYTHING in self.not_relaid


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CameraChange:
    """How one camera changed against the vehicle's body, later minus baseline.

    `aim_rad` (3,) is the change of pan, tilt and roll, `place_m` (3,) of the place in the vehicle's
    coordinates, each with its sigma. `turned` and `moved` say whether they are significant over the
    whole job. `detectable_rad` is the least turn about the worst axis that would have been seen in
    95 of 100 cases, and `detectable_m` the least move. `or_lens`: another lens explains what
    changed about as well.
    """

    name: str
    aim_rad: Array
    aim_sigma_rad: Array
    place_m: Array
    place_sigma_m: Array
    turned: bool
    moved: bool
    detectable_rad: float
    detectable_m: float
    or_lens: bool = False

    def __post_init__(self) -> None:
        freeze(self, aim_rad=(3,), aim_sigma_rad=(3,), place_m=(3,), place_sigma_m=(3,))

    @property
    def changed(self) -> bool:
        """Whether it was turned or moved."""
        return self.turned or self.moved


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Exchanged:
    """A camera whose picture comes through another lens than at the baseline.

    Another camera, zoom, crop or picture setting; `log10_odds` that it is so. `focal_share` is how
    much longer its focal length is, as a share, with its sigma, `centre_px` (2,) where its centre
    went.
    """

    name: str
    log10_odds: float
    focal_share: float
    focal_sigma: float
    centre_px: Array

    def __post_init__(self) -> None:
        freeze(self, centre_px=(2,))


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleChange:
    """How the vehicle stands, later minus baseline, against the ground that carries the marks.

    `height_m` up, `lean_rad` to its right side, `nose_down_rad`, each with its sigma. `or_lenses`:
    other lenses of the cameras explain it as well.
    """

    height_m: float
    lean_rad: float
    nose_down_rad: float
    height_sigma_m: float
    lean_sigma_rad: float
    nose_down_sigma_rad: float
    significant: bool
    or_lenses: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """The longest of some gaps along a seam in m with its sigma, NaN where there is none.

    `verdict` is of all of them.
    """

    length_m: float
    sigma_m: float
    verdict: Judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamChange:
    """A seam as a display that was set at the baseline draws it, then and now.

    `moved` is by how much the two views moved against each other in between.
    """

    between: tuple[str, str]
    before: Gap
    after: Gap
    moved: Gap

    @property
    def breaks(self) -> bool:
        """Whether what changed since the baseline puts it beyond what is accepted."""
        before, after, moved = (each.verdict for each in (self.before, self.after, self.moved))
        return moved == "beyond" or (after == "beyond" and before != "beyond")


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What changed between two checks.

    `strips_moved` were said to lie where they lay, and do not. `planned_otherwise` were said so,
    but the two jobs plan them differently: they count as laid anew. `not_compared` holds each
    camera that cannot be compared, and why. `variance_factor` is that of the joint network.
    `exchanged` are cameras with another lens than then, of which no turn is told.
    `lengths` writes its lengths, as the later job does.
    """

    cameras: tuple[CameraChange, ...]
    exchanged: tuple[Exchanged, ...] = ()
    vehicle: VehicleChange
    seams: tuple[SeamChange, ...] = ()
    strips_moved: tuple[str, ...] = ()
    planned_otherwise: tuple[str, ...] = ()
    not_compared: tuple[tuple[str, Reason], ...] = ()
    variance_factor: float = 1.0
    lengths: LengthWords = METRIC

    @property
    def changed(self) -> tuple[CameraChange, ...]:
        """The cameras that changed."""
        return tuple(camera for camera in self.cameras if camera.changed)
