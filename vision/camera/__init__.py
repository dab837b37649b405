"""Pose and lens with their derivatives, the least-squares solver, lens files.

In: poses, lens parameters, points. Out: pixels, rays, derivatives, `Solution | NoFit`.

- `geometry`: `Pose`, `Aim` and rotations
- `lens`: the Kannala-Brandt polynomial both ways, and where it stops rising
- `stated_lens`, `lens_prior`: what a person says of a lens, and what that lets be
- `settings`: how well lenses are known beforehand
- `lens_file`, `lens_formats`, `lens_yaml`: lenses from and to JSON and YAML
- `solver`: damped Gauss-Newton with an outcome that is never silently wrong
"""
