"""Uncertainty through the whole chain, source by source, by linear propagation (GUM 5.1).

Every doubt is one independent quantity: a coordinate of a target, a direct reading, a plate, a
bedding, the steel temperature of a segment. Its column says what one standard uncertainty of it
does to every check, so the covariance of the checks is the sum of the columns' outer products,
and shares of sources add up to one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.joints.readings import read_rows, reading_gain, used_readings
from fitup.joints.state import surveyed_checks
from fitup.joints.thermal import segment_rates
from fitup.model import Check, CheckState, Influence, Job, Plan
from fitup.survey.points import Survey
from fitup.survey.steel import Steel
from fitup.trust.conformity import allowed_of

Effect = Callable[[Job], Influence]
#: step by which a stiffness is changed to see what it does, as a share
_STEP: Final = 1e-3


@dataclass(frozen=True, slots=True)
class Source:
    """One thing that is not known exactly, by the name it has on site."""

    kind: str
    """target, reading, tension, plates, nut, bedding, stiffness, expansion, steel then or now."""
    name: str
    """Its id: of a target, reading, seat or segment, or the file it was told in."""

    @property
    def text(self) -> str:
        """Return it in words."""
        return _WORDS[self.kind].format(self.name)


_WORDS: Final = {
    "target": "target {}",
    "reading": "direct reading {}",
    "tension": "measured tension of {}",
    "plates": "plates at {}",
    "nut": "setting of nut {}",
    "bedding": "bedding at {}",
    "stiffness": "stiffness at {}",
    "steel then": "steel temperature at the survey, {}",
    "steel now": "steel temperature at locking, {}",
    "expansion": "coefficient of expansion",
}


@dataclass(frozen=True, eq=False)
class Budget:
    """Every check with its doubts.

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
        Doubts that were left out because the job does not state them.
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
        """Return the budget with one source's standard uncertainty times a factor."""
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
    """Return every check after a plan with all its doubts.

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
    made += _warmth(job, survey, state, steel)
    not_counted = _left_out(job, survey, plan is not None)
    values = state.values.copy()
    if plan is not None:
        x = np.array([{s.seat: s.setting for s in plan.seats}[name] for name in influence.seats])
        values = values + influence.A @ x
        made += _moves(job, influence, plan)
        if job.doubts.stiffness > 0.0 and np.any(x):
            if effect is None or influence.origin == "table":
                not_counted.append("stiffness (the influence table is taken as given)")
            else:
                made += _stiffness(job, influence, effect, x)
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
    for reading, column in zip(readings, taken.T, strict=True):
        yield Source("reading", reading.id), column
    for i, check in enumerate(state.checks):
        if check.kind == "force":
            column = np.zeros(len(state.checks))
            column[i] = job.tensions[check.subject].u
            yield Source("tension", check.subject), column


def _warmth(
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
    # one kind of steel: its coefficient errs alike everywhere
    yield Source("expansion", ""), grown * job.doubts.expansion


def away_from_reference(job: Job, steel: Mapping[str, Steel]) -> tuple[Array, Array]:
    """Return how much warmer than the reference segments are (s,), and their differences [K]."""
    warm = [steel[n].mean - job.reference_temperature for n in job.segments]
    return np.array(warm), np.array([steel[n].difference for n in job.segments])


def moving_rates(job: Job, checks: tuple[Check, ...]) -> tuple[Array, Array]:
    """Return the rates of :func:`segment_rates`, none for checks of single points.

    A level, line or station is judged against the design, which holds at the reference.
    """
    mean, difference = segment_rates(job, checks)
    across = np.array([c.point is None for c in checks])[:, None]
    return mean * across, difference * across


def _steel(
    kind: str, steel: Mapping[str, Steel], mean: Array, difference: Array
) -> Iterator[tuple[Source, Array]]:
    """Columns of steel temperatures; what was told for several segments errs alike in all."""
    together: dict[str, Array] = {}
    for k, (name, own) in enumerate(steel.items()):
        column = mean[:, k] * own.u_mean
        together[own.shared or name] = together.get(own.shared or name, 0.0) + column
        yield Source(kind, name), difference[:, k] * own.u_difference
    for name, column in together.items():
        yield Source(kind, name), column


def _moves(job: Job, influence: Influence, plan: Plan) -> Iterator[tuple[Source, Array]]:
    """Plates that go out and in, nuts that are set, packs that bed in."""
    column = {name: influence.A[:, i] for i, name in enumerate(influence.seats)}
    for own in plan.seats:
        if not own.disturbed:
            continue
        effect, seat = column[own.seat], job.seats[own.seat]
        if seat.held_by == "nut":
            step = max(j.resolution for j in job.jacks_at(seat.id))
            # evenly spread over one step of the resolution
            yield Source("nut", seat.id), effect * step / np.sqrt(12.0)
            yield Source("nut", seat.id), effect * job.doubts.dial
            continue
        for mark in (*own.out, *own.put_in):
            spread = job.plates[mark].spread or job.doubts.plate
            yield Source("plates", seat.id), effect * spread
        yield Source("bedding", seat.id), effect * job.doubts.bedding


def _stiffness(
    job: Job, influence: Influence, effect: Effect, x: Array
) -> Iterator[tuple[Source, Array]]:
    """What a softer or stiffer seat does to the moves, by a small change of each."""
    moved = {job.seats[n].segment for n, v in zip(influence.seats, x, strict=True) if v}
    for name, seat in job.seats.items():
        if seat.segment not in moved:
            continue
        stiffer = replace(seat, stiffness=seat.stiffness * (1.0 + _STEP))
        changed = effect(replace(job, seats={**job.seats, name: stiffer}))
        yield (
            Source("stiffness", name),
            (changed.A - influence.A) @ x / _STEP * job.doubts.stiffness,
        )


def _left_out(job: Job, survey: Survey, moves: bool) -> list[str]:
    """Say what the job states no uncertainty for; of moves only where there are some."""
    doubts = job.doubts
    lines = []
    if not all(s.u_mean > 0.0 for s in survey.steel.values()):
        lines.append("steel temperature (uncertainty.steel)")
    if moves and any(p.spread == 0.0 for p in job.plates.values()) and doubts.plate == 0.0:
        lines.append("plates without spread (uncertainty.plate)")
    named = ("expansion", "bedding", "stiffness") if moves else ("expansion",)
    lines += [f"{what} (uncertainty.{what})" for what in named if getattr(doubts, what) == 0.0]
    return lines
