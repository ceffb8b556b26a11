"""What the order of work must keep, checked afresh: crews, pumps, windows, who waits for whom."""

from __future__ import annotations

from itertools import combinations, groupby

from fitup.certify.limits import ROUND, Work
from fitup.model import Job, Stage


def check_order(work: Work) -> None:
    """Note every stage that the crews, pumps, windows or the asked order do not allow."""
    finished: set[str] = set()
    last = {stage.group: stage.number for stage in work.plan.stages}
    for number, stages in groupby(work.plan.stages, key=lambda s: s.number):
        crews = list(stages)
        where = f"stage {number}"
        if len(crews) > work.job.staging.crews:
            work.wrong.append(f"{where}: {len(crews)} groups at once for {work.job.staging.crews}")
        for one, other in combinations(crews, 2):
            _side_by_side(work, where, one, other)
        for stage in crews:
            _driven(work, where, stage)
            _waits(work, where, stage, finished, last)
            _travel(work, where, stage)
        finished |= {s.group for s in crews if last[s.group] == number}


def _side_by_side(work: Work, where: str, one: Stage, other: Stage) -> None:
    """Two crews at once: not the same seats, pumps or hours; no pushing of what is lifted."""
    seats = work.job.seats
    names = f"{where}: {one.group} and {other.group}"
    if set(one.seats) & set(other.seats):
        work.wrong.append(f"{names} move the same seat")
    if set(one.pumps) & set(other.pumps):
        work.wrong.append(f"{names} need the same pump")
    if one.window and other.window and one.window != other.window:
        work.wrong.append(f"{names} have different hours")
    flat = any(not seats[s].lifts for s in (*one.seats, *other.seats))
    if flat and {seats[s].segment for s in one.seats} & {seats[s].segment for s in other.seats}:
        work.wrong.append(f"{names} would push a segment while another crew works on it")


def _driven(work: Work, where: str, stage: Stage) -> None:
    job = work.job
    if not job.pumps:
        return
    hoses = {jack for pump in stage.pumps for jack in job.pumps[pump].jacks}
    for seat in stage.seats:
        for jack in job.jacks_at(seat):
            if jack.id not in hoses:
                work.wrong.append(f"{where}: no pump of {stage.group} drives jack {jack.id}")


def _waits(work: Work, where: str, stage: Stage, finished: set[str], last: dict[str, int]) -> None:
    rule = work.job.groups.get(stage.group)
    for before in () if rule is None else rule.after:
        if before in last and before not in finished:
            work.wrong.append(f"{where}: {stage.group} moves before {before} is finished")
    if rule is not None and rule.window != stage.window:
        work.wrong.append(f"{where}: {stage.group} does not name its hours")


def _travel(work: Work, where: str, stage: Stage) -> None:
    most = _most_travel(work.job, stage.group)
    rows = [stage.start, *stage.up, *stage.down]
    top = stage.up[-1] if stage.up else stage.start
    for k, seat in enumerate(stage.seats):
        travel = max(abs(top[k] - rows[0][k]), abs(top[k] - rows[-1][k]))
        if travel > most + ROUND:
            work.wrong.append(
                f"{where}: seat {seat} travels {travel * 1e3:.1f} mm in one go, at most "
                f"{most * 1e3:.1f} mm"
            )


def _most_travel(job: Job, group: str) -> float:
    rule = job.groups.get(group)
    own = None if rule is None else rule.stage_lift
    return job.staging.stage_lift if own is None else own
