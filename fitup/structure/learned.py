"""Corrections learned from earlier rounds, put into an influence.

Stiffness, bedding and expansion were put into the values of the job as it was read, and whatever
is computed from those holds them already. What is left: a jack whose scale is off moves its seat
by the factor times what it says; and a table of the engineer's, computed with the stiffnesses of
``seats.csv``, answers through softer or stiffer seats. With D the flexibility that the seats have
beyond those, moves x press the seats by D r and act as (I + D R)^-1 x.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fitup.frames import Array
from fitup.model import Influence, Job
from fitup.model.influence import Exact, Stay


def corrected(job: Job, influence: Influence) -> Influence:
    """Return the influence with the learned corrections that are not in the job's values.

    Parameters
    ----------
    job : Job
    influence : Influence
        As computed from the job, or as read from a table.
    """
    if not job.learned:
        return influence
    acts = np.diag(movement_factors(job, influence.seats))
    if influence.origin == "table":
        acts = pressed(influence.R, added_flexibility(job, influence.seats)) @ acts
    return replace(
        influence,
        A=influence.A @ acts,
        R=influence.R @ acts,
        forces=tuple(replace(force, row=force.row @ acts) for force in influence.forces),
        uncorrected=influence,
        exact=None if influence.exact is None else _Driven(influence.exact, np.diag(acts)),
    )


@dataclass(frozen=True, eq=False)
class _Driven:
    """A structure whose seats go ``factors`` (n,) times as far as their jacks say."""

    inner: Exact
    factors: Array

    @property
    def may_lift(self) -> frozenset[str]:
        """Seats that can only push."""
        return self.inner.may_lift

    def state(self, x: Array) -> tuple[Array, Array]:
        """Return the change of every check (m,) and reactions (n,) for moves as ordered."""
        return self.inner.state(self.factors * x)

    def about(self, x: Array) -> Influence:
        """Return the influence about moves x (n,) as ordered."""
        there = self.inner.about(self.factors * x)
        return replace(
            there,
            A=there.A * self.factors,
            R=there.R * self.factors,
            forces=tuple(replace(f, row=f.row * self.factors) for f in there.forces),
            uncorrected=there,
            exact=self,
        )

    def stays(self, x: Array) -> tuple[Stay, ...]:
        """Return what keeps the same seats carrying as at moves x (n,) as ordered."""
        stays = self.inner.stays(self.factors * x)
        return tuple(replace(s, row=s.row * self.factors) for s in stays)


def pressed(R: Array, flexibility: Array) -> Array:
    """Return how moves act through seats with added flexibility, (I + D R)^-1.

    Parameters
    ----------
    R : Array (n, n)
        Change of reactions for a unit move of each seat, without the added flexibility [N/m].
    flexibility : Array (n,)
        Added at each seat, the diagonal of D [m/N]; negative where the seat is stiffer.

    Returns
    -------
    Array (n, n)
        Column j is how far every seat acts as moved for a unit move of seat j.
    """
    return np.linalg.inv(np.eye(len(R)) + flexibility[:, None] * R)


def movement_factors(job: Job, seats: tuple[str, ...]) -> Array:
    """Return how far each seat goes for a unit on its jack's scale; 1 for packs.

    Parameters
    ----------
    job : Job
    seats : tuple of str
        Ids of the seats, in the order of the result.

    Returns
    -------
    Array (n,)
        1 also where no factor has been learned.
    """
    factor = {one.at: one.value for one in job.learned if one.what == "movement"}
    return np.array([factor.get(name, 1.0) for name in seats])


def added_flexibility(job: Job, seats: tuple[str, ...]) -> Array:
    """Return the flexibility that learned stiffnesses add to those of seats.csv.

    Parameters
    ----------
    job : Job
        Its seats have the learned stiffnesses already.
    seats : tuple of str
        Ids of the seats, in the order of the result.

    Returns
    -------
    Array (n,)
        [m/N]; negative where a seat is stiffer than seats.csv says.
    """
    factor = {one.at: one.value for one in job.learned if one.what == "stiffness"}
    return np.array([(1.0 - factor.get(name, 1.0)) / job.seats[name].stiffness for name in seats])
