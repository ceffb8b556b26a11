"""Hard limits about a certified plan: the room it leaves, and what a move takes of it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from fitup.certify.facts import Certificate
from fitup.frames import Array
from fitup.model import CheckState, Influence
from fitup.pages.review_facts import ReviewLimit, UnitName
from fitup.problem import problem as fit

#: over a limit by no more than this is rounding [N, m, rad]: that of the certificate
_CARE_FORCE: Final = 1.0
_CARE: Final = 1e-7
#: kinds whose value the certificate has recomputed as a reaction, and with which sign
_REACTIONS: Final = {"reaction_most": 1.0, "jack": 1.0, "reaction_least": -1.0}

_UNITS: Final[dict[str, UnitName]] = {"length": "move", "slope": "slope", "force": "force"}
_UNIT_OF: Final[dict[str, UnitName]] = {
    "force": "force",
    "moment": "moment",
    "stress": "stress",
}


def limits_about(
    state: CheckState, about: Influence, problem: fit.FitProblem, certificate: Certificate
) -> tuple[ReviewLimit, ...]:
    """Return every hard limit, its room taken from the certificate where it has recomputed it.

    Parameters
    ----------
    state : CheckState
    about : Influence
        About the plan.
    problem : FitProblem
        Built from ``about``.
    certificate : Certificate
    """
    return tuple(_rows(state, about, problem, certificate))


def _rows(
    state: CheckState, about: Influence, problem: fit.FitProblem, certificate: Certificate
) -> Iterator[ReviewLimit]:
    x = np.array([fact.setting for fact in certificate.seats])
    corrections = _Corrections(state, about, certificate, x)
    for row, bound, limit in zip(problem.L, problem.b, problem.limits, strict=True):
        off, unit = corrections.of(limit, row)
        care = _CARE if unit in {"move", "slope"} else _CARE_FORCE
        over = float(row @ x) - float(bound) + off
        yield ReviewLimit(limit.text, unit, over, care, tuple(float(v) for v in row))


class _Corrections:
    """How far the certificate's values are off the influence's, limit by limit, with the unit."""

    def __init__(
        self, state: CheckState, about: Influence, certificate: Certificate, x: Array
    ) -> None:
        change, reactions = about.straight(x)
        self.seats = {
            f.seat: f.reaction_after - float(r)
            for f, r in zip(certificate.seats, reactions, strict=True)
        }
        linear = state.values + change
        self.checks = {
            f.id: f.after - float(v) for f, v in zip(certificate.checks, linear, strict=True)
        }
        self.rows = {c.id: about.A[i] for i, c in enumerate(state.checks)}
        self.units = {c.id: _UNITS[c.kind] for c in state.checks}
        self.gaps = {c.pair: c.id for c in state.checks if c.quantity == "gap"}
        self.opens = {kept.seat: not kept.carries for kept in about.stays}

    def of(self, limit: fit.LimitRow, row: Array) -> tuple[float, UnitName]:
        """Return what is added to the row of a limit, and its unit."""
        subject = limit.subject
        if limit.kind in _REACTIONS:
            return _REACTIONS[limit.kind] * self.seats[subject], "force"
        if limit.kind in {"leave", "locked"}:
            # a row limits its check from above or from below
            side = 1.0 if float(row @ self.rows[subject]) >= 0.0 else -1.0
            return side * self.checks[subject], self.units[subject]
        if limit.kind == "opening":
            return -self.checks[self.gaps[subject]], "move"
        if limit.kind == "contact":
            return 0.0, "move" if self.opens[subject] else "force"
        return 0.0, _UNIT_OF.get(limit.kind, "move")
