"""Plans: what a layout would reach before any tape is laid, and layouts proposed for a vehicle.

Nothing here looks at a picture. A layout's views, centre sigmas and the joint adjustment's
covariance follow from the job alone, with aims, lenses and places as intended; the lens is that of
the checker, so a plan says nothing about lenses that differ from what is stated by more than that.
"""

from vision.planning.additions import best_additions
from vision.planning.aim_choice import aim_choices
from vision.planning.plan import (
    Assessment,
    Prediction,
)


def assess(prediction: Prediction) -> Assessment:
    """A prediction with the best additions, and the best aim of each camera that can be turned."""
    return Assessment(
        prediction=prediction,
        advice=best_additions(prediction),
        aims=aim_choices(prediction),
    )
