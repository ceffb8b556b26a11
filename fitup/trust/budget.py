"""Uncertainty through the whole chain, source by source, by linear propagation (GUM 5.1).

Each is one independent quantity: a coordinate of a target, a direct reading, a plate, a
bedding, the steel temperature of a segment. Its column says what one standard uncertainty of it
does to every check, so the covariance of the checks is the sum of the columns' outer products,
and shares of sources add up to one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitup.checks.readings import read_rows, reading_gain, used_readings
from fitup.checks.state import surveyed_checks
from fitup.checks.thermal import apart_rates, segment_rates
from fitup.frames import Array
from fitup.model import Check, CheckState, Influence, Job, Plan
from fitup.survey.points import Survey
from fitup.survey.steel import Steel
from fitup.trust.conformity import allowed_of
from fitup.trust.moved import (
    Effect,
    expansion_uncertainty,
    moves_of,
    seat_uncertainty,
    uncertainties_of_moves,
)
from fitup.trust.source import Source


@dataclass(frozen=True, eq=False)
class Budget:
    """Every check with its uncertainties.

    Parameters
    ----------
    checks : tuple of Check
        m checks.
    values : Array (m,)
        Expected values [m or m/m].
    sources : tuple of Source
    columns : Array (m, c)
        What one standard uncertainty of each independent quantity does to every check.
    owner : Array (c,) of whole numbers
        Which source each column belongs to.
    not_counted : tuple of str
        Uncertainties that were left out because the job does not state them.
    """

    checks: tuple[Check, ...]
    values: Array
    sources: tuple[Source, ...]
    columns: Array
    owner: Array
    not_counted: tuple[str, ...]

    @property
    def covariance(self) -> Array:
        """Covariance (m, m) of the checks."""
        return self.columns @ self.columns.T

    @property
    def u(self) -> Array:
        """Standard uncertainties (m,)."""
        return np.sqrt((self.columns**2).sum(axis=1))

    def of_source(self) -> Array:
        """Return the variance of every check (m, s) from each source."""
        result = np.zeros((len(self.checks), len(self.sources)))
        np.add.at(result.T, self.owner, (self.columns**2).T)
        return result

    def judged(self, joint: str | None = None) -> list[int]:
        """Return the numbers of the checks that are judged, of one joint or of all."""
        return [
            i
            for i, c in enumerate(self.checks)
            if allowed_of(c) is not None and joint in (None, c.joint)
        ]

    def scaled(self, source: int, factor: float) -> Budget:
        """Return the budget with one source's standard uncertainty times a factor.

        Parameters
        ----------
        source : int
            Its number in ``sources``.
        factor : float
            Multiplies every column of the source.
        """
        columns = self.columns * np.where(self.owner == source, factor, 1.0)
        return replace(self, columns=columns)


def make_budget(
    job: Job,
    survey: Survey,
    state: CheckState,
    influence: Influence,
    plan: Plan | None = None,
    *,
    effect: Effect | None = None,
    steel: Mapping[str, Steel] | None = None,
) -> Budget:
    """Return every check after a plan with all its uncertainties.

    Parameters
    ----------
    job, survey, state, influence
        As the plan was made from.
    plan : Plan, optional
        None: as surveyed.
    effect : callable, optional
        Returns the influence of a changed job, for what stiffness does; without it stiffness is
        not counted.
    steel : mapping of segment to Steel, optional
        Steel of every segment at locking. Without it checks are stated for the reference
        temperature; levels, lines and stations of points always are.
    """
    made: list[tuple[Source, Array]] = []
    made += _surveyed(job, survey, state)
    made += _thermal(job, survey, state, steel)
    not_counted = _left_out(job, survey, influence, plan is not None)
    values = state.values.copy()
    if plan is not None:
        values = values + influence.change(moves_of(influence, plan))
        made += uncertainties_of_moves(job, influence, plan, effect)
    if steel is not None:
        mean, difference = moving_rates(job, state.checks)
        warm, bend = away_from_reference(job, steel)
        values = values + mean @ warm + difference @ bend
    return _gathered(state.checks, values, made, tuple(not_counted))


def _gathered(
    checks: tuple[Check, ...],
    values: Array,
    made: Sequence[tuple[Source, Array]],
    not_counted: tuple[str, ...],
) -> Budget:
    """Leave out what does nothing, and number the sources in the order they come."""
    kept = [(source, column) for source, column in made if np.any(column)]
    sources = tuple(dict.fromkeys(source for source, _ in kept))
    number = {source: i for i, source in enumerate(sources)}
    columns = np.array([column for _, column in kept]).reshape(len(kept), len(checks)).T
    owner = np.array([number[source] for source, _ in kept], dtype=np.int64)
    return Budget(checks, values, sources, columns, owner, not_counted)


def _surveyed(job: Job, survey: Survey, state: CheckState) -> Iterator[tuple[Source, Array]]:
    """Coordinates, less what direct readings take over, and the readings."""
    _, jacobian = surveyed_checks(job, survey, state.checks)
    columns = jacobian @ survey.root
    readings = used_readings(job)
    taken = np.zeros((len(state.checks), 0))
    if readings:
        u = np.array([r.uncertainty for r in readings])
        rows = read_rows(job, state.checks, readings)
        gain, keep = reading_gain(columns @ columns.T, rows, u)
        columns, taken = keep @ columns, gain * u
    for i, name in enumerate(survey.points):
        for k in range(3):
            yield Source("target", name), columns[:, 3 * i + k]
    for i, name in enumerate(survey.shaped, len(survey.points)):
        for k in range(3):
            yield Source("shape", name), columns[:, 3 * i + k]
    for reading, column in zip(readings, taken.T, strict=True):
        yield Source("reading", reading.id), column
    for i, check in enumerate(state.checks):
        if check.kind == "force":
            column = np.zeros(len(state.checks))
            column[i] = job.tensions[check.subject].u
            yield Source("tension", check.subject), column


def _thermal(
    job: Job, survey: Survey, state: CheckState, steel: Mapping[str, Steel] | None
) -> Iterator[tuple[Source, Array]]:
    """Steel temperatures at the survey and at locking, and the coefficient between the two."""
    mean, difference = segment_rates(job, state.checks)
    yield from _steel("steel then", survey.steel, mean, difference)
    then = away_from_reference(job, survey.steel)
    grown = -(mean @ then[0] + difference @ then[1])
    if steel is not None:
        mean, difference = moving_rates(job, state.checks)
        yield from _steel("steel now", steel, mean, difference)
        now = away_from_reference(job, steel)
        grown = grown + mean @ now[0] + difference @ now[1]
    if job.uncertainties.cables > 0.0:
        apart = apart_rates(job, state.checks) * job.uncertainties.cables
        yield Source("cables then", ""), apart
        if steel is not None:
            yield Source("cables now", ""), np.where(_across(state.checks), apart, 0.0)
    # one kind of steel: its coefficient errs alike everywhere
    yield Source("expansion", ""), grown * expansion_uncertainty(job)


def away_from_reference(job: Job, steel: Mapping[str, Steel]) -> tuple[Array, Array]:
    """Return how far segments are from the even reference temperature, in the order of the job.

    Parameters
    ----------
    job
    steel : mapping of str to Steel
        By segment; every segment of the job is in it.

    Returns
    -------
    mean : Array (s,)
        How much warmer than the reference each segment is [K].
    difference : Array (s,)
        Top less bottom [K].
    """
    warm = [steel[n].mean - job.reference_temperature for n in job.segments]
    return np.array(warm), np.array([steel[n].difference for n in job.segments])


def moving_rates(job: Job, checks: tuple[Check, ...]) -> tuple[Array, Array]:
    """Return the rates of :func:`segment_rates`, none for checks of single points.

    A level, line or station is judged against the design, which holds at the reference.

    Parameters
    ----------
    job
    checks : tuple of Check
        m checks.

    Returns
    -------
    mean, difference : Array (m, s)
        As of :func:`segment_rates`, with rows of zeros for checks of single points.
    """
    mean, difference = segment_rates(job, checks)
    across = _across(checks)[:, None]
    return mean * across, difference * across


def _across(checks: tuple[Check, ...]) -> Array:
    """Whether each check (m,) is between both sides of a joint, and not of one point."""
    return np.array([c.point is None for c in checks], dtype=bool)


def _steel(
    kind: str, steel: Mapping[str, Steel], mean: Array, difference: Array
) -> Iterator[tuple[Source, Array]]:
    """Columns of steel temperatures; what was stated for several segments errs alike in all."""
    together: dict[str, Array] = {}
    for k, (name, own) in enumerate(steel.items()):
        column = mean[:, k] * own.u_mean
        together[own.shared or name] = together.get(own.shared or name, 0.0) + column
        yield Source(kind, name), difference[:, k] * own.u_difference
    for name, column in together.items():
        yield Source(kind, name), column


def _left_out(job: Job, survey: Survey, influence: Influence, moves: bool) -> list[str]:
    """Say what the job states no uncertainty for; of moves only where there are some."""
    uncertainties = job.uncertainties
    lines = []
    if not all(s.u_mean > 0.0 for s in survey.steel.values()):
        lines.append("steel temperature (uncertainty.steel)")
    apart = None if job.thermal is None else job.thermal.apart
    if uncertainties.cables == 0.0 and apart and any(rows.any() for rows in apart.points.values()):
        lines.append("temperature of cables (uncertainty.cables)")
    if expansion_uncertainty(job) == 0.0:
        lines.append("expansion (uncertainty.expansion)")
    if not moves:
        return lines
    if any(p.spread == 0.0 for p in job.plates.values()) and uncertainties.plate == 0.0:
        lines.append("plates without spread (uncertainty.plate)")
    packs = [s.id for s in job.seats.values() if s.held_by == "packs"]
    for what, seats in (("bedding", packs), ("stiffness", list(job.seats))):
        if any(seat_uncertainty(job, what, name) == 0.0 for name in seats):
            lines.append(f"{what} (uncertainty.{what})")
    if influence.origin == "table" and uncertainties.influence == 0.0:
        lines.append("influence table (uncertainty.influence)")
    return lines
