"""What is said while a job is set up, in lines of a terminal's width."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from vision.camera.lens_prior import USUAL_SIZE_PX
from vision.documents.cautions import CAUTION
from vision.documents.check_words.saying import several
from vision.documents.setup.question import Question, drawing_of
from vision.documents.setup.setup import Setup
from vision.documents.templates import page_templates
from vision.job.picture_names import camera_of_file
from vision.marks.sources.found import FoundPicture
from vision.planning.proposal import Proposal
from vision.units.errors import Fault

WIDTH = 78
GREETING = (
    "Answer each question with a tape in your hand; Enter takes what stands in [brackets]. `back` "
    "goes back to the question before, `?` shows the drawing again, Ctrl-C stops and keeps what "
    "was answered."
)


def greeting() -> str:
    """What stands before the first question."""
    return _wrapped(GREETING)


def question_text(question: Question, number: int, count: int, offered: str | None) -> str:
    """A question with what Enter takes; `offered` stands for its default."""
    lines = ["", _wrapped(f"{number}/{count}  {question.ask}")]
    if offered:
        lines.append(f"[{offered}] as you had it")
    elif question.default:
        lines.append(_wrapped(f"[{question.default}] {question.origin}"))
    elif question.left_open:
        lines.append(f"[Enter: {question.left_open}]")
    return "\n".join(lines)


def trouble_text(fault: Fault) -> str:
    """What is wrong with an answer."""
    where = f"{fault.key}: " if fault.file else ""
    return _wrapped(f"{where}found {fault.found}; expected {fault.expected}; {fault.next_step}")


def drawing_text(question: Question) -> str:
    """The drawing, between empty lines."""
    drawn = drawing_of(question)
    return f"\n{drawn}\n" if drawn else "no drawing belongs to this one"


def pictures_text(found: Sequence[FoundPicture], cameras: Sequence[str]) -> str:
    """Each picture that is there, its size, and whose it is by its name."""
    lines = []
    for each in found:
        owner = camera_of_file(each.file, cameras)
        if each.fault is not None or each.size_px is None:
            problem = each.fault.found if each.fault else "no picture"
            step = each.fault.next_step if each.fault else ""
            lines.append(_wrapped(f"{each.file}: {problem}; {step}"))
            continue
        width, height = each.size_px
        said = f"{each.file}: {width} x {height} px, {owner or 'no camera by its name'}"
        if each.turned != "not":
            said += f"; turned as it notes ({each.turned})"
        if height > width:
            said += "; upright, which is rare for a camera on a vehicle: is it a photo of a screen?"
        lines.append(_wrapped(said))
    sizes = {each.size_px for each in found if each.size_px}
    if len(sizes) > 1:
        lines.append(_wrapped("They differ in size: save all at the cameras' own size."))
    return "\n".join(lines)


def size_of(found: Sequence[FoundPicture]) -> tuple[int, int]:
    """The size that most of the pictures have, the usual one where there is none."""
    sizes = Counter(each.size_px for each in found if each.size_px)
    return next((size for size, _ in sizes.most_common(1) if size), USUAL_SIZE_PX)


def done_text(
    setup: Setup, proposal: Proposal, folder: Path, pages: tuple[int, int], missing: Sequence[str]
) -> str:
    """What was written, what it takes to print and to lay, and what comes next.

    `pages` are those of the marks and of the sheets; `missing` the cameras without a picture.
    """
    job = proposal.job
    text = page_templates("vision.documents.setup", escaped=False)
    filled = text.get_template("done.txt.j2").render(
        kind=several(proposal.choice.size.kind),
        marks=sum(len(strip.at_m) for strip in job.strips),
        strips=len(job.strips),
        raised=job.marks,
        tape_m=sum(strip.length_m for strip in job.strips),
        write=job.lengths,
        setup=setup,
        minutes=5 * round(proposal.minutes / 5),
        mark_pages=pages[0],
        sheet_pages=pages[1],
        folder=folder,
        missing=missing,
        caution=CAUTION,
    )
    # A command is copied whole: it is indented, and stays on its line.
    return "\n".join(
        _wrapped(line) if len(line) > WIDTH and not line.startswith("  ") else line
        for line in filled.splitlines()
    )


def _wrapped(text: str) -> str:
    return textwrap.fill(text, WIDTH, break_long_words=False, break_on_hyphens=False)
