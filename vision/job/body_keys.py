"""What of a camera's picture moves by itself: `mounted_on` and `moving` of [camera.NAME]."""

from __future__ import annotations

from vision.units.tables import Table, is_number

Part = tuple[float, float, float, float]
"""Left, top, width and height in px of the picture as delivered."""


def mounted_on(table: Table) -> str:
    """The part that carries the camera; empty where the body itself does, or after a fault."""
    if not table.has("mounted_on"):
        return ""
    return table.text("mounted_on", 'the part that carries the camera, such as "mirror arm"')


def moving_parts(table: Table) -> tuple[Part, ...]:
    """Parts of the picture in which doors, wheels, flaps or mirrors move; none after a fault."""
    if not table.has("moving"):
        return ()
    value = table.values["moving"]
    expected = "a list of [left, top, width, height] in px, width and height above 0"
    if not isinstance(value, list):
        table.wrong("not-a-list", "moving", expected, "write `moving = [[0, 500, 200, 220]]`")
        return ()
    found = []
    for each in value:
        whole = isinstance(each, list) and len(each) == 4 and all(map(is_number, each))
        if not whole or min(each[:2]) < 0 or min(each[2:]) <= 0:
            table.wrong("wrong-kind", "moving", expected)
            return ()
        left, top, width, height = map(float, each)
        found.append((left, top, width, height))
    return tuple(found)
