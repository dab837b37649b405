"""How a job's layout is set out on the ground: Job -> SettingOut.

Strips by running distance from one datum, offsets, diagonals and 3-4-5 triangles with
what each may be off, the size of the lot, and what to cut. Pure values; `sheets` draws them.
"""

from __future__ import annotations

from vision.job.job import Job
from vision.planning.setting_out.checks import diagonal_pairs, triangles
from vision.planning.setting_out.lines import strip_lines
from vision.planning.setting_out.running_marks import SettingOut
from vision.planning.setting_out.supplies import cut_list, lot_size


def set_out(job: Job) -> SettingOut:
    """Work out everything that is measured on the ground for `job`."""
    strips = strip_lines(job)
    lot = lot_size(job)
    return SettingOut(
        job=job,
        strips=strips,
        pairs=diagonal_pairs(job, strips),
        triangles=triangles(job, strips),
        lot=lot,
        cut=cut_list(job, lot),
    )
