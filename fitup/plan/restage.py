"""The same packs with loads as measured at the lift-off: stages, order and bands made again."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from fitup.model import CheckState, Done, Influence, Job, Plan
from fitup.model.identity import with_readings
from fitup.plan.order import order_stages
from fitup.plan.plan import plan_id
from fitup.structure.rebase import LiftOff, Rebased, lift_offs, rebase_loads, with_loads
from fitup.units import DISPLAY

Report = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class RebasedJob:
    """A job and its influence with the loads that were measured."""

    job: Job
    influence: Influence
    rebased: Rebased

    def lines(self) -> tuple[str, ...]:
        """Return what each reading says against the calculation, a line each."""
        force = DISPLAY[self.job.units].force
        lines = []
        for load in self.rebased.loads:
            if load.how == "as calculated":
                continue
            share = round(100.0 * (load.factor - 1.0))
            by = f"{abs(share)} % {'more' if share > 0 else 'less'}" if share else "the same"
            lines.append(
                f"{load.seat}: {force.text(load.calculated)} calculated, {force.text(load.now)} "
                f"now, {by}; {load.how}"
            )
        return (*lines, *self.rebased.warnings)


def rebase_job(
    job: Job, influence: Influence, done: Iterable[Done], source: bytes = b""
) -> RebasedJob:
    """Put the loads read at the lift-off into a job.

    Parameters
    ----------
    done : iterable of Done
        Readings; those of the moment lift-off count.
    source : bytes
        Content of the file they came from; part of what the plan is made from.
    """
    rebased = rebase_loads(job, influence, at_the_seats(job, lift_offs(job, done)))
    now = replace(with_loads(job, rebased), digest=with_readings(job.digest, source))
    return RebasedJob(now, replace(influence, r0=rebased.r0), rebased)


def restage(
    job: Job,
    state: CheckState,
    influence: Influence,
    plan: Plan,
    report: Report = lambda line: None,
) -> Plan:
    """Return a plan of the same packs, its stages made for a job with other loads.

    Parameters
    ----------
    job, state, influence
        With the loads that are to count now.
    plan : Plan
        Its packs and all its objectives but the number of stages stay.
    report : callable

    Raises
    ------
    NoSafeOrder
        If a limit no longer holds.
    """
    report("order of stages with the measured loads")
    stages, fewest = order_stages(job, state, influence, plan.seats, report)
    objectives = (*(w for w in plan.objectives if w.name != "stages"), fewest)
    again = replace(plan, stages=stages, objectives=objectives)
    return replace(again, id=plan_id(job, again))


def at_the_seats(job: Job, readings: Iterable[LiftOff]) -> tuple[LiftOff, ...]:
    """Take the friction out of what gauges read going up; a group is lifted off together.

    Parameters
    ----------
    job : Job
    readings : iterable of LiftOff
        Loads as the gauges give them [N].

    Returns
    -------
    tuple of LiftOff
        Seats of one group have one number of ``lift``.
    """
    groups = list(dict.fromkeys(s.group for s in job.seats.values()))
    result = []
    for reading in readings:
        seat = job.seats[reading.seat]
        load = (reading.load - seat.breakaway) / (1.0 + job.staging.friction) + seat.breakaway
        result.append(replace(reading, load=load, lift=groups.index(seat.group)))
    return tuple(result)
