"""Whether the display may still hold a setting from before these pictures.

A check takes the display to be set by the pictures it is given. One that was set earlier draws the
ground by those of that day, and its seams are those that a comparison tells, not these.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime

from vision.job.job import Job
from vision.marks.picture import Picture
from vision.units.reason import Reason


def display_age(job: Job, pictures: Iterable[Picture]) -> tuple[Reason, ...]:
    """What to say of the day on which the display was set; nothing where the job states none.

    By the days that cameras noted in their pictures, never those of files, which copying resets.
    """
    set_on = job.display_set_on
    if set_on is None:
        return ()
    times = (source.time for picture in pictures for source in picture.sources)
    days = [day for day in map(_day, times) if day is not None]
    if not days:
        return (Reason("display-set-on", set_on=set_on),)
    if max(days) <= set_on:
        return ()
    return (Reason("display-set-before", set_on=set_on, taken=max(days)),)


def _day(time: str | None) -> date | None:
    return None if time is None else datetime.fromisoformat(time).date()
