"""The one state of the work: a pure function of the entries of the record, asked by every command.

:func:`work_of` folds entries into a :class:`WorkState`; nothing else decides what stands. Entries
add and never erase: a STOP stands until it is lifted, and of several reports of a stage the worse
counts until its hold point is released. :mod:`fitup.record.transitions` says which entry may
follow on which state.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import reduce
from typing import Any, Final

from fitup.record.check_code import check_code
from fitup.record.events import (
    APPROVED,
    LOCKED_OFF,
    NOTHING,
    PEOPLE_NAMED,
    PLAN_MADE,
    RECOVERY_APPROVED,
    RECOVERY_DONE,
    REJECTED,
    RELEASED,
    RESUMED,
    SHEETS_PRINTED,
    STAGE_DONE,
    STOP,
    STOP_LIFTED,
    SURVEY_ACCEPTED,
    Event,
)
from fitup.record.stage_work import (
    GO_ON,
    HOLD,
    LIFT_OFF,
    STOPPED,
    Called,
    RecoveryWork,
    Reported,
    StageWork,
)


@dataclass(frozen=True, slots=True)
class PlanWork:
    """A plan: who decided what about it, and how far its stages are.

    ``stages`` is the number of stages that were approved, 0 where the approval does not say.
    """

    id: str
    made: Event | None = None
    decision: Event | None = None
    sheets: Event | None = None
    done: Mapping[int, StageWork] = field(default_factory=dict)
    rebased: int = 0
    """Entry in which another plan was made from its measured lift-off, after it was approved."""

    @property
    def code(self) -> str:
        """Return its check code."""
        return check_code(self.id)

    @property
    def approved(self) -> bool:
        """True where the last decision is an approval; what has changed since is another matter."""
        return self.decision is not None and self.decision.kind == APPROVED

    @property
    def stages(self) -> int:
        """Return the number of stages signed for, 0 where that is not known."""
        return int(self.decision.says.get("stages", 0)) if self.decision is not None else 0

    @property
    def contingencies(self) -> str:
        """Return the id of the contingencies that were approved with it, empty without any."""
        if self.decision is None or not self.approved:
            return ""
        return str(self.decision.says.get("contingencies", ""))

    def stage(self, number: int) -> StageWork:
        """Return a stage, reported or not."""
        return self.done.get(number, StageWork(number))

    def unmeasured(self, stage: int) -> tuple[str, ...]:
        """Return the jacks whose lift-off must still be measured before a stage."""
        says = {} if self.decision is None else self.decision.says.get("lift_off", {})
        asked = [j for n, jacks in says.items() if int(n) <= stage for j in jacks]
        taken = self.stage(LIFT_OFF).taken
        return tuple(j for j in asked if f"lift-off {j}" not in taken)

    def against(self, stage: int) -> tuple[str, ...]:
        """Say why a stage must not be begun, as far as the stages before it go."""
        out = []
        unmeasured = self.unmeasured(stage) if stage != LIFT_OFF else ()
        if unmeasured:
            out.append(f"the lift-off of {', '.join(unmeasured)} is not measured")
        if stage != LIFT_OFF and self.stage(LIFT_OFF).open:
            out.append(
                "the lift-off is measured and hold point 0 not released: plan again with it "
                "(fitup sheets --readings) and approve"
            )
        if stage > 1:
            before = self.stage(stage - 1)
            if not before.open and not before.released:
                out.append(f"stage {stage - 1} is not reported as done")
            elif before.open:
                out.append(f"the hold point after stage {stage - 1} is not released")
        return tuple(out)


@dataclass(frozen=True, slots=True)
class WorkState:
    """The state of the work after some entries; see :func:`work_of`."""

    entry: int = 0
    head: str = NOTHING
    survey: Event | None = None
    plans: Mapping[str, PlanWork] = field(default_factory=dict)
    approval: Event | None = None
    """The approval made last, of whatever plan."""
    stops: tuple[Called, ...] = ()
    locked: Event | None = None
    people: Event | None = None
    """The entry in which the people of the job were named last."""
    recoveries: Mapping[str, RecoveryWork] = field(default_factory=dict)
    """By id, in the order in which they were approved or carried out last."""
    taken_up: tuple[str, ...] = ()
    """Hashes of the entries that were signed for as lost."""

    def recovery(self, plan: str, stage: int, crew: int) -> RecoveryWork | None:
        """Return the way out of a crew's stage that was approved or carried out last."""
        own = [
            r for r in self.recoveries.values() if (r.plan, r.stage, r.crew) == (plan, stage, crew)
        ]
        return own[-1] if own else None

    def plan(self, name: str) -> PlanWork:
        """Return a plan by its id, known or not."""
        return self.plans.get(name, PlanWork(name))

    @property
    def approved(self) -> PlanWork | None:
        """Return the plan approved last, unless it was rejected since."""
        plan = None if self.approval is None else self.plan(self.approval.about)
        return plan if plan is not None and plan.approved else None

    @property
    def stop_words(self) -> tuple[str, ...]:
        """Say every STOP that stands: called by somebody, or read at a stage not released."""
        return self.stops_beside("", 0)

    def stops_beside(self, plan: str, number: int) -> tuple[str, ...]:
        """Say every STOP that stands but what was read at one stage of a plan itself."""
        read = [
            f"{stage.name} of plan {own.code} was reported STOP (entry {stage.reports[-1]})"
            for own, stage in self._open()
            if stage.verdict == STOPPED and (own.id, stage.number) != (plan, number)
        ]
        return (*(s.words for s in self.stops), *read)

    def stops_of(self, recovery: RecoveryWork) -> tuple[str, ...]:
        """Say every STOP that stands and was read as a recovery was carried out."""
        return tuple(s.words for s in self.stops if s.about == recovery.id)

    def unfinished(self, plan: str, stage: int, read: Iterable[str]) -> tuple[str, ...]:
        """Say why a stage cannot be reported as done: a way out of it is under way, or half way.

        Parameters
        ----------
        plan : str
        stage : int
        read : iterable of str
            Names of what was read: what other crews read of their half does not wait.
        """
        of = {name.split()[-1] for name in read}
        crews = dict.fromkeys(r.crew for r in self.recoveries.values())
        last = [r for crew in crews if (r := self.recovery(plan, stage, crew)) is not None]
        return tuple(
            r.words
            for r in last
            if ((r.done and r.goal == "safe") or (r.report.reports and not r.done))
            and (of & r.own or not r.own)
        )

    def stops_since(self, entry: int) -> tuple[str, ...]:
        """Say every STOP that stands and was called, or read at a stage, after an entry."""
        called = [s.words for s in self.stops if s.entry > entry]
        read = [
            f"{stage.name} of plan {own.code} was reported STOP (entry {stage.reports[-1]})"
            for own, stage in self._open()
            if stage.verdict == STOPPED and stage.reports[-1] > entry
        ]
        return (*called, *read)

    @property
    def open_holds(self) -> tuple[str, ...]:
        """Say every STOP that was called and stands, and every hold point not released."""
        return (*(s.words for s in self.stops), *(_hold(p, s) for p, s in self._open()))

    @property
    def words(self) -> str:
        """Say in a line where the work stands, as every command says it."""
        said = "; ".join((self._words(), *self._recovery_words()))
        stops = "; ".join(self.stop_words)
        return f"{said}. STOPPED: {stops}" if stops else said

    @property
    def code(self) -> str:
        """Return the short code of the record up to here."""
        return check_code(self.head)

    def _open(self) -> list[tuple[PlanWork, StageWork]]:
        return [(p, s) for p in self.plans.values() for s in p.done.values() if s.open]

    def _recovery_words(self) -> tuple[str, ...]:
        """Say every way out of a stage that is not reported yet."""
        plan = self.approved
        if plan is None or self.locked is not None:
            return ()
        under_way = {
            (r.stage, r.crew): r.words
            for r in self.recoveries.values()
            if r.plan == plan.id and not plan.stage(r.stage).reports and r.words
        }
        released = {n for n, s in plan.done.items() if s.released}
        return tuple(w for (stage, _), w in sorted(under_way.items()) if stage not in released)

    def _begun(self, plan: PlanWork) -> frozenset[int]:
        """Return the stages that a way out was approved for, and that are not back at their start.

        Nobody approves a way out of a stage that nobody has begun.
        """
        own = [r for r in self.recoveries.values() if r.plan == plan.id and r.words]
        last = {(r.stage, r.crew): r for r in own}
        return frozenset(r.stage for r in last.values() if not (r.done and r.goal == "back"))

    def _words(self) -> str:
        if self.locked is not None:
            return f"locked off (entry {self.locked.number})"
        if self.approved is not None:
            return _plan_words(self.approved, self._begun(self.approved))
        made = [p for p in self.plans.values() if p.made is not None]
        if made:
            return f"planned: {made[-1].code}, not approved"
        return "survey accepted, not planned" if self.survey else "survey not accepted"


def work_of(events: Iterable[Event], start: WorkState | None = None) -> WorkState:
    """Return the state of the work after entries, in their order; nothing else is asked.

    ``start`` is the state before the first of them.
    """
    return reduce(_step, events, start or WorkState())


def _plan_words(plan: PlanWork, begun: frozenset[int]) -> str:
    """Say how far the stages of an approved plan are."""
    waiting = [s for _, s in sorted(plan.done.items()) if s.open]
    if waiting:
        return f"plan {plan.code} approved; {waiting[0].name} reported: {waiting[0].verdict}"
    released = max((n for n, s in plan.done.items() if s.released), default=0)
    if plan.stages and released >= plan.stages:
        return f"plan {plan.code} done: every stage released; survey again"
    after = f"stage {released} released, " if released else ""
    first = "the lift-off" if plan.unmeasured(released + 1) else f"stage {released + 1}"
    so = "is under way" if released + 1 in begun else "is next"
    return f"plan {plan.code} approved; {after}{first} {so}"


def _hold(plan: PlanWork, stage: StageWork) -> str:
    if stage.number == LIFT_OFF:
        return f"hold point 0, after the lift-off, of plan {plan.code}"
    return f"hold point after stage {stage.number} of plan {plan.code}"


def _step(work: WorkState, event: Event) -> WorkState:
    work = replace(work, entry=event.number, head=event.hash)
    if event.kind == PEOPLE_NAMED:
        return replace(work, people=event)
    if event.kind == SURVEY_ACCEPTED:
        # a new survey opens a new round: what was locked was locked before it
        return replace(work, survey=event, locked=None)
    if event.kind == STOP:
        called = Called(event.number, event.who, event.when, str(event.says["why"]))
        return replace(work, stops=(*work.stops, called))
    if event.kind == STOP_LIFTED:
        return replace(work, stops=tuple(s for s in work.stops if s.entry != event.says["stop"]))
    if event.kind == LOCKED_OFF:
        return replace(work, locked=event)
    if event.kind == RESUMED:
        lost = (str(digest) for digest in event.says["lost"])
        return replace(work, taken_up=(*work.taken_up, *lost))
    if event.about:
        return _of_plan(work, event)
    return work


def _of_plan(work: WorkState, event: Event) -> WorkState:
    plan = work.plan(event.about)
    if event.kind == PLAN_MADE:
        return _made(work, plan, event)
    if event.kind in (APPROVED, REJECTED):
        plan = replace(plan, decision=event, rebased=0)
        if event.kind == APPROVED:
            work = replace(work, approval=event)
            if event.says.get("readings"):
                work = _lift_off_settled(work, event)
    elif event.kind == SHEETS_PRINTED:
        plan = replace(plan, sheets=event)
    elif event.kind in (RECOVERY_APPROVED, RECOVERY_DONE):
        return _of_recovery(work, event)
    elif event.kind == STAGE_DONE:
        plan = _with(plan, _report_of(plan, event))
    elif event.kind == RELEASED:
        plan = _with(plan, _released(plan.stage(int(event.says["stage"])), event))
    return replace(work, plans={**work.plans, plan.id: plan})


def _of_recovery(work: WorkState, event: Event) -> WorkState:
    """Note a way out that was approved or carried out.

    That one was made is signed by nobody: it says nothing of the work, and must not bring one back
    that a later one has ended.
    """
    says = event.says
    name, stage, crew = str(says["recovery"]), int(says["stage"]), int(says["crew"])
    own = RecoveryWork(name, event.about, stage, crew, str(says["goal"]), event)
    if event.kind == RECOVERY_DONE:
        before = work.recoveries.get(name, replace(own, approved=None))
        # entries of before there were readings say that all of it was done
        report = _reported(before.report, {"readings": (), **says}, event.number)
        of = before.own | {str(name) for name in says.get("of", ())}
        own = replace(before, report=report, own=of, done=0 if report.missing else event.number)
        work = replace(work, stops=(*work.stops, *_stops_of(own, event)))
    others = {k: r for k, r in work.recoveries.items() if k != name}
    return replace(work, recoveries={**others, name: own})


def _stops_of(own: RecoveryWork, event: Event) -> Iterator[Called]:
    """Yield the STOPs of a report of a recovery: it should not have been, or a reading was off.

    They are lifted as any other; the stage they belong to is not reported, so it cannot hold them.
    """
    called, says = (event.number, event.who, event.when), event.says
    against = "; ".join(str(line) for line in says["against"])
    read = "; ".join(
        f"{row['read']}: {row['words']}"
        for row in says.get("readings", ())
        if row["verdict"] != GO_ON and _is_read(row)
    )
    if against:
        why = f"recovery {own.code} was carried out and should not have been: {against}"
        yield Called(*called, f"{why}; {read}" if read else why)
    elif read:
        yield Called(*called, f"recovery {own.code}: {read}", own.id)


def _made(work: WorkState, plan: PlanWork, event: Event) -> WorkState:
    """Note a plan; one made from a measured lift-off ends the codes approved before it.

    Nobody signs that entry. Whoever may write the file can so stop the work, but never start it.
    """
    plans = {**work.plans, plan.id: replace(plan, made=event)}
    before = work.approved
    if event.says.get("readings") and before is not None and before.id != plan.id:
        plans[before.id] = replace(before, rebased=event.number)
    return replace(work, plans=plans)


def _lift_off_settled(work: WorkState, event: Event) -> WorkState:
    """Release hold point 0 of the codes before: the plan made from the lift-off is approved."""
    plans = dict(work.plans)
    for plan in work.plans.values():
        stage = plan.stage(LIFT_OFF)
        if stage.verdict == GO_ON and plan.id != event.about:
            plans[plan.id] = _with(plan, _released(stage, event))
    return replace(work, plans=plans)


def _released(stage: StageWork, event: Event) -> StageWork:
    return StageWork(stage.number, released=event.number, taken=stage.taken)


def _with(plan: PlanWork, stage: StageWork) -> PlanWork:
    return replace(plan, done={**plan.done, stage.number: stage})


def _report_of(plan: PlanWork, event: Event) -> StageWork:
    return _reported(plan.stage(int(event.says["stage"])), event.says, event.number)


def _reported(stage: StageWork, says: Mapping[str, Any], entry: int) -> StageWork:
    """Add a report to a stage or recovery: nothing that was reported before is erased."""
    rows: Sequence[Mapping[str, Any]] = says["readings"]
    readings = dict(stage.readings)
    for row in filter(_is_read, rows):
        now = Reported(str(row["verdict"]), str(row["words"]), entry)
        before = readings.get(row["read"])
        if before is None or _GRADE[before.verdict] <= _GRADE[now.verdict]:
            readings[str(row["read"])] = now
    return replace(
        stage,
        readings=readings,
        asked=stage.asked | {str(row["read"]) for row in rows},
        against=tuple(dict.fromkeys((*stage.against, *_against(says)))),
        reports=(*stage.reports, entry),
        taken=stage.taken | readings.keys(),
    )


def _is_read(row: Mapping[str, Any]) -> bool:
    """Say whether a row of a report holds a reading."""
    return any(row.get(key) is not None for key in ("value_si", "pack", "stands"))


_GRADE: Final = {GO_ON: 0, HOLD: 1, STOPPED: 2}


def _against(says: Mapping[str, Any]) -> tuple[str, ...]:
    """Return why a stage should not have been done; old entries name it among their reasons."""
    said = says.get("against")
    if said is not None:
        return tuple(str(line) for line in said)
    read = any(row["verdict"] == STOPPED for row in says["readings"])
    if says["verdict"] != STOPPED or read:
        return ()
    return tuple(str(line) for line in says["reasons"])
