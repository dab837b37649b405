"""Words for why a figure of a result is null."""

from __future__ import annotations

from vision.documents.check_words.finding import TEXTURES
from vision.documents.check_words.saying import Say, Words, plain

MISSING: dict[str, Words] = {
    "not-said": plain("the job does not say it"),
    "no-height": plain("the job states none"),
    "no-variance-factor": plain("there was no joint adjustment, or it had no observation to spare"),
    "no-plan-fit": plain("the camera has no plan fit; its reasons say why"),
    "no-joint": plain("the camera took no part in the joint adjustment; its reasons say why"),
    "no-blur": plain("no mark was fitted, so no blur is known"),
    "no-ground-map": plain("the ground map could not be made"),
    "few-edges": plain("the picture has too few edges to tell"),
    "few-clear-marks": plain(
        "drops are looked for at the marks, and too few of them are clear to tell"
    ),
    "mark-unmeasured": lambda a, _: f"the mark is {a['status']}",
    "no-fit-to-mark": plain("there is no plan fit"),
    "ray-misses": plain("the ray through the mark does not reach its height plane"),
    "strip-not-seen": plain("no fitted camera shows the strip"),
    "mark-not-seen": plain("no fitted camera shows the mark"),
    "no-gap": plain("both cameras need a plan fit and a place in the joint adjustment"),
    "not-in-both": plain("no point of the seam lies in both pictures"),
    "seam-too-near": plain("no point of the seam is far enough from the body"),
    "no-two-views": plain("there are not two fitted views to compare"),
    # The codes of texture are its own: 'ambiguous' is another thing of a picture.
    "no-texture": lambda a, say: Say(lengths=say.lengths, table=TEXTURES)(a["why"]),
    "not-shown": plain("nothing measured shows it"),
}
