"""Draws through the whole chain, as a check of the linear budget (GUM Supplement 1).

Here nothing is linearised that the budget linearises about the moves: every draw brings each
rigid segment to equilibrium on seats of drawn stiffness, turns its points, and multiplies drawn
temperatures by drawn coefficients; a nut is evenly spread over its resolution. Seeded: the same
job gives the same numbers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.frames import Array, heading, left_of, skew
from fitup.joints.checks import parts_of
from fitup.joints.place import position_of
from fitup.joints.readings import read_rows, reading_gain, used_readings
from fitup.joints.state import surveyed_checks
from fitup.joints.thermal import segment_rates
from fitup.model import CheckState, Influence, Job, Plan, Segment
from fitup.survey.points import Survey
from fitup.survey.steel import Steel
from fitup.trust.budget import away_from_reference, moving_rates
from fitup.trust.joint import limits_of

_SEED: Final = 20_310_402
DRAWS: Final = 100_000


@dataclass(frozen=True, eq=False)
class Draws:
    """Drawn values (n, m) of all checks."""

    state: CheckState
    values: Array

    def inside(self, rows: Sequence[int]) -> Array:
        """Return which draws (n, r) of the checks numbered are inside."""
        aims, allowed = limits_of([self.state.checks[i] for i in rows])
        return np.abs(self.values[:, list(rows)] - aims) <= allowed

    def probability(self, rows: Sequence[int]) -> float:
        """Return the share of draws with all the checks numbered inside at once."""
        return float(self.inside(rows).all(axis=1).mean())

    @property
    def u(self) -> Array:
        """Standard deviation (m,) of every check."""
        return self.values.std(axis=0)


def simulate(
    job: Job,
    survey: Survey,
    state: CheckState,
    influence: Influence,
    plan: Plan | None = None,
    *,
    steel: Mapping[str, Steel] | None = None,
    draws: int = DRAWS,
    seed: int = _SEED,
) -> Draws:
    """Draw every check after a plan, with all the doubts the job states.

    Parameters
    ----------
    job, survey, state, influence, plan, steel
        As for :func:`fitup.trust.budget.make_budget`.
    draws : int
    seed : int
    """
    rng = np.random.default_rng(seed)
    values = state.values + _surveyed(job, survey, state, rng, draws)
    values += _warmth(job, survey, state, steel, rng, draws)
    if plan is not None:
        x = _settings(job, influence, plan, rng, draws)
        if influence.origin == "rigid":
            values += _rigid_moves(job, survey, state, influence, x, rng)
        else:
            values += x @ influence.A.T
    return Draws(state, values)


def _surveyed(
    job: Job, survey: Survey, state: CheckState, rng: np.random.Generator, draws: int
) -> Array:
    _, jacobian = surveyed_checks(job, survey, state.checks)
    scaled = jacobian @ survey.root
    errors: Array = rng.standard_normal((draws, scaled.shape[1])) @ scaled.T
    for i, check in enumerate(state.checks):
        if check.kind == "force":
            errors[:, i] += _spread(rng, draws, job.tensions[check.subject].u)
    readings = used_readings(job)
    if not readings:
        return errors
    u = np.array([r.uncertainty for r in readings])
    rows = read_rows(job, state.checks, readings)
    gain, _ = reading_gain(scaled @ scaled.T, rows, u)
    misread = rng.standard_normal((draws, len(u))) * u
    return errors + (misread - errors[:, rows]) @ gain.T


def _warmth(
    job: Job,
    survey: Survey,
    state: CheckState,
    steel: Mapping[str, Steel] | None,
    rng: np.random.Generator,
    draws: int,
) -> Array:
    """From the survey's steel, as it may have been, to that of locking, as it may be."""
    rate = 1.0 + job.doubts.expansion * rng.standard_normal((draws, 1))
    rates = np.hstack(segment_rates(job, state.checks))
    told = np.concatenate(away_from_reference(job, survey.steel))
    # the state is already told for the reference
    grown: Array = (told - rate * _drawn(job, survey.steel, rng, draws)) @ rates.T
    if steel is None:
        return grown
    there = np.hstack(moving_rates(job, state.checks))
    return grown + rate * _drawn(job, steel, rng, draws) @ there.T


def _drawn(job: Job, steel: Mapping[str, Steel], rng: np.random.Generator, draws: int) -> Array:
    """How much warmer than the reference, and differences (n, 2 s).

    What was told for several segments errs alike in all.
    """
    errors: dict[str, Array] = {}
    means, differences = [], []
    for name, own in steel.items():
        key = own.shared or name
        if key not in errors:
            errors[key] = rng.standard_normal(draws)
        means.append(own.mean - job.reference_temperature + own.u_mean * errors[key])
        differences.append(own.difference + _spread(rng, draws, own.u_difference))
    return np.array([*means, *differences]).T


def _spread(rng: np.random.Generator, draws: int, u: float) -> Array:
    return u * rng.standard_normal(draws)


def _settings(
    job: Job, influence: Influence, plan: Plan, rng: np.random.Generator, draws: int
) -> Array:
    """Moves (n, seats) [m]: plates as thick as they may be, nuts as they may be set."""
    own = {s.seat: s for s in plan.seats}
    x = np.zeros((draws, len(influence.seats)))
    for i, name in enumerate(influence.seats):
        x[:, i] = own[name].setting
        if not own[name].disturbed:
            continue
        if job.seats[name].held_by == "nut":
            half = 0.5 * max(j.resolution for j in job.jacks_at(name))
            x[:, i] += rng.uniform(-half, half, draws) + _spread(rng, draws, job.doubts.dial)
            continue
        for mark in (*own[name].out, *own[name].put_in):
            x[:, i] += _spread(rng, draws, job.plates[mark].spread or job.doubts.plate)
        x[:, i] += _spread(rng, draws, job.doubts.bedding)
    return x


def _rigid_moves(
    job: Job,
    survey: Survey,
    state: CheckState,
    influence: Influence,
    x: Array,
    rng: np.random.Generator,
) -> Array:
    column = {name: i for i, name in enumerate(influence.seats)}
    motion = {}
    for segment in job.segments.values():
        seats = [column[s.id] for s in job.seats_of(segment.id)]
        motion[segment.id] = _settle(job, segment, x[:, seats], rng)
    change = np.zeros((len(x), len(state.checks)))
    gone: dict[str, Array] = {}
    for i, check in enumerate(state.checks):
        part = parts_of(job, check)
        for name, row in part.points.items():
            if name not in gone:
                segment = job.segments[job.points[name].segment]
                arm = position_of(job, survey, name) - segment.centre
                gone[name] = _turned(motion[segment.id], arm)
            change[:, i] += gone[name] @ row
        for name, row in part.turns.items():
            change[:, i] += motion[name][:, 3:] @ row
    return change


def _settle(job: Job, segment: Segment, x: Array, rng: np.random.Generator) -> Array:
    """Bring a segment to equilibrium in every draw: shift and turn (n, 6)."""
    seats = job.seats_of(segment.id)
    wrench = np.array(
        [np.r_[s.direction, np.cross(s.position - segment.centre, s.direction)] for s in seats]
    )
    stiffness = np.array([s.stiffness for s in seats])
    share = 1.0 + job.doubts.stiffness * rng.standard_normal(x.shape)
    # a seat cannot be softer than a tenth of what is stated: it bears
    k = stiffness * np.maximum(share, 0.1)
    basis = _free(segment)
    rows = wrench @ basis
    matrix = np.einsum("ni,ij,ik->njk", k, rows, rows, optimize=True)
    right = np.einsum("ni,ij->nj", k * x, rows, optimize=True)
    motion: Array = np.linalg.solve(matrix, right[:, :, None])[:, :, 0] @ basis.T
    return motion


def _free(segment: Segment) -> Array:
    """Columns (6, f): the motions that are not held; turns in a lever of ten metres."""
    ahead, left, up = heading(segment.azimuth), left_of(segment.azimuth), np.array([0.0, 0.0, 1.0])
    still = np.zeros(3)
    columns = {
        "along": np.r_[ahead, still],
        "across": np.r_[left, still],
        "up": np.r_[up, still],
        "roll": np.r_[still, ahead / 10.0],
        "pitch": np.r_[still, left / 10.0],
        "turn": np.r_[still, up / 10.0],
    }
    return np.array([c for name, c in columns.items() if name not in segment.held]).T


def _turned(motion: Array, arm: Array) -> Array:
    """Displacement (n, 3) of a point at an arm, to second order of the turn."""
    turn = motion[:, 3:]
    # turn x arm, and turn x (turn x arm) = turn (turn . arm) - arm |turn|^2
    first = turn @ skew(-arm).T
    second = turn * (turn @ arm)[:, None] - (turn**2).sum(axis=1)[:, None] * arm
    moved: Array = motion[:, :3] + first + 0.5 * second
    return moved
