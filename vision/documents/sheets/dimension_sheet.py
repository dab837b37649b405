"""The plan to scale with its dimensions: body, strips, and the diagonals that check them.

What has no room on the drawing stands in a table beside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from vision.documents.sheets.dimensions import (
    BEYOND_MM,
    FIGURE_MM,
    Measure,
    Way,
    arrow_line,
    draw_dimension,
    has_room,
    lanes_of,
    out_mm,
)
from vision.documents.sheets.drawing import CHAIN_DOTTED, Picture
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.plan_drawing import (
    PlanView,
    draw_badge,
    outward,
    shown_reach,
)
from vision.planning.setting_out.lines import same
from vision.planning.setting_out.running_marks import (
    Diagonal,
    SettingOut,
    StripLine,
    exact,
)
from vision.planning.setting_out.supplies import tape_corners
from vision.units.arrays import Array

WAYS: tuple[Way, ...] = ("left", "front", "right", "rear")
Place = Sequence[float] | Array
"""A ground point, x ahead and y left, in metres."""
BADGE_AIR_MM = 3.4
"""From a tape's edge to the middle of its name."""
INWARD_MM = 9.0
"""Room beside a side strip for its name: outside it figures may lie."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimensions:
    """The drawing with its dimensions, and what stands beside it.

    `without_room`: lengths that have no figures on the drawing; `crossed`: diagonals that are drawn
    across it, which check the side strips; `elsewhere`: strips that no one figure places, and why.
    """

    picture: Picture
    scale: float
    without_room: tuple[Measure, ...]
    crossed: tuple[Diagonal, ...]
    elsewhere: tuple[str, ...]

    @classmethod
    def of(cls, setting: SettingOut, figures: Figures, size: tuple[float, float]) -> Dimensions:
        """Body and strips at the largest usual scale at which all lanes fit into `size`."""
        every = list(_measures(setting, figures))
        lanes = lanes_of(every)
        around = [_last_mm(way, lanes) + FIGURE_MM + 1.0 for way in WAYS]
        view = PlanView.of(setting, size, shown_reach(setting), around)
        shown = [each for each in lanes if has_room(each, lanes, 1000 / view.scale)]
        pair = next((pair for pair in setting.pairs if pair.fault == "slide"), None)
        crossed = (pair.first, pair.second) if pair else ()
        _draw_all(view, lanes, shown, crossed)
        return cls(
            picture=view.picture,
            scale=view.scale,
            without_room=tuple(each for each in every if each not in shown),
            crossed=crossed,
            elsewhere=tuple(
                f"the {line.strip.name} strip, {_why_not(line)}"
                for line in setting.strips
                if not _parallel(line)
            ),
        )


# ---------------------------------------------------------------------------------------- lengths


def _measures(setting: SettingOut, figures: Figures) -> Iterator[Measure]:
    """Every length to show; the pieces of one line of tape lie equally far out."""
    seen = set()
    for each in _lengths(setting, figures):
        low, high = each.span_m
        key = each.way, each.above, round(low, 3), round(high, 3)
        if key not in seen:
            seen.add(key)
            yield each


def _lengths(setting: SettingOut, figures: Figures) -> Iterator[Measure]:
    def measure(
        word: str, of: str, way: Way, ends: tuple[Place, Place],
        length_m: Fraction, *, overall: bool = False, from_datum: bool = False,
    ) -> Measure:  # fmt: skip
        (x0, y0), (x1, y1) = ends
        return Measure(
            of=of, way=way, ends=((float(x0), float(y0)), (float(x1), float(y1))),
            above=f"{word} {figures.first(length_m)}", below=figures.second(length_m),
            overall=overall, from_datum=from_datum,
        )  # fmt: skip

    x, y = setting.job.vehicle.length_m / 2, setting.job.vehicle.width_m / 2
    yield measure("body", "length", "left", ((-x, y), (x, y)), exact(2 * x))
    yield measure("body", "width", "front", ((x, -y), (x, y)), exact(2 * y))
    for line in setting.strips:
        if line.side == "free":
            continue
        name, strip = line.strip.name, line.strip
        ends = strip.from_m, strip.to_m
        yield measure(name, name, line.side, ends, line.marks[-1].running_m, overall=True)
        if not _parallel(line):
            continue
        assert line.inside_m is not None
        side = line.side in ("left", "right")
        way: Way = "front" if side else "left"
        yield measure("tape", name, way, _gap(line, x, y), line.inside_m[0])
        offset = line.first.left_m if side else line.first.ahead_m
        way = "rear" if side else "right"
        yield measure("marks", name, way, _offset(line), abs(offset), from_datum=True)


def _parallel(line: StripLine) -> bool:
    """Whether one figure says how far a strip lies from the body, outside it."""
    inside = same(line.inside_m)
    return inside is not None and inside > 0


def _why_not(line: StripLine) -> str:
    """Why a strip that is not parallel has no figures here."""
    return "at an angle" if same(line.inside_m) is None else "under the body"


def _gap(line: StripLine, x: float, y: float) -> tuple[Place, Place]:
    """The body's corner and the tape's inside edge, where extension lines towards them begin."""
    assert line.inside_m is not None
    inside, far = float(line.inside_m[0]), tape_corners(line.strip).max(axis=0)
    sign = 1 if line.side in ("left", "front") else -1
    if line.side in ("left", "right"):
        return (x, sign * y), (far[0], sign * (y + inside))
    return (sign * x, y), (sign * (x + inside), far[1])


def _offset(line: StripLine) -> tuple[Place, Place]:
    """On the datum line, and at the strip's end that is the nearer to where the figure stands."""
    axis = 0 if line.side in ("left", "right") else 1
    x, y = min((line.strip.from_m, line.strip.to_m), key=lambda end: float(end[axis]))
    return ((x, 0.0) if axis == 0 else (0.0, y)), (x, y)


# ---------------------------------------------------------------------------------------- drawing


def _last_mm(way: Way, lanes: Mapping[Measure, int]) -> float:
    """How far the lanes of one way reach; where there are none, room for a letter."""
    return max((out_mm(lane) for each, lane in lanes.items() if each.way == way), default=2.0)


def _edge(view: PlanView, way: Way) -> float:
    """Where what is drawn ends, on the picture."""
    low, high = shown_reach(view.setting)
    corner = view.place(high if way in ("left", "front") else low)
    return corner[0] if way in ("left", "right") else corner[1]


def _draw_all(
    view: PlanView, lanes: Mapping[Measure, int], shown: Sequence[Measure],
    crossed: Sequence[Diagonal],
) -> None:  # fmt: skip
    view.body()
    for line in view.setting.strips:
        view.strip(line.strip)
    for diagonal in crossed:
        arrow_line(view.picture, *(view.place(end) for end in diagonal.ends_m))
    _datums(view, {each: lane for each, lane in lanes.items() if each.from_datum})
    for measure, lane in lanes.items():
        _draw(view, measure, lane, with_figures=measure in shown)
    _letters(view)


def _draw(view: PlanView, measure: Measure, lane: int, *, with_figures: bool) -> None:
    axis = 1 - measure.axis
    sign = 1 if measure.way in ("right", "front") else -1
    line = _edge(view, measure.way) + sign * out_mm(lane)
    ends = [view.place(end) for end in measure.ends]
    begins = [None if measure.from_datum else ends[0][1 - axis], ends[1][1 - axis]]
    if ends[0][axis] > ends[1][axis]:
        ends.reverse()
        begins.reverse()
    texts = (measure.above, measure.below) if with_figures else ()
    draw_dimension(view.picture, axis, (ends[0][axis], ends[1][axis]), line, begins, *texts)


def _datums(view: PlanView, begun: Mapping[Measure, int]) -> None:
    """Centre line and mid line, out to the dimensions that begin at them."""
    x, y = view.middle
    left, front, right, rear = (_edge(view, way) for way in WAYS)
    right += _last_mm("right", begun) + BEYOND_MM
    rear -= _last_mm("rear", begun) + BEYOND_MM
    view.picture.line((x, front + BEYOND_MM), (x, rear), dash=CHAIN_DOTTED)
    view.picture.line((left - BEYOND_MM, y), (right, y), dash=CHAIN_DOTTED)


def _letters(view: PlanView) -> None:
    """The strips' names beside them, on top of thin lines: end strips' on the body's side.

    Along the strips they stand clear of figures, and of the ends of other strips.
    """
    for line in view.setting.strips:
        strip, side = line.strip, line.side in ("left", "right")
        inward = not side or _room_inward_mm(view, line) > INWARD_MM
        away = 500 * strip.tape_width_m / view.scale + BADGE_AIR_MM
        # Of two side by side one is inward, one outward: they lie at either end.
        share = 0.35 if not side else 0.8 if inward else 0.15
        along = share * strip.length_m * strip.along
        at = view.beside(strip.from_m + along, outward(strip), -away if inward else away)
        draw_badge(view.picture, at, strip.name, "strip", turned=side)


def _room_inward_mm(view: PlanView, line: StripLine) -> float:
    """From a side strip's line to what lies next to it, towards the body, on paper."""
    own = abs(line.first.left_m)
    lines = [abs(each.first.left_m) for each in view.setting.strips if each.side == line.side]
    next_m = max([view.setting.job.vehicle.width_m / 2, *(float(e) for e in lines if e < own)])
    return (float(own) - next_m) * 1000 / view.scale
