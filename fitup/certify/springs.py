"""Jacks as springs once more: what gives under a load, how jacks of a seat share it, who is off."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitup.certify.limits import Shake, Work
from fitup.certify.recompute import Outcome
from fitup.frames import Array
from fitup.model import SPRINGS, Jack, Job, Seat


def jack_stiffness(jack: Jack) -> tuple[float, float]:
    """Return the stiffness of a jack on its oil [N/m], and the share by which it may be wrong.

    Oil and what stands under it give one after the other: their compliances add up. A column of
    oil of height h under a ram of area A gives F h / (K A).
    """
    if jack.stiffness is not None:
        return jack.stiffness, SPRINGS.spread_stated
    height = SPRINGS.dead + jack.stroke_used
    gives = height / (SPRINGS.oil * jack.ram_area) + 1.0 / SPRINGS.base
    return 1.0 / gives, SPRINGS.spread


def seat_on_jacks(job: Job, seat: str) -> tuple[float, float]:
    """Return the stiffness of all jacks of a seat side by side [N/m], and its uncertain share.

    Parameters
    ----------
    job, seat
    """
    found = [jack_stiffness(j) for j in job.jacks_at(seat)]
    total = sum(k for k, _ in found)
    return total, sum(k * u for k, u in found) / total


def load_shares(job: Job, seat: str) -> dict[str, float]:
    """Return how equilibrium shares the load of a seat among its jacks.

    One circuit has one pressure, so forces are as the ram areas. Jacks at one stroke are springs
    side by side, so forces are as the stiffnesses.

    Parameters
    ----------
    job, seat

    Returns
    -------
    dict of str to float
        Share of each jack; together 1.
    """
    jacks = job.jacks_at(seat)
    circuits = [j.circuit for j in jacks]
    if circuits and circuits[0] and circuits.count(circuits[0]) == len(circuits):
        weights = [j.ram_area for j in jacks]
    else:
        weights = [jack_stiffness(j)[0] for j in jacks]
    return {j.id: w / sum(weights) for j, w in zip(jacks, weights, strict=True)}


@dataclass(frozen=True, eq=False)
class Response:
    """What a unit of setting at each moving seat does, about one state.

    Parameters
    ----------
    seats : tuple of str
        Those that move (k).
    reactions : Array (n, k)
        Change of every reaction of the job for a unit of setting [N/m].
    change : Array (m, k)
        Change of every check.
    forces : Array (p, k)
        Change of every watched force, in the order of ``names``.
    """

    seats: tuple[str, ...]
    reactions: Array
    change: Array
    forces: Array
    names: tuple[str, ...]
    base: Outcome

    def own(self, job: Job) -> Array:
        """Return the change of the moving seats' reactions (k, k) [N/m]."""
        rows = list(job.seats)
        return self.reactions[[rows.index(s) for s in self.seats]]


def respond(work: Work, values: Mapping[str, float], seats: Sequence[str]) -> Response:
    """Find the response about a state, by moving one seat after the other a little.

    Parameters
    ----------
    work : Work
    values : mapping of str to float
        Settings of the state by seat [m]; seats not named stand as surveyed.
    seats : sequence of str
        Those that move.
    """
    small = 5e-4
    base = work.states.at(work.settings(values), work.state.checks)
    names = tuple(base.forces)
    columns = []
    for seat in seats:
        moved = {**values, seat: values.get(seat, 0.0) + small}
        columns.append(work.states.at(work.settings(moved), work.state.checks))

    def rows(selection: Callable[[Outcome, str], float], names: Sequence[str]) -> Array:
        found = [[(selection(c, n) - selection(base, n)) / small for c in columns] for n in names]
        return np.array(found).reshape(len(names), len(columns))

    return Response(
        tuple(seats),
        rows(lambda outcome, name: outcome.reactions[name], list(work.job.seats)),
        np.array([(c.change - base.change) / small for c in columns]).T,
        rows(lambda outcome, name: outcome.forces[name], names),
        names,
        base,
    )


def softer(job: Job, seat: Seat, wrong: float = 0.0) -> float:
    """Return how much more a pack gives than the jacks of its seat [m/N]; zero for a push.

    Parameters
    ----------
    job, seat
    wrong : float
        By how much of its uncertainty the jack is stiffer, from -1 (softest) to 1 (stiffest).
    """
    if not seat.comes_back:
        return 0.0
    stiffness, spread = seat_on_jacks(job, seat.id)
    return 1.0 / seat.stiffness - 1.0 / (stiffness * (1.0 + wrong * spread))


def jack_shake(work: Work, response: Response, off: Mapping[str, float]) -> Shake:
    """Return what rams off their readings may add, each alone on its jack's spring, added up.

    The spring of a jack is not known well: the worse of the stiffest and the softest counts.

    Parameters
    ----------
    work : Work
    response : Response
        Of all seats that move.
    off : mapping of str to float
        How far the rams of each of them may be off their readings [m].
    """
    job, own = work.job, response.own(work.job)
    far = np.array([off[s] for s in response.seats])
    reactions = np.zeros(len(job.seats))
    change = np.zeros(len(work.state.checks))
    forces = np.zeros(len(response.names))
    if far.any():
        for wrong in (-1.0, 1.0):
            more = np.array([softer(job, job.seats[s], wrong) for s in response.seats])
            settings = np.linalg.inv(np.eye(len(far)) - more[:, None] * own) * far
            reactions = np.maximum(reactions, np.abs(response.reactions @ settings).sum(axis=1))
            change = np.maximum(change, np.abs(response.change @ settings).sum(axis=1))
            if len(forces):
                forces = np.maximum(forces, np.abs(response.forces @ settings).sum(axis=1))
    return Shake(
        dict(zip(response.seats, far.tolist(), strict=True)),
        dict(zip(job.seats, reactions.tolist(), strict=True)),
        change,
        dict(zip(response.names, forces.tolist(), strict=True)),
    )
