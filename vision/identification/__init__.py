"""Which mark is it? Several poses carried to the end, one naming chosen or none.

In: `Picture`, `Camera`, `Layout`. Out: `Identified | NotIdentified`.

- `decision`: one camera from start to end; start reading here
- `inputs`: the picture prepared once, and what the camera may see; `settings`: every limit
- `hypotheses`, `poses`: the grid of aims, and the poses that are carried on
- `measuring`, `refusals`, `doubt`, `reasons`: marks measured, no mark's centre, possible blunders,
  why a mark is not used
- `shapes`: pixels that may not be square; `even_rows`: combed pictures; `square_view`: their search
- `shots`: several pictures of one camera, combined
- `corners`: cartons; `mixups`: pictures swapped, mirrored or given twice
"""
