"""The least number of stages: which groups move when, and how far, as an exact problem."""

from fitup.sequence.bounds import Bounds, Shares
from fitup.sequence.course import Course, Move, Outcome, State
from fitup.sequence.search import find_order

__all__ = ["Bounds", "Course", "Move", "Outcome", "Shares", "State", "find_order"]
