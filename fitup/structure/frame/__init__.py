"""A frame of beams, springs and rigid bodies: one factorisation, a right-hand side a seat."""

from fitup.structure.frame.influence import (
    frame_of,
    lifting_moved,
    lifting_of,
    solve_job,
    solve_moved,
)
from fitup.structure.frame.lifting import Lifting

__all__ = ["Lifting", "frame_of", "lifting_moved", "lifting_of", "solve_job", "solve_moved"]
