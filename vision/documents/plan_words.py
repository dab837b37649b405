"""What a plan says, in sentences made of codes and figures."""

from __future__ import annotations

from functools import cache

import numpy as np
from jinja2 import Environment

from vision.documents.check_words.saying import Say, degrees, templates_of, words_of
from vision.inspection.verdict.rule import COVERAGE
from vision.planning.assessment import Limit
from vision.units.length_words import METRIC, LengthWords
from vision.views.settings import SETTINGS


def say_plan(lengths: LengthWords = METRIC) -> Say:
    """What makes the sentence of any reason that a plan may carry."""
    return Say(lengths=lengths, templates=_templates())


@cache
def _templates() -> Environment:
    return templates_of(words_of("plan_words.toml"), nearest_reach_m=SETTINGS.seams.nearest_reach_m)


def sigma_words(limit: Limit, sigma: float, lengths: LengthWords) -> str:
    """A sigma of a limit, to compare with another one."""
    return f"{np.degrees(sigma):.2f} degrees" if limit.angle else lengths.doubt(sigma, spec=".2f")


def limit_words(limit: Limit, say: Say) -> str:
    """A limit's two sigma against its tolerance."""
    if limit.angle:
        double, most = degrees(COVERAGE * limit.sigma), degrees(limit.tolerance)
    else:
        double = say.lengths.doubt(COVERAGE * limit.sigma)
        most = say.lengths.cm(limit.tolerance)
    return f"{say(limit.of)}: {double} of {most} ({limit.ratio:.0%})"
