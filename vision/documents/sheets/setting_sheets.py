"""All setting-out sheets of a job, in the order in which they are used."""

from __future__ import annotations

import math

from vision.documents.check_words.saying import several
from vision.documents.sheets import sheet_words, sketches
from vision.documents.sheets.book import Book
from vision.documents.sheets.dimension_sheet import Dimensions
from vision.documents.sheets.drawing import Picture
from vision.documents.sheets.figures import Figures, System
from vision.documents.sheets.paper import Paper
from vision.documents.sheets.plan_drawing import badge, badge_text
from vision.documents.sheets.plan_sheet import plan_drawing
from vision.documents.sheets.story import sheets_from
from vision.job.job import LevelReading
from vision.job.settings import SETTINGS as JOB
from vision.planning.setting_out.lines import same
from vision.planning.setting_out.readings import readings_to_take
from vision.planning.setting_out.running_marks import Offset, SettingOut, exact
from vision.planning.setting_out.supplies import carton_corners_m
from vision.planning.settings import SETTINGS

KEY_MM, BETWEEN_MM = 68.0, 5.0
"""Of what stands beside a plan: its width, and the air between."""


def setting_sheets(
    setting: SettingOut, paper: Paper, code: str, fraction: int = 16, system: System | None = None
) -> list[Picture]:
    """Draw every sheet.

    `code` tells which job file the sheets are of, so that old and new ones are not mixed;
    `fraction` is the finest of an inch, `system` the units, those of the job if not said.
    """
    book = Book(paper=paper, job=setting.job.name, code=code)
    own: System = "ft" if setting.job.lengths.imperial else "m"
    figures = Figures(fraction=fraction, system=system or own)
    width = book.width - KEY_MM - BETWEEN_MM
    sheets = sheets_from(
        "setting.xml.j2",
        book.width,
        setting=setting,
        settings=SETTINGS,
        figures=figures,
        words=sheet_words,
        sketches=sketches,
        key_mm=KEY_MM,
        plan=plan_drawing(setting, figures, (width, book.height - 0.1)),
        dimensions=Dimensions.of(setting, figures, (width, book.next_height - 0.1)),
        supplies=sheet_words.Supplies.of(setting),
        readings=readings_to_take(setting.job),
        tool_sigma_deg=JOB.tool_sigma_deg,
        right_angle_rad=math.pi / 2,
        badge=badge,
        badge_text=badge_text,
        carton_corners=lambda mark: carton_corners_m(setting.job, mark),
        levels=any(isinstance(each, LevelReading) for each in setting.job.readings),
        exact=exact,
        same=same,
        several=several,
        place=lambda at_m: figures.where(Offset.of(at_m)),
    )
    return book.pages(sheets)
