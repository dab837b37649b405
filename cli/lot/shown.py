"""What the page shows, as values: made by the thread that inspects, read by whoever asks."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from vision.documents.progress import AngleLeft

if TYPE_CHECKING:
    from vision.documents.steps import Step
    from vision.documents.target_picture import Target
    from vision.files.day_folder import Snapshot

Kind = Literal["good", "bad", "open"]
Aim = tuple[float, float, float]
"""Pan, tilt and roll minus as intended, in degrees."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Still:
    """A picture as the page shows it: as delivered, made smaller, JPEG."""

    hash12: str
    width: int
    height: int
    jpeg: bytes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Card:
    """One camera.

    `still` is None as long as there is no picture. `verdict` is empty while it is looked at.
    `left` are its angles, `trail` those of every picture of the day up to now, the oldest first;
    `limits_deg` what is allowed of each. `changed` since the picture before, `since_morning` since
    the first; `taken_back` how many pictures were. `size` is that of the picture in px, in which
    `target` is.
    """

    name: str
    number: int
    verdict: str = ""
    reasons: tuple[str, ...] = ()
    actions: tuple[str, ...] = ()
    left: tuple[AngleLeft, ...] = ()
    limits_deg: dict[str, float] = field(default_factory=dict)
    trail: tuple[Aim, ...] = ()
    changed: str = ""
    since_morning: str = ""
    size: tuple[int, int] = (1280, 720)
    target: Target | None = None
    still: Still | None = None
    tries: int = 0
    taken_back: int = 0
    fault: str = ""
    older: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One line about what came in, or could not be taken."""

    text: str
    good: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shown:
    """All of the page.

    `verdict` is empty until every camera has its picture and all is looked at; `phase` what is
    being done, empty at rest; `result` the whole result, where there is one.
    """

    job: str
    cards: tuple[Card, ...] = ()
    verdict: str = ""
    phase: str = ""
    seams: tuple[dict[str, Any], ...] = ()
    strips: tuple[dict[str, Any], ...] = ()
    steps: tuple[Step, ...] = ()
    open_points: tuple[str, ...] = ()
    since_kept: tuple[str, ...] = ()
    job_faults: tuple[str, ...] = ()
    unsorted: tuple[tuple[Snapshot, Still | None], ...] = ()
    said: tuple[Said, ...] = ()
    note: str = ""
    kept: str = ""
    result: dict[str, Any] | None = None

    @property
    def worth_saying(self) -> tuple[Said, ...]:
        """The last line, and what could not be taken a moment before."""
        return (*self.said[:1], *(each for each in self.said[1:] if not each.good))

    @property
    def missing(self) -> tuple[str, ...]:
        """Cameras without a picture."""
        return tuple(card.name for card in self.cards if card.still is None)

    @property
    def to_come(self) -> bool:
        """Whether something is still looked at."""
        return bool(self.phase)
