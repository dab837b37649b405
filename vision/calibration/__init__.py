"""From board pictures to a lens with its covariance.

In: pictures of a checkerboard, its counts and square. Out: ordered corners, `LensFit`, its quality.

- `board`, `board_corners`: what a board is; its corners found, ordered and measured
- `lens_start`: a lens and poses from no guess
- `bundle`, `lens_fit`: all views in one network, with what boards bend and corners share
- `lens_groups`: which pictures are of one lens
- `lens_quality`: all of it in order; `leave_out`, `model_error`, `known`, `reach`: what it asks
"""
