"""Printed sheets: the setting-out plan of a job, and its marks true to size."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from vision.documents.sheets.page import Page
from vision.documents.sheets.writing import pdf_bytes, svg_text


def documents(name: str, pages: Sequence[Page], title: str) -> dict[str, bytes]:
    """Files by name: one PDF, and an SVG for every page."""
    files = {f"{name}.pdf": pdf_bytes(pages, title)}
    for number, page in enumerate(pages, start=1):
        files[f"{name}-{number}.svg"] = svg_text(page, f"{title}, {number}").encode()
    return files


def job_code(job_text: bytes) -> str:
    """Six letters and digits that tell one job file from another, on every sheet."""
    return hashlib.sha256(job_text).hexdigest()[:6]
