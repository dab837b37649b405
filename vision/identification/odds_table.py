"""What marks showed, as counted over 32 pictures of practice sets, the same covered, and 32 scenes.

`python -m tests.accuracy.odds --count` counts anew, over what it is given.
"""

from __future__ import annotations

import numpy as np

# fmt: off
_RIGHT = np.array(
    [
        [30, 23, 23, 23, 35, 16, 8, 4, 46, 15, 4, 0, 160, 21, 2, 0, 467, 66, 1, 0, 27, 8, 4, 10,
         4, 21, 13, 30, 4, 14, 8, 17, 16, 9, 6, 3, 0, 6, 7, 14, 1, 4, 12, 12],
        [61, 27, 16, 16, 57, 19, 5, 1, 52, 15, 3, 0, 126, 10, 2, 3, 1011, 189, 33, 1, 23, 19, 7,
         12, 1, 22, 18, 41, 4, 19, 9, 30, 35, 15, 5, 13, 1, 16, 9, 28, 9, 17, 6, 31],
        [28, 23, 11, 8, 27, 18, 4, 1, 58, 26, 2, 0, 33, 10, 0, 0, 641, 186, 36, 1, 17, 4, 4, 6,
         0, 3, 4, 20, 1, 13, 9, 20, 14, 5, 3, 7, 0, 7, 1, 19, 1, 9, 2, 13],
    ]
)
"""Marks at right poses, some of them covered: a row for each size; columns as `odds.shown` has
them: marks by correlation, then by offset; then what else is there, of 24 kinds."""
_WRONG = np.array(
    [
        [14, 57, 234, 579, 6, 9, 64, 174, 1, 6, 6, 84, 2, 0, 16, 45, 7, 8, 29, 38, 2344, 341,
         115, 101, 84, 783, 261, 204, 305, 615, 229, 213, 272, 85, 56, 46, 2, 123, 250, 269, 33,
         93, 92, 160],
        [48, 95, 214, 339, 8, 15, 47, 73, 1, 3, 6, 15, 1, 3, 5, 15, 7, 9, 13, 7, 4849, 925, 306,
         243, 109, 1547, 274, 381, 396, 1090, 371, 469, 271, 185, 108, 171, 11, 388, 479, 791,
         37, 148, 140, 334],
        [23, 34, 101, 121, 20, 27, 74, 38, 0, 2, 5, 9, 0, 0, 2, 6, 3, 6, 8, 5, 2189, 483, 260,
         459, 34, 326, 145, 281, 127, 536, 311, 565, 129, 95, 63, 114, 0, 216, 279, 555, 16, 78,
         76, 222],
    ]
)
"""The same at poses at random, and at right ones slid along a strip by part of a spacing."""
# fmt: on
_TAPE_RIGHT = np.array([298, 267, 76, 115, 3126])
_TAPE_WRONG = np.array([3875, 7725, 639, 296, 907])
"""Places half-way between marks, by the step from the ground to the tape, at right poses and at
random."""


def _shares(counts: np.ndarray) -> np.ndarray:
    """Shares with half a count more in each cell, after Jeffreys."""
    more = counts + 0.5
    return np.asarray(more / more.sum(axis=-1, keepdims=True))


SEEN_HOW, BACKGROUND = _shares(_RIGHT), _shares(_WRONG)
TAPE_SEEN, TAPE_BACKGROUND = _shares(_TAPE_RIGHT), _shares(_TAPE_WRONG)
