"""All setting-out sheets of a job, in the order in which they are used."""

from __future__ import annotations

import math

from vision.documents.check_words.saying import several
from vision.documents.sheets import sheet_words, sketches
from vision.documents.sheets.book import Book
from vision.documents.sheets.dimension_sheet import Dimensions
from vision.documents.sheets.drawing import Picture
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.paper import Paper
from vision.documents.sheets.plan_drawing import badge, key_letters
from vision.documents.sheets.plan_sheet import plan_drawing
from vision.documents.sheets.story import sheets_from
from vision.job.settings import SETTINGS as JOB
from vision.planning.setting_out.lines import same
from vision.planning.setting_out.readings import readings_to_take
from vision.planning.setting_out.running_marks import Offset, SettingOut, exact
from vision.planning.settings import SETTINGS

KEY_MM, BETWEEN_MM = 68.0, 5.0
"""Of what stands beside a plan: its width, and the air between."""


def setting_sheets(
    setting: SettingOut, paper: Paper, code: str, fraction: int = 16
) -> list[Picture]:
    """Draw every sheet.

    `code` tells which job file the sheets are of, so that old and new ones are not mixed;
    `fraction` is the finest of an inch.
    """
    book = Book(paper=paper, job=setting.job.name, code=code)
    figures = Figures(fraction=fraction)
    size = book.width - KEY_MM - BETWEEN_MM, book.height - 0.1
    sheets = sheets_from(
        "setting.xml.j2",
        book.width,
        setting=setting,
        settings=SETTINGS,
        figures=figures,
        words=sheet_words,
        sketches=sketches,
        key_mm=KEY_MM,
        plan=plan_drawing(setting, figures, size),
        dimensions=Dimensions.of(setting, figures, size),
        supplies=sheet_words.Supplies.of(setting),
        readings=readings_to_take(setting.job),
        tool_sigma_deg=JOB.tool_sigma_deg,
        right_angle_rad=math.pi / 2,
        badge=badge,
        exact=exact,
        key_letters=key_letters,
        same=same,
        several=several,
        place=lambda at_m: figures.where(Offset.of(at_m)),
    )
    return book.pages(sheets)
