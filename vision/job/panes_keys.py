"""How a picture that several cameras share is cut into panes: the table `[panes]` of a job file."""

from __future__ import annotations

from vision.job.job import Panes
from vision.units.tables import Table


def panes_of(top: Table, cameras: tuple[str, ...]) -> Panes | None:
    """What a job says of panes; None where it has no such table."""
    if not top.has("panes"):
        return None
    table = top.table("panes", required=False)
    stated: dict[str, tuple[int, int, int, int]] = {}
    expected = "[left, top, width, height] in whole px of the picture, width and height above 0"
    for name in cameras:
        if not table.has(name):
            continue
        value = table.values[name]
        if (
            isinstance(value, list)
            and len(value) == 4
            and all(isinstance(each, int) and not isinstance(each, bool) for each in value)
            and min(value[:2]) >= 0
            and min(value[2:]) > 0
            and max(value) < 1_000_000
        ):
            stated[name] = (value[0], value[1], value[2], value[3])
        else:
            table.wrong("wrong-kind", name, expected)
    table.close()
    return Panes(stated_px=stated)
