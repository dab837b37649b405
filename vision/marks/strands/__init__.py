"""Lasting edges of a picture: what is drawn sharply enough to be found again in another one.

In: a picture's pixels and where to look. Out: `Pieces`, short stretches of linked edge, each a
curve of six numbers with the profile of the light's gradient across it.

- `light`: grey levels to linear light, its gradient and noise
- `find`: edges linked to strands, cut into pieces
- `pieces`: the value, and the places along each piece
- `match`: how far a piece lies from where it is expected in another picture
- `settings`: what tunes it
"""
