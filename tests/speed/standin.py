"""What a good one-off script costs on the same work: four pictures in, a top view and a page out.

It is told everything that a checker has to find out: it looks for each mark only near where the
planned aim puts it, judges nothing, knows no sigma, tests nothing. Its wall time, taken in the same
run, is the unit of speed.

    python standin.py FOLDER_WITH_JOB [OUT_FOLDER]    # crosses on tape: clear_day or long_shadow
"""

import base64
import sys
import time
import tomllib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

T0 = time.perf_counter()
import cv2  # noqa: E402
import numpy as np  # noqa: E402
from scipy.optimize import least_squares  # noqa: E402


def rotation(pan, tilt, roll):
    """Camera from ground: z along the axis, x right, y down."""
    p, t, r = np.radians([pan, tilt, roll])
    f = np.array([np.cos(t) * np.cos(p), np.cos(t) * np.sin(p), -np.sin(t)])
    r0 = np.array([np.sin(p), -np.cos(p), 0.0])
    d0 = np.cross(f, r0)
    return np.array([np.cos(r) * r0 + np.sin(r) * d0, -np.sin(r) * r0 + np.cos(r) * d0, f])


def project(x, points, size):
    """x: rotation vector (3), place (3), focal length, k1; an ideal centre."""
    rot = cv2.Rodrigues(x[:3])[0]
    c = (points - x[3:6]) @ rot.T
    r = np.hypot(c[:, 0], c[:, 1])
    th = np.arctan2(r, c[:, 2])
    s = x[6] * th * (1 + x[7] * th**2) / np.maximum(r, 1e-9)
    return np.stack([s * c[:, 0] + (size[0] - 1) / 2, s * c[:, 1] + (size[1] - 1) / 2], 1)


def length(v):
    """Metres of a job's value; this script knows 'cm' and 'mm' beside bare metres."""
    if isinstance(v, str):
        n, unit = v.split()
        return float(n) * {"m": 1, "cm": 0.01, "mm": 0.001}[unit]
    return float(v)


def camera(job, name, folder, points):
    cam = job["camera"][name]
    grey = cv2.imread(str(folder / cam["picture"]))
    if cam.get("mirrored"):
        grey = np.ascontiguousarray(grey[:, ::-1])
    bgr, grey = grey, cv2.cvtColor(grey, cv2.COLOR_BGR2GRAY)
    size = grey.shape[1], grey.shape[0]
    focal = size[0] / np.radians(job["lens"][cam["lens"]]["field_of_view_deg"])
    rot = rotation(cam["pan_deg"], cam["tilt_deg"], cam["roll_deg"])
    x0 = np.r_[cv2.Rodrigues(rot)[0].ravel(), [length(v) for v in cam["position"]], focal, -0.02]
    dark = cv2.GaussianBlur(grey, (0, 0), 6).astype(np.float32) - cv2.GaussianBlur(
        grey, (0, 0), 1.2
    )
    seen, world = [], []
    inside = ((points - x0[3:6]) @ rot.T)[:, 2] > 0.3
    for p, (u, v) in zip(points[inside], project(x0, points[inside], size), strict=True):
        a, b = int(u) - 24, int(v) - 24
        if a < 0 or b < 0 or a + 48 >= size[0] or b + 48 >= size[1]:
            continue
        _, top, _, (i, j) = cv2.minMaxLoc(dark[b : b + 48, a : a + 48])
        if top > 12:
            seen.append((a + i, b + j))
            world.append(p)
    seen = cv2.cornerSubPix(
        grey, np.float32(seen).reshape(-1, 1, 2), (5, 5), (-1, -1), (3, 20, 0.01)
    )[:, 0]
    fit = least_squares(
        lambda x: (project(x, np.array(world), size) - seen).ravel(),
        x0,
        loss="soft_l1",
        max_nfev=30,
    )
    return bgr, size, fit.x, len(world)


def top_view(bgr, size, x, extent, scale=0.02):
    """Ground plan (10 m by 16 m, 2 cm a pixel) through the fitted camera."""
    h, w = int(extent[1] / scale), int(extent[0] / scale)
    y, z = np.meshgrid(extent[0] / 2 - np.arange(w) * scale, extent[1] / 2 - np.arange(h) * scale)
    points = np.stack([z.ravel(), y.ravel(), np.zeros(z.size)], 1)
    uv = project(x, points, size).astype(np.float32).reshape(h, w, 2)
    return cv2.remap(bgr, uv[..., 0], uv[..., 1], cv2.INTER_LINEAR)


def main():
    folder = Path(sys.argv[1])
    out = Path(sys.argv[2] if len(sys.argv) > 2 else "standin-out")
    out.mkdir(parents=True, exist_ok=True)
    job = tomllib.loads((folder / "job.toml").read_text())
    points = []
    for s in job["strip"].values():
        a, b = (np.array([length(v) for v in s[k]] + [0.0]) for k in ("from", "to"))
        span = np.linalg.norm(b - a)
        at = [length(v) for v in s["at"]] if "at" in s else np.linspace(0, span, s["count"])
        points += [a + (b - a) / span * t for t in at]
    points = np.array(points)
    with ThreadPoolExecutor() as pool:
        done = list(pool.map(lambda n: camera(job, n, folder, points), job["camera"]))
        views = list(pool.map(lambda d: top_view(*d[:3], (10.0, 16.0)), done))
    merged = np.maximum.reduce(views)
    cv2.imwrite(str(out / "top.png"), merged, [cv2.IMWRITE_PNG_COMPRESSION, 1])
    jpg = [base64.b64encode(cv2.imencode(".jpg", d[0])[1]).decode() for d in done]
    (out / "page.html").write_text("".join(f'<img src="data:image/jpeg;base64,{j}">' for j in jpg))
    print(f"{time.perf_counter() - T0:.2f} s since start, marks {[d[3] for d in done]}")


main()
