"""What may be wrong with a prediction, each assumption as a number and a column.

With R the reactions' answer to moves and D the flexibility that seats have beyond the assumed,
moves x that arrive at the seats act on the deck as (I + D R)^-1 x. A pack that beds more, a seat
that sank and a jack whose scale is off change the x that arrives; gauges scale the loads read;
wrong expansion or steel temperature change what the surveys say at the reference temperature.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from fitup.checks.thermal import thermal_change
from fitup.frames import Array
from fitup.loop.predict import Round
from fitup.model import STEEL, Job, Uncertainties
from fitup.structure.learned import pressed

Kind = Literal["stiffness", "bedding", "settlement", "movement", "gauge", "expansion", "steel"]
#: in the order in which they are stated; those that stay true for later rounds first
KINDS: Final[tuple[Kind, ...]] = (
    "stiffness",
    "bedding",
    "movement",
    "expansion",
    "settlement",
    "gauge",
    "steel",
)
#: kinds of which all places may be wrong alike
TOGETHER: Final[frozenset[Kind]] = frozenset({"stiffness", "bedding", "movement", "steel"})


#: taken where the job's [uncertainty] does not say; common practice, no source
USUAL: Final = Uncertainties(stiffness=0.3, bedding=0.0005, expansion=0.1, steel=1.0)


@dataclass(frozen=True, slots=True)
class Parameter:
    """One number that is zero if the assumption holds.

    Stiffness: logarithm of the true over the assumed; bedding and settlement: metres more than
    assumed; movement, gauge, expansion: share by which the scale is off; steel: kelvin by which
    a segment was warmer at the new survey than written down.
    """

    kind: Kind
    at: str
    """Seat, segment, or empty for all gauges and all steel."""


@dataclass(frozen=True, eq=False)
class Assumptions:
    """All parameters of a round, their prior covariance (p, p), and what they would do."""

    round: Round
    parameters: tuple[Parameter, ...]
    prior: Array
    warm: Array
    """What the steel of both surveys differs in, as it went into the checks (m,)."""
    steel: Array
    """What one kelvin of each ``steel`` parameter's segment does to every check (m, q)."""

    def of(self, kind: Kind) -> list[int]:
        """Return the places of one kind among the parameters."""
        return [i for i, p in enumerate(self.parameters) if p.kind == kind]

    def _by_seat(self, theta: Array, kind: Kind) -> Array:
        """Spread the parameters of one kind over the seats (n,), zero where there is none."""
        full = np.zeros(len(self.round.moves))
        index = {name: i for i, name in enumerate(self.round.influence.seats)}
        for i in self.of(kind):
            full[index[self.parameters[i].at]] = theta[i]
        return full

    def _acting(self, theta: Array) -> tuple[Array, Array, Array]:
        """Moves that act (n,), the matrix that made them from those that arrive, flexibility."""
        one = self.round
        stiffness = np.array([one.job.seats[s].stiffness for s in one.influence.seats])
        softer = np.exp(-self._by_seat(theta, "stiffness")) / stiffness
        arrives = one.moves * (1.0 + self._by_seat(theta, "movement"))
        # only a pack that was built anew beds
        arrives = arrives - (one.moves != 0.0) * self._by_seat(theta, "bedding")
        arrives = arrives - self._by_seat(theta, "settlement")
        through = pressed(one.influence.R, softer - 1.0 / stiffness)
        return through @ arrives, through, softer

    def _gauge(self, theta: Array) -> float:
        own = self.of("gauge")
        return 1.0 + (float(theta[own[0]]) if own else 0.0)

    def predicted(self, theta: Array) -> Array:
        """Change (m + k,) of checks and measured reactions if the parameters were ``theta``."""
        acts, _, _ = self._acting(theta)
        result = self.round.rows @ acts
        m = len(self.warm)
        result[m:] *= self._gauge(theta)
        for i in self.of("expansion"):
            result[:m] += theta[i] * self.warm
        result[:m] += self.steel @ theta[self.of("steel")]
        return result

    def columns(self, theta: Array) -> Array:
        """Derivative (m + k, p) of :meth:`predicted`."""
        acts, through, softer = self._acting(theta)
        one, m = self.round, len(self.warm)
        rows = one.rows.copy()
        rows[m:] *= self._gauge(theta)
        answer = rows @ through
        force = one.influence.R @ acts
        index = {name: i for i, name in enumerate(one.influence.seats)}
        result = np.zeros((len(rows), len(self.parameters)))
        for i, p in enumerate(self.parameters):
            seat = index.get(p.at, 0)
            if p.kind == "stiffness":
                result[:, i] = answer[:, seat] * softer[seat] * force[seat]
            elif p.kind == "settlement" or (p.kind == "bedding" and one.moves[seat] != 0.0):
                result[:, i] = -answer[:, seat]
            elif p.kind == "movement":
                result[:, i] = answer[:, seat] * one.moves[seat]
            elif p.kind == "gauge":
                result[m:, i] = one.rows[m:] @ acts
            elif p.kind == "expansion":
                result[:m, i] = self.warm
        result[:m, self.of("steel")] = self.steel
        return result


def assumptions_of(one: Round) -> Assumptions:
    """Return everything that may be wrong in a round, with how far the job says it may be.

    What an earlier round taught is the prior of this one, correlations included; where nothing
    was taught, half of a kind's variance is common to all its seats and half each one's own.
    """
    parameters = tuple(p for kind in KINDS for p in _parameters(one, kind))
    prior = _prior(one.job, parameters)
    # what an earlier round left no doubt about is no parameter
    open_ = [i for i in range(len(parameters)) if prior[i, i] > 0.0]
    parameters = tuple(parameters[i] for i in open_)
    warm_before, warm_after = one.before.at_survey, one.after.at_survey
    m = len(one.before.values)
    warm = np.zeros(m)
    if warm_before is not None and warm_after is not None:
        warm = warm_after - warm_before
    columns = [_kelvin(one, p.at) for p in parameters if p.kind == "steel"]
    steel = np.array(columns).T if columns else np.zeros((m, 0))
    return Assumptions(one, parameters, prior[np.ix_(open_, open_)], warm, steel)


def _parameters(one: Round, kind: Kind) -> list[Parameter]:
    """Return the parameters of one kind that the job does not take as exact."""
    job = one.job
    if _spread(job, kind) == 0.0:
        return []
    if kind == "gauge":
        return [Parameter(kind, "")] if len(one.loaded) else []
    if kind == "expansion":
        grows = any(s.expansion for s in job.segments.values())
        return [Parameter(kind, "")] if grows else []
    if kind == "steel":
        return [Parameter(kind, s.id) for s in job.segments.values() if s.expansion]
    held = {"bedding": ("packs",), "movement": ("nut",)}.get(kind, ("packs", "nut"))
    return [Parameter(kind, n) for n in one.influence.seats if job.seats[n].held_by in held]


def _spread(job: Job, kind: Kind) -> float:
    """Return the standard uncertainty of an assumption of one kind beforehand."""
    if kind in ("settlement", "movement", "gauge"):
        return float(getattr(job.learning, kind))
    return float(getattr(job.uncertainties, kind) or getattr(USUAL, kind))


def usual(job: Job, kinds: Iterable[Kind]) -> tuple[Kind, ...]:
    """Return those kinds for which the job states no uncertainty, so that the usual is taken.

    Parameters
    ----------
    job : Job
    kinds : iterable of Kind
        Settlement, movement and gauge never come back: ``job.learning`` holds theirs.
    """
    stated = ("settlement", "movement", "gauge")
    return tuple(k for k in kinds if k not in stated and not getattr(job.uncertainties, k))


def _kelvin(one: Round, segment: str) -> Array:
    warmer = {name: float(name == segment) for name in one.job.segments}
    return np.array([thermal_change(one.job, c, warmer) for c in one.before.checks])


def _prior(job: Job, parameters: tuple[Parameter, ...]) -> Array:
    prior = np.zeros((len(parameters), len(parameters)))
    taught = {(one.what, one.at) for one in job.learned}
    for i, a in enumerate(parameters):
        for j, b in enumerate(parameters):
            if a.kind == b.kind and (i == j or a.kind in TOGETHER):
                alone = (a.kind, a.at) in taught or (b.kind, b.at) in taught
                share = 1.0 if i == j else 0.0 if alone else 0.5
                prior[i, j] = share * _spread(job, a.kind) ** 2
    place = {(p.kind, p.at or STEEL): i for i, p in enumerate(parameters)}
    for row, one in enumerate(job.learned):
        if (one.what, one.at) not in place:
            continue
        i = place[one.what, one.at]
        prior[i, :] = prior[:, i] = 0.0
        prior[i, i] = one.uncertainty**2
        for other, r in zip(job.learned[:row], one.correlations, strict=True):
            if (other.what, other.at) in place:
                j = place[other.what, other.at]
                prior[i, j] = prior[j, i] = r * one.uncertainty * other.uncertainty
    return prior
