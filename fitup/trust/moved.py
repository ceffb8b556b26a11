"""What is not known of the moves: plates, nuts, bedding, soft seats, a table taken on trust.

Corrections learned from earlier rounds bring their own uncertainty and correlations, and take the
place of what ``[uncertainty]`` says beforehand.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from fitup.frames import Array
from fitup.model import Influence, Job, Learned, Plan, SeatPlan
from fitup.structure.learned import corrected
from fitup.trust.source import Source

#: the influence of a changed job
Effect = Callable[[Job], Influence]
#: step by which a stiffness is changed to see what it does, as a share
_STEP: Final = 1e-3
#: corrections that belong to a seat
_OF_SEATS: Final = ("stiffness", "bedding", "movement")


def learned_of(job: Job, what: str, at: str) -> Learned | None:
    """Return what was learned of something, None where nothing was.

    Parameters
    ----------
    job
    what : str
        Kind of correction: ``stiffness``, ``bedding``, ``movement`` or ``expansion``.
    at : str
        Id of a seat, or ``steel``.
    """
    return next((one for one in job.learned if (one.what, one.at) == (what, at)), None)


def expansion_uncertainty(job: Job) -> float:
    """Return the standard uncertainty of the coefficients of expansion, as a share."""
    stated = next((one for one in job.learned if one.what == "expansion"), None)
    return job.uncertainties.expansion if stated is None else stated.uncertainty


def seat_uncertainty(job: Job, what: str, seat: str) -> float:
    """Return the standard uncertainty of a seat's stiffness or bedding.

    Parameters
    ----------
    job
    what : str
        ``stiffness`` or ``bedding``.
    seat : str
        Its id.

    Returns
    -------
    float
        Of a stiffness as a share, of bedding [m]; what was learned goes before what the job states.
    """
    stated = learned_of(job, what, seat)
    return float(getattr(job.uncertainties, what)) if stated is None else stated.uncertainty


def learned_of_seats(job: Job) -> tuple[tuple[Learned, ...], Array]:
    """Return what was learned of seats, and the symmetric root (k, k) of its covariance."""
    own = [i for i, one in enumerate(job.learned) if one.what in _OF_SEATS]
    count = len(job.learned)
    correlation = np.eye(count)
    for i, one in enumerate(job.learned):
        correlation[i, :i] = correlation[:i, i] = one.correlations
    u = np.array([one.uncertainty for one in job.learned])
    covariance = (correlation * np.outer(u, u))[np.ix_(own, own)]
    values, vectors = np.linalg.eigh(covariance)
    root = (vectors * np.sqrt(np.clip(values, 0.0, None))) @ vectors.T
    return tuple(job.learned[i] for i in own), root


def moves_of(influence: Influence, plan: Plan) -> Array:
    """Return the settings (n,) of a plan in the order of an influence [m].

    Parameters
    ----------
    influence
    plan : Plan
        It has a setting for every seat of the influence.
    """
    setting = {s.seat: s.setting for s in plan.seats}
    return np.array([setting[name] for name in influence.seats])


def uncertainties_of_moves(
    job: Job, influence: Influence, plan: Plan, effect: Effect | None
) -> Iterator[tuple[Source, Array]]:
    """Yield sources and what one standard uncertainty of each does to every check (m,).

    Parameters
    ----------
    job, influence, plan
    effect : callable, optional
        Returns the influence of a changed job; None: stiffness is not counted, unless the
        influence is a table.
    """
    x = moves_of(influence, plan)
    column = {name: influence.A[:, i] for i, name in enumerate(influence.seats)}
    for own in plan.seats:
        if own.disturbed:
            yield from _settings(job, own, column[own.seat])
    yield from _plates_alike(job, plan, column)
    if influence.origin == "table" and job.uncertainties.influence > 0.0:
        for i, name in enumerate(influence.seats):
            yield Source("influence", name), influence.A[:, i] * x[i] * job.uncertainties.influence
    by_stiffness = softened(job, influence, effect, x, _STEP)
    for name, change in by_stiffness.items():
        if learned_of(job, "stiffness", name) is None:
            yield Source("stiffness", name), change / _STEP * job.uncertainties.stiffness
    yield from _learned(job, influence, plan, by_stiffness)


def _settings(job: Job, own: SeatPlan, effect: Array) -> Iterator[tuple[Source, Array]]:
    """Plates that go out and in, a nut that is set, a pack that beds in, a deck that is pushed."""
    seat = job.seats[own.seat]
    if seat.held_by == "nut":
        # evenly spread over one step of the resolution
        step = max(j.resolution for j in job.jacks_at(seat.id))
        yield Source("nut", seat.id), effect * step / np.sqrt(12.0)
        yield Source("nut", seat.id), effect * job.uncertainties.dial
        return
    if job.stays_pushed(seat):
        # on a mark of the ram's scale, whatever its plates; then back, one way and evenly spread
        step = max(j.resolution for j in job.jacks_at(seat.id))
        yield Source("push", seat.id), effect * step / np.sqrt(12.0)
        yield Source("spring back", seat.id), effect * springs_back(job, own) / np.sqrt(3.0)
        return
    for mark in (*own.out, *own.put_in):
        plate = job.plates[mark]
        if not plate.alike:
            yield Source("plates", seat.id), effect * (plate.spread or job.uncertainties.plate)
    if learned_of(job, "bedding", seat.id) is None:
        yield Source("bedding", seat.id), effect * job.uncertainties.bedding


def springs_back(job: Job, own: SeatPlan) -> float:
    """Return how far a deck that stays where it is pushed may come back as its ram is let off [m].

    At most until it bears on the pack behind it.

    Parameters
    ----------
    job
    own : SeatPlan
        Of one seat; zero where it comes onto its pack or nut.
    """
    seat = job.seats[own.seat]
    if not own.disturbed or not job.stays_pushed(seat):
        return 0.0
    taller = job.pack_height(own.build_up) - job.pack_height(seat.pack)
    if own.put_in:
        taller -= seat.bedding
    return min(job.staging.spring_back, max(0.0, own.setting - taller))


def plates_gained(job: Job, plan: Plan) -> dict[str, dict[str, int]]:
    """Return by mark of plates that err alike how many more each seat has than before.

    Parameters
    ----------
    job
    plan : Plan
        Plates that it takes out count against those that it puts in; those behind a deck that stays
        where it is pushed do not.

    Returns
    -------
    dict of str to dict of str to int
        Mark -> seat -> plates more, negative where there are fewer; unchanged seats are left out.
    """
    gained: dict[str, dict[str, int]] = {}
    for own in plan.seats:
        if job.stays_pushed(job.seats[own.seat]):
            continue
        count = Counter(own.put_in)
        count.subtract(Counter(own.out))
        for mark, n in count.items():
            if n and job.plates[mark].alike:
                gained.setdefault(mark, {})[own.seat] = n
    return gained


def _plates_alike(job: Job, plan: Plan, column: dict[str, Array]) -> Iterator[tuple[Source, Array]]:
    for mark, seats in plates_gained(job, plan).items():
        change = sum(n * column[seat] for seat, n in seats.items())
        yield Source("plate class", mark), np.asarray(change) * job.plates[mark].spread


def softened(
    job: Job, influence: Influence, effect: Effect | None, x: Array, share: float
) -> dict[str, Array]:
    """Return by seat what a stiffness more by a share does to the checks (m,) after moves x (n,).

    Empty where no stiffness is in doubt. An influence table was computed with the stiffnesses of
    seats.csv: its moves act through seats that are firmer or softer.

    Parameters
    ----------
    job, influence
    effect : callable, optional
        Returns the influence of a changed job; not needed where the influence is a table.
    x : Array (n,)
        Settings in the order of the influence [m].
    share : float
        Added stiffness as a share of the seat's own; negative is softer.
    """
    doubtful = [name for name in job.seats if seat_uncertainty(job, "stiffness", name) > 0.0]
    if not doubtful or not np.any(x) or (effect is None and influence.origin != "table"):
        return {}
    stated = influence.change(x)
    moved = {job.seats[n].segment for n, v in zip(influence.seats, x, strict=True) if v}
    whole = influence.origin != "rigid"
    return {
        name: _changed(job, influence, effect, name, share).change(x) - stated
        for name in doubtful
        if whole or job.seats[name].segment in moved
    }


def _changed(
    job: Job, influence: Influence, effect: Effect | None, name: str, share: float
) -> Influence:
    """Return the influence with one seat firmer by a share."""
    seat = job.seats[name]
    seats = {**job.seats, name: replace(seat, stiffness=seat.stiffness * (1.0 + share))}
    if influence.origin == "table":
        known = learned_of(job, "stiffness", name)
        factor = (1.0 if known is None else known.value) * (1.0 + share)
        rest = tuple(one for one in job.learned if one is not known)
        firmer = Learned("stiffness", name, factor, 0.0, (), "tried")
        changed = replace(job, seats=seats, learned=(*rest, firmer))
        return corrected(changed, influence.uncorrected or influence)
    assert effect is not None
    return effect(replace(job, seats=seats))


def _learned(
    job: Job, influence: Influence, plan: Plan, by_stiffness: dict[str, Array]
) -> Iterator[tuple[Source, Array]]:
    """What was learned of seats, with its correlations."""
    stated, root = learned_of_seats(job)
    if not stated:
        return
    own = {s.seat: s for s in plan.seats}
    column = {name: influence.A[:, i] for i, name in enumerate(influence.seats)}
    still = np.zeros(len(influence.checks))
    effects = []
    for one in stated:
        seat = own[one.at]
        if one.what == "stiffness":
            effects.append(by_stiffness.get(one.at, still) / _STEP)
        elif one.what == "movement":
            effects.append(column[one.at] * seat.setting)
        else:
            # a pack that loses more leaves its seat lower, unless the deck stays past it
            pressed = seat.disturbed and not job.stays_pushed(job.seats[one.at])
            effects.append(-column[one.at] if pressed else still)
    columns = np.array(effects).T @ root
    for one, change in zip(stated, columns.T, strict=True):
        yield Source(one.what, one.at), change
