"""What jacks of one seat carry: shares of its load by equilibrium, stiffness, and what they may."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from fitup.model import SPRINGS, Jack, Job, Seat


def stiffness(jack: Jack) -> float:
    """Return the stiffness of a jack with its oil and base where it touches [N/m].

    The oil column is as stiff as its bulk modulus times the ram area over its height.
    """
    if jack.stiffness is not None:
        return jack.stiffness
    oil = SPRINGS.oil * jack.ram_area / (jack.stroke_used + SPRINGS.dead)
    return 1.0 / (1.0 / oil + 1.0 / SPRINGS.base)


def softer(job: Job, seat: Seat, wrong: float = 0.0) -> float:
    """Return how much more the pack of a seat gives than its jacks [m/N]; zero for a push.

    Parameters
    ----------
    job, seat
    wrong : float
        By how much of its uncertainty the jack is stiffer than calculated; below zero, softer.

    Returns
    -------
    float
        Below zero where the jacks give more than the pack.
    """
    jacks = job.jacks_at(seat.id)
    if not seat.comes_back or not jacks:
        return 0.0
    total = sum(stiffness(j) for j in jacks)
    unsure = sum(
        stiffness(j) * (SPRINGS.spread if j.stiffness is None else SPRINGS.spread_stated)
        for j in jacks
    )
    return 1.0 / seat.stiffness - 1.0 / (total + wrong * unsure)


def shares(job: Job, seat: str) -> Mapping[str, float]:
    """Return the share of a seat's load that each of its jacks carries.

    Jacks on one circuit have one pressure: they share by ram areas. Others are kept at one stroke:
    they share by stiffness.

    Parameters
    ----------
    job : Job
    seat : str

    Returns
    -------
    mapping of str to float
        By jack; the shares add up to one.
    """
    jacks = job.jacks_at(seat)
    together = {j.circuit for j in jacks}
    one_circuit = len(together) == 1 and "" not in together
    weight = {j.id: j.ram_area if one_circuit else stiffness(j) for j in jacks}
    total = sum(weight.values())
    return {name: w / total for name, w in weight.items()}


def seat_capacity(job: Job, seat: str) -> float:
    """Return the load of a seat at which the first of its jacks is at its capacity [N].

    Parameters
    ----------
    job : Job
    seat : str

    Returns
    -------
    float
        Zero where there are no jacks.
    """
    part = shares(job, seat)
    return min((j.capacity / part[j.id] for j in job.jacks_at(seat)), default=0.0)


def stronger(job: Job, seat: str, more: float) -> dict[str, Jack]:
    """Return the jacks of a seat with so much more capacity that the seat has more.

    Parameters
    ----------
    job : Job
    seat : str
    more : float
        For the seat as a whole [N]; each jack has its share of it.
    """
    part = shares(job, seat)
    return {j.id: replace(j, capacity=j.capacity + more * part[j.id]) for j in job.jacks_at(seat)}
