"""Verdicts: what to keep, re-aim, re-shoot, re-measure, and what is not judged."""

from vision.verdict.cameras import (
    CameraVerdict,
    Overlap,
    aim_is_beyond,
    camera_verdict,
    unidentified_camera,
)
from vision.verdict.causes import causes, unobserved
from vision.verdict.jobs import JobVerdict, exit_code, job_verdict
from vision.verdict.layings import LayingVerdict, mark_verdict, strip_verdict
from vision.verdict.pictures import Answer, PictureVerdict, judge_picture
from vision.verdict.rule import (
    Action,
    Judgement,
    Reason,
    judge,
    judge_minimum,
    length_and_sigma,
    worst_of,
)
from vision.verdict.seam_verdicts import SeamVerdict, seam_verdict
from vision.verdict.standing import FaultSize, Standing, amount_text, doubts, open_words, standings
from vision.verdict.strays import Stray, strays, with_strays

__all__ = [
    "Action",
    "Answer",
    "CameraVerdict",
    "FaultSize",
    "JobVerdict",
    "Judgement",
    "LayingVerdict",
    "Overlap",
    "PictureVerdict",
    "Reason",
    "SeamVerdict",
    "Standing",
    "Stray",
    "aim_is_beyond",
    "amount_text",
    "camera_verdict",
    "causes",
    "doubts",
    "exit_code",
    "job_verdict",
    "judge",
    "judge_minimum",
    "judge_picture",
    "length_and_sigma",
    "mark_verdict",
    "open_words",
    "seam_verdict",
    "standings",
    "strays",
    "strip_verdict",
    "unidentified_camera",
    "unobserved",
    "with_strays",
    "worst_of",
]
