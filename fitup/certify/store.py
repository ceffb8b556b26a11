"""Plates counted moment by moment, in packs, temporary stacks and the store."""

from __future__ import annotations

from collections import Counter
from itertools import groupby

from fitup.certify.facts import StockFact
from fitup.certify.limits import Work
from fitup.model import Job, Seat, Stage


def must_follow(job: Job, seat: Seat) -> bool:
    """Say whether plates must follow the load of a seat: no lock nut holds it."""
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
            need.update(_most_at_once(work.job, stage))
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
    """Say whether the packs of a stage are changed seat by seat: plates hold the others."""
    return any(must_follow(job, job.seats[s]) for s in stage.seats)


def _most_at_once(job: Job, stage: Stage) -> Counter[str]:
    """Return the most plates of each mark that a stage has out of the store at one moment."""
    now: Counter[str] = Counter()
    most: Counter[str] = Counter()

    def note() -> None:
        for mark, count in now.items():
            most[mark] = max(most[mark], count)

    standing: list[tuple[str, ...]] = [()] * len(stage.seats)

    def stand(k: int, marks: tuple[str, ...]) -> None:
        now.subtract(standing[k])
        now.update(marks)
        standing[k] = marks

    for row in stage.follow_up:
        for k, marks in enumerate(row):
            stand(k, marks)
        note()
    below = stage.follow_down[0] if stage.follow_down else ((),) * len(stage.seats)
    if not one_by_one(job, stage):
        for old, new in zip(stage.before, stage.after, strict=True):
            now.update(new)
            now.subtract(old)
        note()
    else:
        for k, (old, new) in enumerate(zip(stage.before, stage.after, strict=True)):
            stand(k, ())
            now.update(new)
            now.subtract(old)
            stand(k, below[k])
            note()
    for row in stage.follow_down:
        for k, marks in enumerate(row):
            stand(k, marks)
        note()
    return most
