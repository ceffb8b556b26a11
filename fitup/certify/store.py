"""Plates counted from stage to stage, in packs and in the store."""

from __future__ import annotations

from collections import Counter
from itertools import groupby

from fitup.certify.facts import StockFact
from fitup.certify.limits import Work
from fitup.model import Job, Seat, Stage


def must_follow(job: Job, seat: Seat) -> bool:
    """Say whether plates must follow the load of a seat: no lock nut holds it.

    Parameters
    ----------
    job, seat
    """
    return seat.held_by == "packs" and any(not j.lock_nut for j in job.jacks_at(seat.id))


def count_store(work: Work) -> tuple[StockFact, ...]:
    """Count the store through the stages: no plate may be used before it is there.

    Crews of one stage do not wait for each other: what one sets free is not there for another.
    """
    loose = Counter({m: p.count for m, p in work.job.plates.items()})
    taken: Counter[str] = Counter()
    returned: Counter[str] = Counter()
    for number, stages in groupby(work.plan.stages, key=lambda s: s.number):
        crews = list(stages)
        need: Counter[str] = Counter()
        for stage in crews:
            need.update(_added(stage))
        for mark, count in need.items():
            if count > loose[mark]:
                work.wrong.append(
                    f"stage {number}: {count - loose[mark]} plate {mark} too few in store"
                )
        for stage in crews:
            for old, new in zip(stage.before, stage.after, strict=True):
                out, put_in = Counter(old) - Counter(new), Counter(new) - Counter(old)
                loose.update(out)
                loose.subtract(put_in)
                taken.update(put_in)
                returned.update(out)
    return tuple(
        StockFact(m, p.nominal, p.measured, p.count, taken[m], returned[m], loose[m])
        for m, p in work.job.plates.items()
    )


def one_by_one(job: Job, stage: Stage) -> bool:
    """Say whether the packs of a stage are changed seat by seat: plates hold the others.

    Parameters
    ----------
    job, stage
    """
    return any(must_follow(job, job.seats[s]) for s in stage.seats)


def _added(stage: Stage) -> Counter[str]:
    """Return the plates that the packs of a stage hold more of than before it.

    What is out of the store between, the events of its procedure count.
    """
    added = Counter(m for pack in stage.after for m in pack)
    return added - Counter(m for pack in stage.before for m in pack)
