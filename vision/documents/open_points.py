"""What a check leaves open and why, one line for each cause: terminal and page say it at the head.

Taken from the result (`vision.documents.result`), so that they cannot say otherwise than the
result file.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

FOLLOWS = {"significant-within", "neighbour-not-identified"}
"""Reasons that are none of their own: a difference that is allowed, and a seam whose camera has no
fit, of which that camera's own line says why."""
MAY_BE_MISSING = {"box-corner-not-found", "box-corner-not-judged"}
"""A carton's corner that is not seen does not hold up the job."""
NEVER_SEEN = {"too-small", "small-and-refused", "dark-there"}
"""Reasons of marks that are the picture's and not the mark's: nobody need go and look."""
LIES = "lies about"
"""How it is said where a mark lies that was left out
(`vision.inspection.verdict.displaced_marks`)."""
MOST_NAMES = 6


def open_points(result: dict[str, Any]) -> list[str]:
    """What is not judged and why, then what no picture shows where it should be."""
    by_cause: dict[str, list[str]] = {}
    for who, cause in _causes(result):
        by_cause.setdefault(cause, []).append(who)
    lines = [f"{', '.join(who)}: {cause}" for cause, who in by_cause.items()]
    names = _unplaced(result)
    if names:
        lines.append(
            f"no picture shows {_listed(names)} where planned, so nothing is said of"
            f" {'its place' if len(names) == 1 else 'their places'}: go and look, and tape it from"
            " its neighbours"
        )
    return lines


def _causes(result: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Who is not judged, and why."""
    parts = [(f"{each['name']} camera", each) for each in result["cameras"]]
    parts += [(f"{each['name']} strip", each) for each in result["strips"]]
    parts += [(each["name"], each) for each in result["raised_marks"]]
    parts += [(f"seam {' - '.join(each['between'])}", each) for each in result["seams"]]
    for who, entry in parts:
        why = [each for each in entry["reasons"] if each["code"] not in FOLLOWS]
        if any(each["code"] in MAY_BE_MISSING for each in why):
            continue
        if entry["verdict"] == "not-judged" and why:
            yield who, "; ".join(each["text"] for each in why)
        elif entry["verdict"] == "beyond" and result["verdict"] == "not-judged":
            text = "; ".join(each["text"] for each in why)
            yield who, f"{text}; nothing that was found explains it"


def _unplaced(result: dict[str, Any]) -> list[str]:
    """Marks of strips that some picture ought to show and none could use; a board is one mark."""
    strips = [strip["name"] for strip in result["strips"]]
    used: set[str] = set()
    missed: dict[str, None] = {}
    # A picture of which no mark is known says nothing of any: that is told of its camera.
    known = [camera for camera in result["cameras"] if camera["plan_fit"] is not None]
    for mark in (mark for camera in known for mark in camera["marks"]):
        strip = next((name for name in strips if mark["id"].startswith(f"{name}/")), None)
        if strip is None:
            continue
        name = f"{strip}/{mark['id'][len(strip) + 1 :].partition('/')[0]}"
        if mark["status"] == "used":
            used.add(name)
        elif mark["status"] in ("rejected", "not-found") and _due(mark):
            missed[name] = None
    said = [text for strip in result["strips"] for text in _texts(strip)] + result["warnings"]
    told = {name for name in missed for text in said if text.startswith(f"{name} {LIES}")}
    return [name for name in missed if name not in used | told]


def _texts(entry: dict[str, Any]) -> list[str]:
    return [reason["text"] for reason in entry["reasons"]]


def _due(mark: dict[str, Any]) -> bool:
    """Whether the picture was good enough there to show the mark."""
    return mark.get("reason_code") not in NEVER_SEEN


def _listed(names: list[str]) -> str:
    shown = names[:MOST_NAMES]
    if len(names) > MOST_NAMES:
        shown.append(f"{len(names) - MOST_NAMES} more")
    *first, last = shown
    return f"{', '.join(first)} and {last}" if first else last
