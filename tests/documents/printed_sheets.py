"""Sheets for the lot as tests print and read them."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

from tests.drawn import drawn
from tests.paths import SAMPLES
from vision.documents.cautions import LAW_FIRST
from vision.documents.sheets import story
from vision.documents.sheets.paper import A4
from vision.documents.sheets.setting_sheets import setting_sheets
from vision.job.job_file import job_from_text
from vision.planning.setting_out.set_out import set_out

DRAWN = {"svg", "title", "clipPath", "g", "rect", "text", "polygon", "polyline", "circle", "path"}
TEMPLATES = Path(story.__file__).parent
SVG = "{http://www.w3.org/2000/svg}"


def cautions():
    """What the first sheet says at its foot, when and what; and what every other one says."""
    text = (TEMPLATES / "cautions.xml.j2").read_text(encoding="utf-8")
    told = ElementTree.fromstring(text[text.index("<") :].replace("{{ law_first }}", LAW_FIRST))
    return [
        [[" ".join(cell.text.split()) for cell in row] for row in sheet.iter("row")]
        for sheet in told.iter("sheet")
    ]


CAUTIONS, SHORT = cautions()
CARTONS = job_from_text((SAMPLES / "long_shadow" / "job.toml").read_bytes(), "job.toml")


def sheets(job, paper=A4, fraction=16, system="both"):
    return setting_sheets(set_out(job), paper, "3fa2c1", fraction, system)


def words(pages):
    return " ".join(drawn(page).words for page in pages)


def titled(pages, title):
    """The pages whose head begins so."""
    return [drawn(page) for page in pages if drawn(page).title.startswith(title)]
