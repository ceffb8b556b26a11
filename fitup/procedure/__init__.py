"""The order of work: fewest stages, what each crew does in them, and how every load gets there."""

from fitup.procedure.bounds import Bounds, Shares
from fitup.procedure.course import Course, Move, OrderFound, State
from fitup.procedure.search import find_order

__all__ = ["Bounds", "Course", "Move", "OrderFound", "Shares", "State", "find_order"]
