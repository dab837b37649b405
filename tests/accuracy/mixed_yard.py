"""A vehicle and layout at random: strips of all kinds of marks, unevenly spaced, some light ink."""

from __future__ import annotations

import numpy as np

from vision.job.job import Job
from vision.job.job_file import job_from_text


def mixed_job(rng: np.random.Generator) -> Job:
    """A vehicle with four cameras and strips of random kinds, spacing, size and ink."""
    length, width = rng.uniform(6, 11), rng.uniform(2.2, 2.5)
    height = rng.uniform(2.7, 3.3)
    up = height - rng.uniform(0.3, 0.6)
    places = {
        "front": (length / 2 + 0.02, 0, up, 0),
        "rear": (-length / 2 - 0.02, 0, up, 180),
        "left": (rng.uniform(-1, 1), width / 2 + 0.06, up, 90),
        "right": (rng.uniform(-1, 1), -width / 2 - 0.06, up, -90),
    }
    text = [
        f'[job]\nname = "Depot yard"\nunits = "m"\n[vehicle]\nlength = {length:.3f}\n'
        f"width = {width:.3f}\nheight = {height:.3f}\n[lens.wide]\n"
        f"field_of_view_deg = {rng.integers(180, 192)}"
    ]
    for name, (x, y, z, pan) in places.items():
        text.append(
            f'[camera.{name}]\npicture = "{name}.jpg"\nlens = "wide"\n'
            f"position = [{x:.3f}, {y:.3f}, {z:.3f}]\npan_deg = {pan + rng.uniform(-5, 5):.2f}\n"
            f"tilt_deg = {rng.uniform(38, 52):.2f}\nroll_deg = {rng.uniform(-2, 2):.2f}"
        )
    side = [sign * (width / 2 + rng.uniform(0.5, 1.0)) for sign in (1, -1)]
    end = length / 2 + rng.uniform(1.0, 1.6)
    wide = width / 2 + rng.uniform(1.0, 1.8)
    far = end + rng.uniform(2.0, 2.8)
    lines = {
        "left": ((-end, side[0]), (end, side[0])),
        "right": ((-end, side[1]), (end, side[1])),
        "front": ((end + 0.5, -wide), (end + 0.5, wide)),
        "rear": ((-end - 0.5, -wide), (-end - 0.5, wide)),
        "far": ((far, -1.5 * wide), (far, 1.5 * wide)),
        "behind": ((-far, -1.5 * wide), (-far, 1.5 * wide)),
    }
    for name, (start, stop) in lines.items():
        text.append(_strip(name, start, stop, rng))
    for index in range(int(rng.integers(0, 3))):
        x = rng.choice([-1, 1]) * (end + 1.2)
        text.append(
            f"[mark.trestle{index}]\nat = [{x:.2f}, {rng.uniform(-1.5, 1.5):.2f}, "
            f'{rng.uniform(0.5, 0.9):.2f}]\nkind = "quadrant"\nradius = "12 cm"'
        )
    return job_from_text("\n".join(text), "job.toml")


def _strip(
    name: str, start: tuple[float, float], stop: tuple[float, float], rng: np.random.Generator
) -> str:
    kind = rng.choice(["cross", "quadrant", "board"])
    size, long = rng.uniform(0.09, 0.14), float(np.hypot(stop[0] - start[0], stop[1] - start[1]))
    match kind:
        case "cross":
            shape = f"arm = [{1.3 * size:.3f}, {size:.3f}]\nline = {0.25 * size:.3f}"
            tape = 2.2 * size
        case "quadrant":
            shape, tape = f"radius = {size:.3f}", 2.3 * size
        case _:
            square = rng.uniform(0.06, 0.09)
            shape, tape = f"square = {square:.3f}\ncorners = [4, 3]", 0.2
    # Uneven, as tape measures lead people: two spacings, so that a shifted pose has a chance.
    near, wide = (rng.uniform(0.55, 0.7), rng.uniform(0.9, 1.3))
    at = [0.0]
    while long - at[-1] > 1.2 * near:
        at.append(at[-1] + (near if len(at) % 3 else wide))
    at = [each for each in at if each < long - 0.3] + [long]
    ink = rng.choice(["dark", "dark", "light"])
    return (
        f"[strip.{name}]\nfrom = [{start[0]:.3f}, {start[1]:.3f}]\n"
        f"to = [{stop[0]:.3f}, {stop[1]:.3f}]\nat = [{', '.join(f'{each:.3f}' for each in at)}]\n"
        f'mark = "{kind}"\n{shape}\ntape_width = {tape:.3f}\nink = "{ink}"'
    )
