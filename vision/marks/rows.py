"""Pictures whose odd rows are shifted against the even ones, made fit to be measured."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from vision.marks.fields import between, field_shift
from vision.marks.picture import Picture, Rows


def steadied(picture: Picture) -> Picture:
    """Give the picture as it is, or with its odd rows put right and `rows` saying how.

    Its further pictures likewise, each by itself.

    Odd rows that are all shifted alike are put back, and the whole picture is measured. Where they
    show another view only the even rows are measured; in the picture to look at the odd ones are
    then drawn from their neighbours, and say nothing of their own.
    """
    if picture.shots:
        picture = replace(picture, shots=tuple(steadied(each) for each in picture.shots))
    shift = field_shift(picture.grey)
    if not shift.combed:
        return picture
    bgr = np.array(picture.bgr)
    if shift.alike:
        back = np.array([[1, 0, shift.terms_px[0, 0]], [0, 1, 0]])
        odd = bgr[1::2]
        bgr[1::2] = cv2.warpAffine(
            odd,
            back,
            (odd.shape[1], odd.shape[0]),
            flags=cv2.INTER_LANCZOS4 | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
    else:
        even = bgr[::2].astype(np.float32)
        drawn = np.concatenate([between(even), even[-1:]])[: len(bgr) // 2]
        bgr[1::2] = np.clip(np.round(drawn), 0, 255)
    rows: Rows = "registered" if shift.alike else "even"
    return replace(picture, bgr=bgr, rows=rows, rows_apart_px=max(shift.apart_px, shift.torn_px))
