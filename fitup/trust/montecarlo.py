"""Draws through the whole chain, as a check of the linear budget (GUM Supplement 1).

Here nothing is linearised that the budget linearises about the moves: every draw brings each
rigid segment to equilibrium on seats of drawn stiffness, turns its points, and multiplies drawn
temperatures by drawn coefficients; a nut is evenly spread over its resolution, a plate that was
not measured between its limits. The seats of a frame or a table that are softer or firmer count
to second order, each on its own. Seeded: the same job gives the same numbers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fitup.checks.definitions import parts_of
from fitup.checks.place import position_of
from fitup.checks.readings import read_rows, reading_gain, used_readings
from fitup.checks.state import surveyed_checks
from fitup.checks.thermal import apart_rates, segment_rates
from fitup.frames import Array, heading, left_of, skew
from fitup.model import CheckState, Influence, Job, Plan, Segment
from fitup.structure.learned import movement_factors
from fitup.survey.points import Survey
from fitup.survey.steel import Steel
from fitup.trust.budget import away_from_reference, moving_rates
from fitup.trust.joint import limits_of
from fitup.trust.moved import (
    Effect,
    expansion_uncertainty,
    learned_of_seats,
    moves_of,
    plates_gained,
    seat_uncertainty,
    softened,
    springs_back,
)

_SEED: Final = 20_310_402
DRAWS: Final = 100_000
#: a seat cannot be softer than this share of what is stated: it bears
_SOFTEST: Final = 0.1


@dataclass(frozen=True, eq=False)
class Draws:
    """Drawn values (n, m) of all checks; ``one_way`` (m,) is what errs to one side, in the mean."""

    state: CheckState
    values: Array
    one_way: Array | float = 0.0

    def inside(self, rows: Sequence[int]) -> Array:
        """Return which draws (n, r) of the checks numbered are inside."""
        aims, allowed = limits_of([self.state.checks[i] for i in rows])
        return np.abs(self.values[:, list(rows)] - aims) <= allowed

    def probability(self, rows: Sequence[int]) -> float:
        """Return the share of draws with all the checks numbered inside at once."""
        return float(self.inside(rows).all(axis=1).mean())

    @property
    def u(self) -> Array:
        """Root mean square (m,) of every check about what is stated of it.

        What errs to one side only is not taken out of the stated value, so it counts.
        """
        found: Array = np.hypot(self.values.std(axis=0), self.one_way)
        return found


def simulate(
    job: Job,
    survey: Survey,
    state: CheckState,
    influence: Influence,
    plan: Plan | None = None,
    *,
    effect: Effect | None = None,
    steel: Mapping[str, Steel] | None = None,
    draws: int = DRAWS,
    seed: int = _SEED,
) -> Draws:
    """Draw every check after a plan, with all the uncertainties the job states.

    Parameters
    ----------
    job, survey, state, influence, plan, effect, steel
        As for :func:`fitup.trust.budget.make_budget`.
    draws : int
    seed : int
    """
    rng = np.random.default_rng(seed)
    values = state.values + _surveyed(job, survey, state, rng, draws)
    values += _thermal(job, survey, state, steel, rng, draws)
    if plan is not None:
        assumed = _assumed(job, rng, draws)
        x = _settings(job, influence, plan, assumed, rng, draws)
        if influence.origin == "rigid":
            driven = x * movement_factors(job, influence.seats)
            values += _rigid_moves(job, survey, state, influence, driven, assumed)
        else:
            values += _moves(job, influence, plan, effect, x, assumed, rng)
        return Draws(state, values, influence.A @ (-0.5 * _back(job, influence, plan)))
    return Draws(state, values)


def _back(job: Job, influence: Influence, plan: Plan) -> Array:
    """Return how far every seat (s,) may spring back after a push [m]."""
    own = {s.seat: s for s in plan.seats}
    return np.array([springs_back(job, own[name]) for name in influence.seats])


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


def _thermal(
    job: Job,
    survey: Survey,
    state: CheckState,
    steel: Mapping[str, Steel] | None,
    rng: np.random.Generator,
    draws: int,
) -> Array:
    """From the survey's steel, as it may have been, to that of locking, as it may be."""
    rate = 1.0 + expansion_uncertainty(job) * rng.standard_normal((draws, 1))
    rates = np.hstack(segment_rates(job, state.checks))
    stated = np.concatenate(away_from_reference(job, survey.steel))
    # the state is already told for the reference
    grown: Array = (stated - rate * _drawn(job, survey.steel, rng, draws)) @ rates.T
    apart = apart_rates(job, state.checks) * job.uncertainties.cables
    grown -= rng.standard_normal((draws, 1)) * apart
    if steel is None:
        return grown
    there = np.hstack(moving_rates(job, state.checks))
    moving = np.array([c.point is None for c in state.checks])
    grown += rng.standard_normal((draws, 1)) * np.where(moving, apart, 0.0)
    return grown + rate * _drawn(job, steel, rng, draws) @ there.T


def _drawn(job: Job, steel: Mapping[str, Steel], rng: np.random.Generator, draws: int) -> Array:
    """How much warmer than the reference, and differences (n, 2 s).

    What was stated for several segments errs alike in all.
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


#: what the job assumes of a seat, by (what, seat): drawn errors (n,), a share or [m]
_Assumed = Mapping[tuple[str, str], Array]


def _assumed(job: Job, rng: np.random.Generator, draws: int) -> _Assumed:
    """Draw how far stiffness, bedding and movement of seats are off what the job assumes."""
    drawn: dict[tuple[str, str], Array] = {}
    for name in job.seats:
        drawn["stiffness", name] = _spread(rng, draws, job.uncertainties.stiffness)
        drawn["bedding", name] = _spread(rng, draws, job.uncertainties.bedding)
        drawn["movement", name] = np.zeros(draws)
    stated, root = learned_of_seats(job)
    together = rng.standard_normal((draws, len(stated))) @ root.T
    for one, errors in zip(stated, together.T, strict=True):
        drawn[one.what, one.at] = errors
    return drawn


def _settings(
    job: Job,
    influence: Influence,
    plan: Plan,
    assumed: _Assumed,
    rng: np.random.Generator,
    draws: int,
) -> Array:
    """Moves (n, seats) [m]: plates as thick as they may be, nuts as they may be set."""
    own = {s.seat: s for s in plan.seats}
    column = {name: i for i, name in enumerate(influence.seats)}
    x = np.zeros((draws, len(influence.seats)))
    for name, i in column.items():
        x[:, i] = own[name].setting
        if not own[name].disturbed:
            continue
        if job.seats[name].held_by == "nut":
            half = 0.5 * max(j.resolution for j in job.jacks_at(name))
            x[:, i] += rng.uniform(-half, half, draws) + _spread(rng, draws, job.uncertainties.dial)
            x[:, i] += own[name].setting * assumed["movement", name]
            continue
        if job.stays_pushed(job.seats[name]):
            half = 0.5 * max(j.resolution for j in job.jacks_at(name))
            x[:, i] += rng.uniform(-half, half, draws)
            x[:, i] -= rng.uniform(0.0, 1.0, draws) * springs_back(job, own[name])
            continue
        for mark in (*own[name].out, *own[name].put_in):
            if not job.plates[mark].alike:
                x[:, i] += _spread(rng, draws, job.plates[mark].spread or job.uncertainties.plate)
        x[:, i] -= assumed["bedding", name]
    for mark, seats in plates_gained(job, plan).items():
        half = np.sqrt(3.0) * job.plates[mark].spread
        thicker = rng.uniform(-half, half, draws)
        for name, count in seats.items():
            x[:, column[name]] += count * thicker
    return x


def _moves(
    job: Job,
    influence: Influence,
    plan: Plan,
    effect: Effect | None,
    x: Array,
    assumed: _Assumed,
    rng: np.random.Generator,
) -> Array:
    """Changes (n, m) by an influence that is linear in the moves, about those of the plan."""
    about = moves_of(influence, plan)
    change: Array = influence.change(about) + (x - about) @ influence.A.T
    if influence.origin == "table":
        wrong = job.uncertainties.influence * rng.standard_normal(x.shape)
        change += (wrong * x) @ influence.A.T
    step = max((seat_uncertainty(job, "stiffness", name) for name in job.seats), default=0.0)
    firmer = softened(job, influence, effect, about, step)
    softer = softened(job, influence, effect, about, -step)
    for name, up in firmer.items():
        share = np.maximum(assumed["stiffness", name], _SOFTEST - 1.0)[:, None] / step
        down = softer[name]
        change += 0.5 * (up - down) * share + 0.5 * (up + down) * share**2
    return change


def _rigid_moves(
    job: Job,
    survey: Survey,
    state: CheckState,
    influence: Influence,
    x: Array,
    assumed: _Assumed,
) -> Array:
    column = {name: i for i, name in enumerate(influence.seats)}
    motion = {}
    for segment in job.segments.values():
        seats = [column[s.id] for s in job.seats_of(segment.id)]
        motion[segment.id] = _settle(job, segment, x[:, seats], assumed)
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


def _settle(job: Job, segment: Segment, x: Array, assumed: _Assumed) -> Array:
    """Bring a segment to equilibrium in every draw: shift and turn (n, 6)."""
    seats = job.seats_of(segment.id)
    wrench = np.array(
        [np.r_[s.direction, np.cross(s.position - segment.centre, s.direction)] for s in seats]
    )
    stiffness = np.array([s.stiffness for s in seats])
    share = 1.0 + np.array([assumed["stiffness", s.id] for s in seats]).T
    k = stiffness * np.maximum(share, _SOFTEST)
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
