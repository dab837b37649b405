"""Plans: what a layout would reach before any tape is laid, and layouts proposed for a vehicle.

Nothing here looks at a picture. A layout's views, centre sigmas and the joint adjustment's
covariance follow from the job alone, with aims, lenses and places as intended; the lens is that of
the checker, so a plan says nothing about lenses that differ from what is stated by more than that.
"""

from vision.planning.additions import best_additions
from vision.planning.aim_choice import aim_choices
from vision.planning.prediction import predict
from vision.planning.proposal import NoProposal, Proposal, propose
from vision.planning.values import (
    Advice,
    AimChoice,
    Assessment,
    Limit,
    PlannedView,
    PredictedCamera,
    PredictedLaying,
    PredictedSeam,
    Prediction,
    Problem,
    TriedAim,
)

__all__ = [
    "Advice",
    "AimChoice",
    "Assessment",
    "Limit",
    "NoProposal",
    "PlannedView",
    "PredictedCamera",
    "PredictedLaying",
    "PredictedSeam",
    "Prediction",
    "Problem",
    "Proposal",
    "TriedAim",
    "aim_choices",
    "assess",
    "best_additions",
    "predict",
    "propose",
]


def assess(prediction: Prediction) -> Assessment:
    """A prediction with the best additions, and the best aim of each camera that can be turned."""
    return Assessment(
        prediction=prediction,
        advice=best_additions(prediction),
        aims=aim_choices(prediction),
    )
