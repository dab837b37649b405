"""From board pictures to a lens with its covariance.

In: pictures of a checkerboard, its counts and square. Out: ordered corners, `LensFit`, its quality.

- `board`, `board_corners`: what a board is; its corners found, ordered and measured
- `lens_start`: a lens and poses from no guess
- `lens_fit`: all views in one network
- `lens_quality`: tests, cross-validation, a map of uncertainty, advice
"""
