"""What a mark is called: the one place where ids are put together and taken apart."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple


class MarkId(NamedTuple):
    """A mark of a strip, a corner of such a board, or a single mark.

    `name` is the strip's, or that of a single mark, which has no `index`. Marks of a strip count
    from 0 at its `from`; a board's corners have a `row` across the strip to its left and a
    `column` along it, both from 0. Its text is the id of the result file: `left/3`, `left/3/0/1`.
    """

    name: str
    index: int | None = None  # type: ignore[assignment]
    row: int | None = None
    column: int | None = None

    def __str__(self) -> str:
        return "/".join(str(part) for part in self if part is not None)

    def __format__(self, spec: str) -> str:
        return format(str(self), spec)

    @property
    def strip(self) -> str | None:
        """The strip's name; None for a single mark."""
        return None if self.index is None else self.name

    @property
    def mark(self) -> MarkId:
        """The mark that this is a point of: a corner's board, any other mark itself."""
        return MarkId(self.name, self.index)

    def corner(self, row: int, column: int) -> MarkId:
        """A corner of this board."""
        return MarkId(self.name, self.index, row, column)

    @classmethod
    def parse(cls, text: str, strips: Iterable[str]) -> MarkId:
        """Read what a person wrote, of a job with these strips; any other text is a single mark.

        Whether there is such a mark is for the layout to say.
        """
        for name in strips:
            numbers = text.removeprefix(f"{name}/").split("/")
            if len(numbers) in {1, 3} and all(each.isdecimal() for each in numbers):
                read = cls(name, *map(int, numbers))
                if str(read) == text:
                    return read
        return cls(text)


PlaceId = MarkId | str
"""What a reading goes to: a mark, or a camera by its name."""
