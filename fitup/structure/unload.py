"""Seats the deck may leave on the way: contact solved again where one would have to pull.

Seats are two-way in the influence. Where a seat that may be unloaded would pull, the deck leaves
it instead by an opening: r = r0 + R (x + o), and at those seats r >= 0, o >= 0, r o = 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.model import Influence, Job
from fitup.structure.contact import complementary

#: a seat that pulls less than this carries nothing [N]
_CARE = 1e-3


@dataclass(frozen=True, eq=False)
class Unload:
    """The seats of an influence that the deck may leave."""

    R: Array
    r0: Array
    one_way: Array
    """Numbers of the seats that may be unloaded (k,)."""

    @classmethod
    def of(cls, job: Job, influence: Influence) -> Unload | None:
        """Return what a job allows, or None where no seat may be unloaded.

        Parameters
        ----------
        job : Job
            Says of each seat whether it may be unloaded.
        influence : Influence
            With every seat two-way.
        """
        names = enumerate(influence.seats)
        one_way = np.array([i for i, s in names if job.seats[s].may_unload], dtype=int)
        return cls(influence.R, influence.r0, one_way) if one_way.size else None

    def openings(self, x: Array) -> Array:
        """Return by how much the deck leaves every seat (n,) [m] at settings x (n,).

        Raises
        ------
        NoContact
            If the seats that carry cannot hold the deck.
        """
        own = self.one_way
        load = (self.r0 + self.R @ x)[own]
        result = np.zeros(len(x))
        if load.min() < -_CARE:
            result[own] = complementary(self.R[np.ix_(own, own)], load)
        return result
