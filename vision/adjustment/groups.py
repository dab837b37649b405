"""Groups: what can be wrong as a whole and be set free, by names such as 'strip right'.

A strip's ends, a strip's bow, a camera's mounting, a single mark's place, a camera's lens, a type
of lens that several cameras share, a reading (counted from 1 in the file's order).
"""

from __future__ import annotations

from typing import Literal, cast

GroupKind = Literal["strip", "bow", "mounting", "mark", "lens", "lens-type", "reading"]


def kind_and_name(group: str) -> tuple[GroupKind, str]:
    """What kind of thing a group is, and what that is called: 'strip', 'right'."""
    kind, _, name = group.partition(" ")
    return cast(GroupKind, kind), name
