"""What a person should know of the files that pictures were made of."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

import numpy as np

from vision.inspection.settings import SETTINGS
from vision.marks.picture import Picture
from vision.units.reason import Reason


def source_notes(pictures: Iterable[Picture]) -> tuple[Reason, ...]:
    """Which pictures a tag had turned or a display drew over, and whether they lie far apart."""
    pictures = tuple(pictures)
    turned = [
        Reason("picture-turned", file=source.file, turned=source.turned)
        for picture in pictures
        for source in picture.sources
        if source.turned != "not"
    ]
    drawn = [each for each in pictures if each.covered is not None]
    over = []
    if drawn:
        share = float(
            np.mean([np.mean(each.covered) for each in drawn if each.covered is not None])
        )
        cameras = tuple(each.name for each in drawn)
        over = [Reason("pictures-drawn-over", cameras=cameras, share=share)]
    return (*dict.fromkeys(turned), *over, *_taken_apart(pictures))


def _taken_apart(pictures: Iterable[Picture]) -> tuple[Reason, ...]:
    """Pictures that cameras noted to have been taken hours apart; times of files tell nothing."""
    taken = [
        (datetime.fromisoformat(source.time), source.file)
        for picture in pictures
        for source in picture.sources
        if source.time is not None
    ]
    if not all(when.tzinfo for when, _ in taken):
        # Clocks that do not say where they are set: taken for clocks of one place.
        taken = [(when.replace(tzinfo=None), file) for when, file in taken]
    if len(taken) < 2:
        return ()
    (first, first_file), (last, last_file) = min(taken), max(taken)
    apart_s = (last - first).total_seconds()
    if apart_s <= SETTINGS.sources.apart_s:
        return ()
    return (Reason("taken-apart", first=first_file, last=last_file, apart_s=apart_s),)
