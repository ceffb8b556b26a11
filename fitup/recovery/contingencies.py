"""Answers computed beforehand: what can fail in a stage, and what can then be done, line by line.

One thing fails at a time: a jack, a pump, a plate, a seat that does not lift off, a reading outside
its band. For each and after every line the ways out are found and certified as for a crew that
stopped there. Crews and failures are independent, so they are worked at side by side.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import groupby, pairwise
from typing import Final, Literal

from fitup.certify.facts import Certificate
from fitup.model import CheckState, Influence, Job, Plan, Procedure
from fitup.model.recovery import GOALS, Goal, JackHelp, PlateHelp, Stopped, Tried, rounded_up
from fitup.recovery.ways import Rescuer, stopped_at
from fitup.survey.points import Survey

Kind = Literal["jack", "pump", "plate", "no lift-off", "reading"]
#: belong to the stage, not to a crew
_ENDS: Final = ("READ", "HOLD POINT")


@dataclass(frozen=True, slots=True)
class Failure:
    """One thing that fails: its kind, and the jack, pump or plate it is."""

    kind: Kind
    what: str = ""


@dataclass(frozen=True, slots=True)
class GoalAnswer:
    """What can be done towards one goal: ``way``, with ``help``, or ``none``.

    ``lines`` is the number of lines of the longest way of several, ``why_not`` the first reason
    against it.
    """

    goal: Goal
    status: Literal["way", "help", "none"]
    lines: int = 0
    why_not: str = ""
    jacks: tuple[JackHelp, ...] = ()
    plates: tuple[PlateHelp, ...] = ()
    outside: bool = False
    """Some limit does not hold until it is done."""


@dataclass(frozen=True, slots=True)
class Contingency:
    """What can be done when one thing fails after any line from ``first`` to ``last``."""

    stage: int
    crew: int
    failure: Failure
    first: int
    last: int
    outcomes: tuple[GoalAnswer, ...]

    def of(self, goal: Goal) -> GoalAnswer:
        """Return what can be done towards a goal."""
        return next(o for o in self.outcomes if o.goal == goal)

    @property
    def answered(self) -> bool:
        """True where something can be done, by what there is or with help that is named."""
        return any(o.status != "none" for o in self.outcomes)


@dataclass(frozen=True, eq=False)
class Certified:
    """A certified plan with all it was made from."""

    job: Job
    survey: Survey
    state: CheckState
    influence: Influence
    plan: Plan
    certificate: Certificate

    def rescuer(self) -> Rescuer:
        """Return what finds ways out of its stages."""
        return Rescuer(
            self.job, self.survey, self.state, self.influence, self.plan, self.certificate
        )


def contingencies(certified: Certified, workers: int = 1) -> tuple[Contingency, ...]:
    """Return what can be done for every foreseeable failure, in the order of stages and lines.

    Parameters
    ----------
    workers : int
        Processes that work side by side; the answer is the same for any number.

    """
    tasks = [
        (procedure, failure)
        for procedure in certified.certificate.procedures
        for failure in failures(certified.job, procedure)
    ]
    if workers == 1:
        rescuer = certified.rescuer()
        found = [_answers(rescuer, *task) for task in tasks]
    else:
        from joblib import Parallel, delayed

        found = Parallel(n_jobs=workers)(delayed(_apart)(certified, *task) for task in tasks)
    return tuple(answer for answers in found for answer in answers)


def failures(job: Job, procedure: Procedure) -> tuple[Failure, ...]:
    """Return what can be foreseen to fail in one crew's stage, one thing at a time.

    Parameters
    ----------
    job
    procedure : Procedure
        That of the crew's stage, as certified.

    Returns
    -------
    tuple of Failure
        Every jack and pump, every plate from the store, a seat that does not lift off, and last
        a reading outside its band.
    """
    jacks = [Failure("jack", name) for name in procedure.jacks]
    pumps = [Failure("pump", name) for name in procedure.pumps]
    put_in = dict.fromkeys(m.mark for e in procedure.events for m in e.moved if m.source == "store")
    plates = [Failure("plate", mark) for mark in put_in]
    lifts = any(e.verb == "LIFT OFF" for e in procedure.events)
    held = [Failure("no lift-off")] if lifts else []
    return (*jacks, *pumps, *plates, *held, Failure("reading"))


@lru_cache(maxsize=1)
def _kept(certified: Certified) -> Rescuer:
    return certified.rescuer()


def _apart(certified: Certified, procedure: Procedure, failure: Failure) -> list[Contingency]:
    """Answer one failure in a process of its own."""
    return _answers(_kept(certified), procedure, failure)


def _answers(rescuer: Rescuer, procedure: Procedure, failure: Failure) -> list[Contingency]:
    """Return what can be done after every line at which a thing can fail, like answers as one."""
    found = [
        (line, _outcomes(rescuer, procedure, failure, line)) for line in _lines(procedure, failure)
    ]
    merged = []
    for _, group in groupby(found, key=lambda item: tuple(map(_kind_of, item[1]))):
        own = list(group)
        columns = zip(*(outcomes for _, outcomes in own), strict=True)
        merged.append(
            Contingency(
                procedure.stage,
                procedure.crew,
                failure,
                own[0][0],
                own[-1][0],
                tuple(_worst(column) for column in columns),
            )
        )
    return merged


def _lines(procedure: Procedure, failure: Failure) -> Iterator[int]:
    """Yield the lines after which a thing can fail so that it matters."""
    events = [e for e in procedure.events if e.verb not in _ENDS]
    if failure.kind == "no lift-off":
        yield [e.line for e in events if e.verb == "TAKE UP"][-1]
        return
    for before, event in pairwise(events):
        taken = any(m.mark == failure.what and m.source == "store" for m in event.moved)
        if failure.kind != "plate" or taken:
            yield before.line
            if failure.kind == "plate":
                return


def _outcomes(
    rescuer: Rescuer, procedure: Procedure, failure: Failure, line: int
) -> tuple[GoalAnswer, ...]:
    """Return what can be done after a line, goal by goal."""
    if failure.kind == "jack":
        return _tried(rescuer, procedure, Stopped(line, broken=(failure.what,)), GOALS)
    if failure.kind == "plate":
        return _tried(rescuer, procedure, Stopped(line, lost=(failure.what,)), GOALS)
    if failure.kind == "pump":
        driven = rescuer.job.pumps[failure.what].jacks
        lost = tuple(j for j in procedure.jacks if j in driven)
        # its oil is lost at all its jacks; once they are driven again they work
        safe = _tried(rescuer, procedure, Stopped(line, broken=lost), ("safe",))
        goals: tuple[Goal, ...] = ("back", "end")
        return (*safe, *_tried(rescuer, procedure, Stopped(line, at_rest=True), goals))
    goals = ("safe", "back")
    own = _tried(rescuer, procedure, Stopped(line), goals)
    return (*own, GoalAnswer("end", "none", why_not="only when the engineer knows the reason"))


def _tried(
    rescuer: Rescuer, procedure: Procedure, stated: Stopped, goals: Sequence[Goal]
) -> tuple[GoalAnswer, ...]:
    stopped = stopped_at(rescuer.job, (procedure,), stated)
    return tuple(_outcome(tried) for tried in rescuer.answer(stopped, goals).tried)


def _outcome(tried: Tried) -> GoalAnswer:
    if tried.recovery is not None:
        lines, outside = len(tried.recovery.orders), bool(tried.recovery.outside)
        return GoalAnswer(tried.goal, "way", lines, outside=outside)
    why = tried.why_not[0] if tried.why_not else ""
    status: Literal["help", "none"] = "help" if tried.helped else "none"
    return GoalAnswer(tried.goal, status, 0, why, tried.jacks, tried.plates)


def _kind_of(outcome: GoalAnswer) -> tuple[object, ...]:
    """Return what must be the same for two answers to stand as one."""
    jacks = tuple(h.jack for h in outcome.jacks)
    why = outcome.why_not if outcome.status == "none" else ""
    return outcome.status, jacks, outcome.plates, why


def _worst(outcomes: Sequence[GoalAnswer]) -> GoalAnswer:
    """Return answers of one kind as one: the longest way, the greatest help."""
    first = outcomes[0]
    jacks = tuple(
        # rounded as it is printed: the last bits of a solver are no part of the answer
        rounded_up(
            replace(
                help_,
                capacity=max(o.jacks[i].capacity for o in outcomes),
                stroke=max(o.jacks[i].stroke for o in outcomes),
            )
        )
        for i, help_ in enumerate(first.jacks)
    )
    return replace(
        first,
        lines=max(o.lines for o in outcomes),
        jacks=jacks,
        outside=any(o.outside for o in outcomes),
    )
