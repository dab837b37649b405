"""Words for strips and single marks: how far they lie from their plan, and which way to move them.

They are those of somebody with a tape measure beside the vehicle.
"""

from __future__ import annotations

from vision.documents.check_words.saying import Arguments, JudgedWords, Say, Words, judged
from vision.inspection.verdict.layings import OPPOSITE_WAYS, Part
from vision.inspection.verdict.rule import COVERAGE

NARROW_STRIP = "a tape reading to it, or its marks seen by a second camera, would narrow it"
NARROW_SINGLE = "a second camera that sees it, or a tape reading to it, would narrow it"


def _shift(word: str, a: Arguments, say: Say) -> str:
    """Why the shift of a mark is judged so."""
    off, sigma, write = a["off_m"], a["sigma_m"], say.lengths
    single = "single" in a
    what = a["single"] if single else f"mark {a['mark']}"
    return judged(
        word,
        f"{what} lies {write.cm(off, sigma)} from its planned place",
        limit=write.cm(a["limit_m"]),
        span=write.span(off, COVERAGE * sigma),
        narrow=NARROW_SINGLE if single else NARROW_STRIP,
    )


JUDGED: dict[str, JudgedWords] = {"shift": _shift}


def _not_seen(a: Arguments, _: Say) -> str:
    if "strip" in a:
        return f"no camera saw the {a['strip']} strip; a picture that shows it would decide"
    return f"no camera saw {a['mark']}" if "mark" in a else "no picture could be used to place it"


def _too_far(parts: tuple[Part, ...], say: Say) -> str:
    return " and ".join(
        f"{say.lengths.cm(amount, sigma)} too far {_way(way)}" for way, amount, sigma in parts
    )


def _way(way: str) -> str:
    return way.replace("-", " ")


def _move_strip(a: Arguments, say: Say) -> str:
    what = f"the {a['strip']} strip"
    if a["end"] is not None:
        what = f"the {a['end']} end of {what}"
    back = " and ".join(
        f"{say.lengths.cm(amount)} {_way(OPPOSITE_WAYS[way])}" for way, amount, _ in a["parts"]
    )
    result = "lies" if a["sure"] else "is still not certain to lie"
    span = say.lengths.span(0.0, a["sigma_m"], nested=True)
    return (
        f"{what} lies {_too_far(a['parts'], say)}: move it {back}; then it {result} within"
        f" tolerance ({span})"
    )


def _measure_again(a: Arguments, say: Say) -> str:
    lies = _too_far(a["parts"], say) or f"{say.lengths.cm(*a['off'])} off"
    return f"measure the place of {a['mark']} again: it lies {lies}"


def _displaced(a: Arguments, say: Say) -> str:
    ways = " and ".join(f"{say.lengths.cm(amount)} {way}" for way, amount in a["parts"])
    who = "cameras show" if len(a["cameras"]) > 1 else "camera shows"
    return (
        f"lies about {ways} of where the rest of its strip has it, as the"
        f" {' and '.join(a['cameras'])} {who} it"
    )


def _lay_displaced_again(a: Arguments, say: Say) -> str:
    displaced = a["why"].arguments
    return f"lay mark {displaced['mark']} again: it {_displaced(displaced, say)}"


LAID: dict[str, Words] = {
    "box-corner-not-judged": lambda a, say: _shift("not-judged", a, say),
    "box-corner-not-found": _not_seen,
    "not-seen": _not_seen,
    "stray-mark": lambda a, say: (
        f"{a['mark']} {_displaced(a, say)}; it was left out: tape it from its neighbours"
    ),
    "lay-displaced-again": _lay_displaced_again,
    "lay-again": lambda a, say: (
        f"lay mark {a['mark']} again: it lies {_too_far(a['parts'], say)} against its own strip"
    ),
    "move-strip": _move_strip,
    "measure-again": _measure_again,
    "not-read": lambda a, _: f"no reading names a mark of the {a['strip']} strip",
    "nothing-read": lambda a, say: (
        f"{say(a['why'])}: add [[reading]] tables, `seamtrue measure --wanted` prints which"
    ),
}
