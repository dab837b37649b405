"""One file for each kind of mark, and in it all that is particular to that kind.

In: the size keys of a job file. Out: a `MarkShape`: sizes, ink, points, and codes for its words.

- `mark_shape`: what every kind says of itself, and what most kinds have in common
- `cross`, `quadrant`, `board`, `box_corner`: the kinds
- `every`: the kinds by the names that a job file gives them

A new kind is a file here and an entry in `every`; how its candidates are found in a picture is
named by its `filter_name`, and done in `vision.marks.candidates`.
"""
