"""Proves that a lens file ends in a lens or in all of its faults, told with the job's.

Does not prove that a lens in a file is the camera's.
"""

from __future__ import annotations

import json

import numpy as np
import pytest

from tests.job_texts import BY_FILE, LENS, faults_of
from vision.job.job import Job
from vision.job.job_file import job_from_text


def lens_job(**changes: object) -> Job:
    text = json.dumps({**LENS, **changes}).encode()
    return job_from_text(BY_FILE, "job.toml", {"wide.lens.json": text})


def test_a_lens_file() -> None:
    lens = lens_job().lenses[0]
    assert lens.field_of_view_rad is None
    assert lens.fitted is not None
    assert lens.fitted.as_vector() == pytest.approx([330, 331, 640, 360, 0.01, -0.002, 0, 0])
    assert lens.covariance is None


def test_a_covariance_is_kept_and_a_sigma_alone_is_its_diagonal() -> None:
    root = np.random.default_rng(3).normal(size=(8, 8))
    covariance = root @ root.T
    kept = lens_job(covariance=covariance.tolist()).lenses[0].covariance
    assert kept == pytest.approx(covariance)
    sigma = {"fx": 1, "fy": 1, "cx": 2, "cy": 2, "k": [0.1, 0.1, 0.1, 0.2]}
    diagonal = lens_job(sigma=sigma).lenses[0].covariance
    assert diagonal == pytest.approx(np.diag([1, 1, 4, 4, 0.01, 0.01, 0.01, 0.04]))


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"schema": "seamtrue.lens/2"}, "schema"),
        ({"model": "pinhole"}, "model"),
        ({"width": 0}, "width"),
        ({"height": 720.5}, "height"),
        ({"fx": -1}, "fx"),
        ({"fy": True}, "fy"),
        ({"cx": float("nan")}, "cx"),
        ({"cy": "360"}, "cy"),
        ({"k": [0, 0, 0]}, "k"),
        ({"k": [0, 0, 0, float("inf")]}, "k"),
        ({"sigma": 3}, "sigma"),
        ({"sigma": {"fx": 1}}, "sigma.fy"),
        ({"covariance": np.eye(7).tolist()}, "covariance"),
        ({"covariance": (-np.eye(8)).tolist()}, "covariance"),
        ({"covariance": np.ones((8, 8)).tolist()}, "covariance"),
        ({"covariance": (np.eye(8) + np.eye(8, k=1) / 2).tolist()}, "covariance"),
        ({"covariance": np.eye(8).tolist(),
          "sigma": {"fx": 2, "fy": 1, "cx": 1, "cy": 1, "k": [1, 1, 1, 1]}}, "sigma"),
    ],
)  # fmt: skip
def test_faults_of_a_lens_file(changes: dict[str, object], key: str) -> None:
    text = json.dumps({**LENS, **changes}).encode()
    faults = faults_of(BY_FILE, {"wide.lens.json": text})
    assert key in [fault.key for fault in faults]
    assert {fault.file for fault in faults} == {"wide.lens.json"}


@pytest.mark.parametrize(
    "text", [b"", b"{", b"[]", b"\xff", b"[" * 100_000, b" " * 1_000_001, b"9" * 10_000]
)
def test_what_is_no_lens_file(text: bytes) -> None:
    assert "a lens file in JSON" in str(faults_of(BY_FILE, {"wide.lens.json": text})[0])


def test_faults_of_job_and_lens_file_come_together() -> None:
    faults = faults_of(BY_FILE.replace("count = 18", "count = 0"), {"wide.lens.json": b"{}"})
    assert {fault.file for fault in faults} == {"job.toml", "wide.lens.json"}
