"""Checks, reactions and forces of a frame whose seats may lift off, and their slopes.

Everything is linear in the *effective* moves of the seats, move plus opening
(:mod:`fitup.structure.contact`); only the openings are not linear in the moves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.model import ForceRow, Influence
from fitup.model.influence import Stay
from fitup.structure.contact import Contact, Touch


@dataclass(frozen=True, eq=False)
class Lifting:
    """A structure on seats that may lift off.

    Parameters
    ----------
    checks : tuple of str
    contact : Contact
    A : Array (m, n)
        Change of every check for a unit effective move of every seat.
    forces : tuple of ForceRow
        With rows for unit effective moves.
    start : Array (n,)
        Effective moves in the state about which all this is linear; those of the surveyed state
        are the present openings [m].
    base : Array (m,), optional
        Change of every check from the survey to that state; None: it is the surveyed state.
    """

    checks: tuple[str, ...]
    contact: Contact
    A: Array
    forces: tuple[ForceRow, ...]
    start: Array
    base: Array | None = None

    def at(self, x: Array) -> tuple[Array, Touch]:
        """Return the change of every check (m,) from the survey, and what carries, for moves x.

        Raises
        ------
        NoContact
            If the seats cannot carry the structure.
        """
        touch = self.contact.at(x)
        change: Array = self.A @ (touch.effective - self.start)
        return change if self.base is None else change + self.base, touch

    @property
    def may_lift(self) -> frozenset[str]:
        """Seats that can only push."""
        both = zip(self.contact.seats, self.contact.one_way.tolist(), strict=True)
        return frozenset(name for name, one_way in both if one_way)

    def state(self, x: Array) -> tuple[Array, Array]:
        """Return the change of every check (m,) from the survey, and reactions (n,) [N]."""
        change, touch = self.at(x)
        return change, touch.reactions

    def about(self, x: Array) -> Influence:
        """Return the influence about moves x (n,), valid while the same seats carry as there."""
        change, touch = self.at(x)
        slope = self.contact.tangent(touch.carries)
        A, R = self.A @ slope, self.contact.R @ slope
        forces = tuple(self._force(f, slope, touch, x) for f in self.forces)
        return Influence(
            self.checks,
            self.contact.seats,
            A,
            R,
            touch.reactions - R @ x,
            "frame",
            forces,
            shift=change - A @ x if x.any() or self.base is not None else None,
            exact=self,
        )

    def stays(self, x: Array) -> tuple[Stay, ...]:
        """Return what keeps the same seats carrying as at moves x (n,)."""
        touch = self.contact.at(x)
        slope = self.contact.tangent(touch.carries)
        R, opens = self.contact.R @ slope, slope - np.eye(len(x))
        result = []
        for i, seat in enumerate(self.contact.seats):
            if not self.contact.one_way[i]:
                continue
            carries = bool(touch.carries[i])
            row = R[i] if carries else opens[i]
            there = touch.reactions[i] if carries else touch.openings[i]
            result.append(Stay(seat, carries, float(there - row @ x), row))
        return tuple(result)

    def _force(self, force: ForceRow, slope: Array, touch: Touch, x: Array) -> ForceRow:
        row = force.row @ slope
        there = force.now + float(force.row @ (touch.effective - self.start))
        return ForceRow(
            force.id,
            force.kind,
            force.words,
            there - float(row @ x),
            row,
            force.least,
            force.most,
        )
