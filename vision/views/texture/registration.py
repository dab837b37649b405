"""How far apart the ground's own texture lies in two neighbouring views, without any mark.

Both pictures are drawn onto the ground along a seam through their plan fits, as a display would
draw them. Paint, cracks, stains and grain then lie apart by the seam gap; the shift that brings
them together again is that gap, found without a single mark. The tape is left out on purpose, and
so is what stands up or is hidden by the body: they would bring the marks back in, or lie.

The shift is a vector at the seam's middle and a slope along it. It starts at the peak of the
masked correlation (Padfield, "Masked object registration in the Fourier domain", IEEE TIP 21(5),
2012) and is refined by Gauss-Newton steps on the difference of the two drawings, with the mean of
both gradients so that neither view is the reference. Its covariance is a delete-one-block
jackknife over the ground (Kuensch, "The jackknife and the bootstrap for general stationary
observations", Annals of Statistics 17(3), 1989), and no smaller than the peak's curvature allows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from vision.adjustment.adjusted import AdjustedStrip
from vision.adjustment.plan_fit import PlanFit
from vision.job.job import Job
from vision.marks.picture import Picture
from vision.units.reason import Reason
from vision.views.ground import ground_map
from vision.views.seams.gaps import SeamGap
from vision.views.settings import SETTINGS
from vision.views.texture.match import coarse, refined
from vision.views.texture.rectified import (
    band_of,
    blur_m2,
    grey_of,
    high_passed,
    inside,
    rectified,
    unfit,
)
from vision.views.texture.shift import NoTexture, TextureShift

TUNED = SETTINGS.texture


def texture_shift(
    job: Job,
    gap: SeamGap,
    plan_fits: Mapping[str, PlanFit],
    pictures: Mapping[str, Picture],
    laid: Sequence[AdjustedStrip] = (),
) -> TextureShift | NoTexture:
    """Measure the shift of the ground's texture between the two views of a seam.

    `laid`: where the strips were found to lie, so that tape laid wrong is left out as well.
    """
    band = band_of(gap)
    views = [ground_map(plan_fits[name].pose, plan_fits[name].lens) for name in gap.between]
    spread = [blur_m2(view, band) for view in views]
    if not all(np.trace(each) < TUNED.coarsest_m**2 for each in spread):
        return NoTexture(reason=Reason("no-ground", lacking="middle"))
    drawn, masks = [], []
    for name, view in zip(gap.between, views, strict=True):
        picture, shown = rectified(pictures[name].bgr, view, band.points_m)
        drawn.append(np.log(np.maximum(grey_of(picture), 2.0)))
        masks.append(shown & ~unfit(job, laid, plan_fits[name], band))
    if float((masks[0] & masks[1]).sum()) * TUNED.step_m**2 < TUNED.least_ground_m2:
        return NoTexture(reason=Reason("no-ground", lacking="beside-tape"))
    fields = [
        high_passed(drawn[0], masks[0], spread[1]),
        high_passed(drawn[1], masks[1], spread[0]),
    ]
    start = coarse(fields, masks)
    if isinstance(start, NoTexture):
        return start
    clear = [inside(mask) for mask in masks]
    return refined(band, fields, clear, start, spread)
