"""Jobs for vehicles of any length, with side strips, end strips, raised marks and four cameras."""

from __future__ import annotations

from vision.job.job import Job
from vision.job.job_file import job_from_text


def lot_text(
    length: float, width: float = 2.3, mark: str = 'mark = "cross"\narm = "8 cm"\nline = "25 mm"',
    name: str = "Mobile library, depot yard", extra: str = "", step: float = 0.6,
) -> str:  # fmt: skip
    """A job file for a body of that length: marks about every `step` m, ends 1.3 m out.

    The tape is 18 cm wide where `mark` states none.
    """
    half, side, end = length / 2, width / 2 + 0.4, length / 2 + 1.3
    tape = "" if "tape_width" in mark else 'tape_width = "18 cm"\n'
    sides = max(3, round((length + 1.2) / step) + 1)
    strips = {
        "left": (-half - 0.6, side, half + 0.6, side, sides),
        "right": (-half - 0.6, -side, half + 0.6, -side, sides),
        "front": (end, -2.4, end, 2.4, 9),
        "rear": (-end, -2.4, -end, 2.4, 9),
    }
    text = [f'[job]\nname = "{name}"\nunits = "m"\n']
    text += [f"[vehicle]\nlength = {length}\nwidth = {width}\nheight = 3.0\n"]
    text += ["[lens.wide]\nfield_of_view_deg = 187\n"]
    for camera, x, y, pan in (
        ("front", half, 0, 0), ("rear", -half, 0, 180), ("left", 0, width / 2, 90),
        ("right", 0, -width / 2, -90),
    ):  # fmt: skip
        text += [
            f'[camera.{camera}]\npicture = "{camera}.jpg"\nlens = "wide"\n'
            f"position = [{x}, {y}, 2.5]\npan_deg = {pan}\ntilt_deg = 45\nroll_deg = 0\n"
        ]
    for strip, (x0, y0, x1, y1, count) in strips.items():
        text += [
            f"[strip.{strip}]\nfrom = [{x0}, {y0}]\nto = [{x1}, {y1}]\ncount = {count}\n"
            f"{mark}\n{tape}"
        ]
    for raised, x, y in (("front_trestle", end + 0.4, 0.9), ("rear_trestle", -end - 0.4, -0.9)):
        text += [f'[mark.{raised}]\nat = [{x}, {y}, 0.9]\nkind = "quadrant"\nradius = "6 cm"\n']
    return "\n".join([*text, extra])


def lot(length: float, **changes: object) -> Job:
    """The same as a `Job`."""
    return job_from_text(lot_text(length, **changes), "job.toml")
