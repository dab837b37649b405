"""All setting-out sheets of a job, in the order in which they are used."""

from __future__ import annotations

from vision.documents.sheets.book import Book
from vision.documents.sheets.camera_sheet import camera_sheet
from vision.documents.sheets.dimension_sheet import dimension_sheet
from vision.documents.sheets.drawing import Picture
from vision.documents.sheets.figures import Figures
from vision.documents.sheets.lines_sheet import lines_sheet, square_sheet
from vision.documents.sheets.paper import Paper
from vision.documents.sheets.plan_sheet import plan_sheet
from vision.documents.sheets.reading_sheet import reading_sheet
from vision.documents.sheets.strip_sheet import strip_sheet
from vision.documents.sheets.work_sheet import work_sheets
from vision.planning.setting_out.running_marks import SettingOut


def setting_sheets(
    setting: SettingOut, paper: Paper, code: str, fraction: int = 16
) -> list[Picture]:
    """Draw every sheet.

    `code` tells which job file the sheets are of, so that old and new ones are not mixed;
    `fraction` is the finest of an inch.
    """
    book = Book(paper=paper, job=setting.job.name, code=code)
    figures = Figures(fraction=fraction)
    return book.pages(
        [
            plan_sheet(book, setting, figures),
            dimension_sheet(book, setting, figures),
            *work_sheets(book, setting, figures),
            lines_sheet(book, setting, figures),
            *square_sheet(book, setting, figures),
            *(
                strip_sheet(book, setting, figures, index, line)
                for index, line in enumerate(setting.strips)
            ),
            *reading_sheet(book, setting, figures),
            camera_sheet(book, setting, figures),
        ]
    )
