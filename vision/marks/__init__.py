"""From pixels to candidates and measured centres, with covariance.

In: `Picture`, a planned mark, a pose, a lens. Out: `Candidates`, `Measured`, `FoundCorner`.

- `picture`, `picture_header`: the picture turned back; what its first bytes say
- `sources`: the files that a picture was made of, and what was done to them
- `fields`, `rows`: odd rows shifted against even ones, and what is then measured
- `candidates`: places that look like a mark's centre, before anybody knows which mark
- `measure`: the known mark drawn into the picture and fitted to its pixels
- `settings`, `source_settings`: every limit; `damping`: many small least-squares steps at once
- `edge_fit`, `box_corner`: straight edges, and the corner of a carton where three of them meet
"""
