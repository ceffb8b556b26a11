"""From coordinate lists to poses: read, check for blunders, bring to the reference, fit."""

from fitup.survey.coordinates import read_coordinates
from fitup.survey.points import CoordinateList, Pose, Survey, SurveyedPoint
from fitup.survey.pose import fit_pose
from fitup.survey.reduce import read_survey, reduce_survey

__all__ = [
    "CoordinateList",
    "Pose",
    "Survey",
    "SurveyedPoint",
    "fit_pose",
    "read_coordinates",
    "read_survey",
    "reduce_survey",
]
