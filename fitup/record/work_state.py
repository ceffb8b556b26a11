"""The one state of the work: a pure function of the entries of the record, asked by every command.

:func:`work_of` folds entries into a :class:`Work`; nothing else decides what stands. Entries add
and never erase: a STOP stands until it is lifted, and of several reports of a stage the worse
counts until its hold point is released. :data:`TRANSITIONS` says which entry may follow on which
state; docs/record.md prints it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
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
    RECOVERY_MADE,
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

GO_ON: Final = "go on"
HOLD: Final = "hold"
STOPPED: Final = "stop"
#: the measured lift-off is reported and released like a stage
LIFT_OFF: Final = 0

#: entry, what must hold before it, what is so after it
TRANSITIONS: Final = (
    (SURVEY_ACCEPTED, "another survey than the one accepted last", "survey accepted"),
    (PLAN_MADE, "nothing: it is made from the files that lie there", "planned, to be approved"),
    (
        PLAN_MADE + ", from a measured lift-off",
        "nothing",
        "planned, to be approved; the codes before it are dead",
    ),
    (
        APPROVED,
        "survey accepted; no file changed since it was planned; sheets printed; every check inside",
        "approved; every other plan void",
    ),
    (REJECTED, "a plan", "rejected, until approved again with a reason"),
    (
        STAGE_DONE + ", the lift-off",
        "the plan approved, no STOP standing",
        "lift-off reported; plan again and approve, or release with a reason",
    ),
    (
        STAGE_DONE,
        "the plan approved, its lift-off measured, the stage before released, no STOP standing; "
        "else it is written down and says STOP",
        "stage reported: go on, hold or stop, the worst of all its reports",
    ),
    (
        RELEASED,
        "the stage reported, no STOP standing; with a reason unless it says go on",
        "the next stage may begin",
    ),
    (STOP, "nothing: anybody of the job may", "STOPPED, beside whatever else is so"),
    (STOP_LIFTED, "that STOP standing, with a reason", "as before the STOP"),
    (
        LOCKED_OFF,
        "survey accepted, no STOP standing, no hold point open, every joint to be locked",
        "locked off",
    ),
    (
        RECOVERY_MADE,
        "nothing: it is made from the plan and from what the crew says",
        "recovery to be approved",
    ),
    (
        RECOVERY_APPROVED,
        "that recovery, made again from what was said; its plan approved, STOP or not; its stage "
        "not reported",
        "recovery may be carried out; earlier ones of the crew are dead; every STOP goes on "
        "standing",
    ),
    (
        RECOVERY_DONE,
        "that recovery approved, no later one, its stage not reported whole; else it is written "
        "down and a STOP stands",
        "the stage as the recovery leaves it: on steel, not begun, or to be reported",
    ),
)

#: goal of a recovery -> how it leaves the stage
LEAVES: Final[Mapping[str, str]] = {
    "safe": "rests on steel in the middle of",
    "back": "has not begun",
    "end": "is at the end of",
}


@dataclass(frozen=True, slots=True)
class RecoveryWork:
    """A way out of a stage: who approved it, and whether it was carried out (its entry, else 0)."""

    id: str
    plan: str
    stage: int
    crew: int
    goal: str
    approved: Event | None = None
    done: int = 0

    @property
    def code(self) -> str:
        """Return its check code."""
        return check_code(self.id)

    @property
    def words(self) -> str:
        """Say where it stands; empty while nobody has approved it."""
        crew = f"crew {self.crew}"
        if self.done:
            return f"{crew} {LEAVES[self.goal]} stage {self.stage} (entry {self.done})"
        if self.approved is not None:
            return f"recovery {self.code} of stage {self.stage}, {crew}: to be carried out"
        return ""


@dataclass(frozen=True, slots=True)
class Called:
    """A STOP that somebody called."""

    entry: int
    who: str
    when: str
    why: str

    @property
    def words(self) -> str:
        """Return it in a line."""
        return f"STOP was called (entry {self.entry}): {self.why}"


@dataclass(frozen=True, slots=True)
class Reported:
    """What one report says of one reading."""

    verdict: str
    words: str
    entry: int


@dataclass(frozen=True, slots=True)
class StageWork:
    """A stage of one plan: what was reported since its hold point was last released.

    Parameters
    ----------
    number : int
    readings : mapping of str to Reported
        Worst report of each reading that was taken.
    asked : frozenset of str
        Every reading asked for.
    against : tuple of str
        Why it should not have been done at all.
    reports : tuple of int
        Entries in which it was reported since the last release.
    released : int
        Entry of the last release, 0 while there is none.
    taken : frozenset of str
        Every reading ever taken of it, released or not.
    """

    number: int
    readings: Mapping[str, Reported] = field(default_factory=dict)
    asked: frozenset[str] = frozenset()
    against: tuple[str, ...] = ()
    reports: tuple[int, ...] = ()
    released: int = 0
    taken: frozenset[str] = frozenset()

    @property
    def missing(self) -> tuple[str, ...]:
        """Return what was asked for and not read."""
        return tuple(sorted(self.asked - self.readings.keys()))

    @property
    def verdict(self) -> str:
        """Return ``go on``, ``hold`` or ``stop``, the worst of all reports; empty without one."""
        if not self.reports:
            return ""
        said = {r.verdict for r in self.readings.values()}
        if self.against or STOPPED in said:
            return STOPPED
        return HOLD if self.missing or HOLD in said else GO_ON

    @property
    def reasons(self) -> tuple[str, ...]:
        """Return why it is not ``go on``, the gravest first."""
        graded = [
            f"{name}: {r.words} (entry {r.entry})"
            for verdict in (STOPPED, HOLD)
            for name, r in self.readings.items()
            if r.verdict == verdict
        ]
        missing = (f"not read: {', '.join(self.missing)}",) if self.missing else ()
        return (*self.against, *graded, *missing)

    @property
    def open(self) -> bool:
        """True while it was reported and not released since."""
        return bool(self.reports)

    @property
    def name(self) -> str:
        """Return what it is called."""
        return "the lift-off" if self.number == LIFT_OFF else f"stage {self.number}"


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
class Work:
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

    def _words(self) -> str:
        if self.locked is not None:
            return f"locked off (entry {self.locked.number})"
        if self.approved is not None:
            return _plan_words(self.approved)
        made = [p for p in self.plans.values() if p.made is not None]
        if made:
            return f"planned: {made[-1].code}, not approved"
        return "survey accepted, not planned" if self.survey else "survey not accepted"


def work_of(events: Iterable[Event], start: Work | None = None) -> Work:
    """Return the state of the work after entries, in their order; nothing else is asked.

    ``start`` is the state before the first of them.
    """
    return reduce(_step, events, start or Work())


def _plan_words(plan: PlanWork) -> str:
    """Say how far the stages of an approved plan are."""
    waiting = [s for _, s in sorted(plan.done.items()) if s.open]
    if waiting:
        return f"plan {plan.code} approved; {waiting[0].name} reported: {waiting[0].verdict}"
    released = max((n for n, s in plan.done.items() if s.released), default=0)
    if plan.stages and released >= plan.stages:
        return f"plan {plan.code} done: every stage released; survey again"
    after = f"stage {released} released, " if released else ""
    first = "the lift-off" if plan.unmeasured(released + 1) else f"stage {released + 1}"
    return f"plan {plan.code} approved; {after}{first} is next"


def _hold(plan: PlanWork, stage: StageWork) -> str:
    if stage.number == LIFT_OFF:
        return f"hold point 0, after the lift-off, of plan {plan.code}"
    return f"hold point after stage {stage.number} of plan {plan.code}"


def _step(work: Work, event: Event) -> Work:
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


def _of_plan(work: Work, event: Event) -> Work:
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
        plan = _with(plan, _reported(plan.stage(int(event.says["stage"])), event))
    elif event.kind == RELEASED:
        plan = _with(plan, _released(plan.stage(int(event.says["stage"])), event))
    return replace(work, plans={**work.plans, plan.id: plan})


def _of_recovery(work: Work, event: Event) -> Work:
    """Note a way out that was approved or carried out.

    That one was made is signed by nobody: it says nothing of the work, and must not bring one back
    that a later one has ended.
    """
    says = event.says
    name, stage, crew = str(says["recovery"]), int(says["stage"]), int(says["crew"])
    own = RecoveryWork(name, event.about, stage, crew, str(says["goal"]), event)
    if event.kind == RECOVERY_DONE:
        before = work.recoveries.get(name, replace(own, approved=None))
        own = replace(before, done=event.number)
        against = "; ".join(str(line) for line in says["against"])
        if against:
            why = f"recovery {own.code} was carried out and should not have been: {against}"
            stop = Called(event.number, event.who, event.when, why)
            work = replace(work, stops=(*work.stops, stop))
    others = {k: r for k, r in work.recoveries.items() if k != name}
    return replace(work, recoveries={**others, name: own})


def _made(work: Work, plan: PlanWork, event: Event) -> Work:
    """Note a plan; one made from a measured lift-off ends the codes approved before it.

    Nobody signs that entry. Whoever may write the file can so stop the work, but never start it.
    """
    plans = {**work.plans, plan.id: replace(plan, made=event)}
    before = work.approved
    if event.says.get("readings") and before is not None and before.id != plan.id:
        plans[before.id] = replace(before, rebased=event.number)
    return replace(work, plans=plans)


def _lift_off_settled(work: Work, event: Event) -> Work:
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


def _reported(stage: StageWork, event: Event) -> StageWork:
    """Add a report to a stage: nothing that was reported before is erased."""
    rows: Sequence[Mapping[str, Any]] = event.says["readings"]
    readings = dict(stage.readings)
    for row in rows:
        if row["value_si"] is None and row["pack"] is None:
            continue
        now = Reported(str(row["verdict"]), str(row["words"]), event.number)
        before = readings.get(row["read"])
        if before is None or _GRADE[before.verdict] <= _GRADE[now.verdict]:
            readings[str(row["read"])] = now
    return replace(
        stage,
        readings=readings,
        asked=stage.asked | {str(row["read"]) for row in rows},
        against=tuple(dict.fromkeys((*stage.against, *_against(event)))),
        reports=(*stage.reports, event.number),
        taken=stage.taken | readings.keys(),
    )


_GRADE: Final = {GO_ON: 0, HOLD: 1, STOPPED: 2}


def _against(event: Event) -> tuple[str, ...]:
    """Return why a stage should not have been done; old entries name it among their reasons."""
    said = event.says.get("against")
    if said is not None:
        return tuple(str(line) for line in said)
    read = any(row["verdict"] == STOPPED for row in event.says["readings"])
    if event.says["verdict"] != STOPPED or read:
        return ()
    return tuple(str(line) for line in event.says["reasons"])
