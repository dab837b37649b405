"""Pictures of a job that stand for several cameras, cut into a picture of each."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vision.job.job import Job, Panes
from vision.marks.picture import Picture
from vision.marks.sources.panes import Pane, cut_out, find_panes
from vision.units.errors import Fault, fault_of


def cut_panes(
    job: Job, stills: Sequence[Picture], file: str
) -> tuple[tuple[Picture, ...], list[Fault]]:
    """Every picture of a job as its `panes` say; the same where it has none.

    With the faults of panes that cannot be. Panes that nobody stated are found, and handed back as
    lines for the job: which is whose a person sees at a glance, while crosses on a layout that is
    the same from front and rear do not tell.
    """
    if job.panes is None:
        return tuple(stills), []
    faults: list[Fault] = []
    places: dict[str, Pane] = {}
    for group in _groups(stills):
        names = [each.name for each in group]
        stated = [each for each in names if each in job.panes.stated_px]
        if stated and len(stated) < len(names):
            rest = ", ".join(name for name in names if name not in stated)
            faults.append(
                fault_of(
                    "missing",
                    file,
                    f"no pane of {rest}, which share {group[0].file} with {', '.join(stated)}",
                    "a pane of every camera that shares a picture, or of none",
                    "add them, or leave all out to have them found",
                    key="panes",
                )
            )
        elif stated:
            faults += _outside(job.panes, group, file)
            places |= {name: job.panes.stated_px[name] for name in names}
        elif len(names) > 1:
            found = find_panes(_delivered_grey(group[0]), len(names))
            faults.append(_unnamed(group[0], names, found, file))
    if faults:
        return tuple(stills), faults
    return tuple(_cut(each, places) for each in stills), []


def _groups(stills: Sequence[Picture]) -> list[list[Picture]]:
    """Pictures of the same file together, in the order of the job."""
    groups: dict[str, list[Picture]] = {}
    for each in stills:
        groups.setdefault(each.sha256, []).append(each)
    return list(groups.values())


def _cut(picture: Picture, places: dict[str, Pane]) -> Picture:
    pane = places.get(picture.name)
    if pane is None:
        return picture
    return cut_out(picture, pane, picture.name, mirrored=picture.mirrored)


def _delivered_grey(picture: Picture) -> np.ndarray:
    return picture.grey[:, ::-1] if picture.mirrored else picture.grey


def _outside(panes: Panes, group: Sequence[Picture], file: str) -> list[Fault]:
    found = []
    for picture in group:
        left, top, width, height = panes.stated_px[picture.name]
        if left + width > picture.width or top + height > picture.height:
            found.append(
                fault_of(
                    "out-of-range",
                    file,
                    f"a pane that ends at ({left + width}, {top + height}) px",
                    f"one within {picture.file}, {picture.width} x {picture.height} px",
                    "correct left, top, width or height",
                    key=f"panes.{picture.name}",
                )
            )
    return found


def _unnamed(
    picture: Picture, names: Sequence[str], found: Sequence[Pane] | None, file: str
) -> Fault:
    """What to write into the job for panes that nobody stated."""
    expected = f"the pane of each of {', '.join(names)} in {picture.file}"
    if found is None:
        step = (
            f"state them under [panes]: `{names[0]} = [left, top, width, height]` in px, and so on"
        )
        return fault_of(
            "no-panes", file, "none that can be told apart", expected, step, key="panes"
        )
    panes = "; ".join(str(list(pane)) for pane in found)
    step = f"write under [panes], each behind the name of the camera that it shows: {panes}"
    return fault_of(
        "panes-unnamed", file, f"{len(found)} panes without a name", expected, step, key="panes"
    )
