"""What tunes a comparison, with where it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from math import radians


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """What cameras of one type differ by from unit to unit, as one sigma.

    Common practice, no source, and what lenses that were fitted here differed by.
    """

    focal_share: float = 0.01
    aspect_share: float = 0.001
    centre_share: float = 4 / 1280
    """Of the picture's width."""
    curve_share: float = 0.005
    """Of the radius at the edge, by each term of the curve."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonSettings:
    """Lengths in metres, angles in radians; sigmas of what gives are of each coordinate."""

    give_rad: float = radians(0.02)
    give_m: float = 0.001
    strip_give_m: float = 0.001
    """What a camera on its body, and a tape on its ground, give with warmth and load though nobody
    touched them: common practice, no source. More, and small changes are no longer seen."""
    arm_m: float = 0.1
    """A lens lies within this of what its bracket turns about: a turn takes it along so far."""
    stance_sigma: tuple[float, ...] = (0.02, 0.02, 0.03, radians(1), radians(1), radians(0.3))
    """Load, tyres and suspension, and a layout measured anew from the body: common practice, no
    source."""
    untouched_sigma: tuple[float, ...] = (0.001, 0.001, 0.001, *(radians(0.01),) * 3)
    """Of a vehicle that nobody moved, loaded or entered."""
    planned_m: float = 1e-6
    """Planned places this near to each other are the same."""
    units: Units = Units()
    lens_give: float = 0.01
    freed_units: float = 3.0
    """How far a lens gives with warmth, in what units differ by; and how far another one, another
    zoom or picture setting may be."""
    knock_rad: float = radians(1.0)
    knock_m: float = 0.01
    moved_m: float = 0.03
    """How far a camera that was knocked, or a strip that was moved, usually is, as one sigma: what
    a turn or a shift stands for where it is weighed against another lens."""
    lens_nats: float = 4.6
    """Odds, 100 to 1, by which another lens must explain better than a turn to be named."""
    sure_nats: float = 4.6
    """Odds, 100 to 1, by which a turn must explain better than another lens to be told without
    that doubt. A lens and a turn together explain all that a turn does, and pay for the eight
    numbers of the lens alone: with strips laid anew the odds are seldom longer."""
    family_alpha: float = 0.02
    """Chance that anything at all is named in a job in which nothing changed."""
    further_alpha: float = 0.005
    """The same for a further change once one is named: most of those would be its shadow."""
    power: float = 0.95
    """Share of cases in which a change of the detectable size is seen."""
    wild_rad: float = radians(1.0)
    """A camera that its own checks put this far apart starts free: held, it would lead others
    astray. It is held again if it then passes."""
    tolerance: float = 1e-9
    """Tests compare chi-squares of some tens: the last digits of a state do not matter."""


SETTINGS = ComparisonSettings()
