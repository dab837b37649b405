"""How a job's layout is set out on the ground: Job -> SettingOut.

Datum lines, strips by running distance from one datum, offsets, diagonals and 3-4-5 triangles with
what each may be off, the size of the lot, and what to cut. Pure values; `sheets` draws them.
"""

from __future__ import annotations

import numpy as np

from vision.job.job import Job
from vision.planning.setting_out.checks import diagonal_pairs, triangles
from vision.planning.setting_out.lines import strip_lines
from vision.planning.setting_out.running_marks import Datum, SettingOut
from vision.planning.setting_out.supplies import cut_list, lot_size


def set_out(job: Job) -> SettingOut:
    """Work out everything that is measured on the ground for `job`."""
    strips = strip_lines(job)
    lot = lot_size(job)
    half = np.array([job.vehicle.length_m, job.vehicle.width_m]) / 2
    datums = (
        Datum(
            name="centre line",
            from_m=np.array([-half[0] - lot.behind_m, 0.0]),
            to_m=np.array([half[0] + lot.ahead_m, 0.0]),
        ),
        Datum(
            name="mid line",
            from_m=np.array([0.0, -half[1] - lot.right_m]),
            to_m=np.array([0.0, half[1] + lot.left_m]),
        ),
    )
    return SettingOut(
        job=job,
        datums=datums,
        strips=strips,
        pairs=diagonal_pairs(job, strips),
        triangles=triangles(job, strips),
        lot=lot,
        cut=cut_list(job, lot),
    )
