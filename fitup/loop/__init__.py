"""The re-survey after moves closes the loop: compare, learn, carry over to the next job."""

from fitup.loop.compare import Comparison, compare
from fitup.loop.learn import Lesson, learn
from fitup.loop.predict import Prediction, Round, as_assumed, one_round, predict

__all__ = [
    "Comparison",
    "Lesson",
    "Prediction",
    "Round",
    "as_assumed",
    "compare",
    "learn",
    "one_round",
    "predict",
]
