"""Goal by goal, what can be done from where a crew stopped, or which help is needed for it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from fitup.certify.recover import Follower
from fitup.errors import InputError, Problem
from fitup.model import Job, Plan, Procedure, circuits_of
from fitup.model.recovery import GOALS, Answer, Found, Goal, PlateHelp, Recovery, Stopped, Tried
from fitup.procedure.heights import Heights
from fitup.procedure.recover import Way, ways_out
from fitup.procedure.recover_linked import LinkedWay
from fitup.procedure.tell import loads_of

if TYPE_CHECKING:
    from fitup.certify import Certificate
    from fitup.model import CheckState, Influence
    from fitup.survey.points import Survey

_SHORT: Final = re.compile(r"(\d+) plate (.+) too few in store$")


class Rescuer:
    """Finds and certifies ways out of the stages of one certified plan.

    Parameters
    ----------
    job, survey, state, influence, plan, certificate
        As the plan was certified.
    """

    def __init__(
        self,
        job: Job,
        survey: Survey,
        state: CheckState,
        influence: Influence,
        plan: Plan,
        certificate: Certificate,
    ) -> None:
        self.job, self.plan = job, plan
        self._loads = loads_of(job, influence)
        certified = (certificate.procedures, certificate.ways_back)
        self.follower = Follower(job, survey, state, influence, plan, *certified)

    def answer(
        self, stopped: Stopped, goals: Sequence[Goal] = GOALS, earlier: Sequence[Recovery] = ()
    ) -> Answer:
        """Return what can be done from where a crew stopped, goal by goal.

        Parameters
        ----------
        stopped : Stopped
            What the crew says is true, with its stage and crew.
        goals : sequence of str
            Those that are tried, in this order.
        earlier : sequence of Recovery
            Where it stopped in a recovery: that one, and before it those it began in.
        """
        first = earlier[0].stopped if earlier else stopped
        found = self.follower.found(stopped, (*self.follower.way_back(first), *earlier))
        _whole_circuits(self.job, found)
        return Answer(found, tuple(self._tried(found, goal) for goal in goals))

    def _tried(self, found: Found, goal: Goal) -> Tried:
        way, why_not = self._way(found, goal)
        if way is not None:
            return Tried(goal, way)
        return self._helped(found, Tried(goal, None, why_not))

    def _way(self, found: Found, goal: Goal) -> tuple[Recovery | None, tuple[str, ...]]:
        ways = ways_out(self._begin(found), goal)
        if isinstance(ways, str):
            return None, (ways,)
        way, why_not = self.follower.follow(found, goal, tuple(order for order, _ in ways))
        if way is None:
            return None, why_not
        return replace(way, reached=tuple(reached for _, reached in ways)), ()

    def _begin(self, found: Found) -> Way:
        """Return a crew where it stopped, before anything is done."""
        stage = self.follower.stage(found.stopped)
        if not circuits_of(self.job, stage.seats):
            return Way(self.job, stage, found)
        site = dict.fromkeys(self.job.seats, 0.0)
        for done in (s for s in self.plan.stages if s.number < stage.number):
            site.update(zip(done.seats, (done.down or done.up)[-1], strict=True))
        return LinkedWay(self.job, stage, found, Heights(self.job, self._loads, stage, site))

    def _helped(self, found: Found, tried: Tried) -> Tried:
        """Say which help makes a way where there is none: other jacks, or plates."""
        stopped = found.stopped
        short = [m for m in map(_SHORT.search, tried.why_not) if m is not None]
        plates = tuple(PlateHelp(m[2], int(m[1])) for m in short)
        if plates and len(plates) == len(tried.why_not):
            return replace(tried, plates=plates)
        dead = tuple(j for j in stopped.broken if j not in stopped.replaced)
        if not dead or tried.goal == "safe":
            return tried
        other = replace(stopped, replaced=stopped.broken)
        way, _ = self._way(self.follower.found(other, found.legs), tried.goal)
        if way is None:
            return tried
        jacks = tuple(h for h in self.follower.help_of(way) if h.jack in dead)
        return replace(tried, jacks=jacks)


def stopped_at(
    job: Job,
    procedures: Sequence[Procedure],
    stated: Stopped,
    earlier: Recovery | None = None,
) -> Stopped:
    """Return what is stated with stage and crew of its line, refused where it cannot be.

    Parameters
    ----------
    procedures : sequence of Procedure
        Of the plan's certificate, with those of the ways back.
    earlier : Recovery, optional
        The one whose line it is. What was said as it began is still true.

    Raises
    ------
    InputError
        If the line is of no crew, or a jack, seat or plate is none of the crew's.
    """
    if earlier is not None:
        procedures, stated = (earlier.procedure,), _still_true(stated, earlier)
    own = next((p for p in procedures if any(e.line == stated.line for e in p.events)), None)
    if own is None:
        do = "read the number of the last line that was done"
        lines = [e.line for p in procedures for e in p.events]
        found, allowed = f"line {stated.line}", f"a line of the move sheets, {min(lines)} to "
        problem = Problem("command line", found, f"{allowed}{max(lines)}", do, None, "--line")
        raise InputError([problem])
    _check(job, own, stated)
    return replace(stated, stage=own.stage, crew=own.crew)


def _still_true(stated: Stopped, earlier: Recovery) -> Stopped:
    """Add what was said as a recovery began; a new jack that took the load works like any other."""
    before = earlier.stopped
    done = sum(e.line <= stated.line for e in earlier.procedure.events)
    freed = {j for o in earlier.orders[:done] if o.verb == "FREE" for j in o.objects}
    sound = set(before.replaced) & freed
    broken = dict.fromkeys((*stated.broken, *(j for j in before.broken if j not in sound)))
    old = (j for j in before.replaced if j not in sound and j not in stated.broken)
    return replace(
        stated,
        broken=tuple(broken),
        replaced=tuple(dict.fromkeys((*stated.replaced, *old))),
        lost=(*before.lost, *stated.lost),
    )


def _whole_circuits(job: Job, found: Found) -> None:
    """Refuse what no valve does: a circuit of which some seats stand on oil and others do not."""
    on = {s.state.seat: s.state.on for s in found.seats}
    for circuit in circuits_of(job, on):
        oil = [s for s in circuit.seats if on[s] == "oil"]
        if oil and len(oil) < len(circuit.seats):
            other = next(s for s in circuit.seats if s not in oil)
            problem = Problem(
                "command line",
                f"seat {other} on {on[other]} and seat {oil[0]} on oil, both on circuit "
                f"{circuit.id}",
                "a circuit whose seats all stand on oil, or none",
                "run the nuts home at all its jacks and let its oil off, then say --on for each",
                None,
                "--on",
            )
            raise InputError([problem])


def _follows(job: Job, own: Procedure, stopped: Stopped) -> list[Problem]:
    """Say which rams cannot be stated: those that go where their leading jack takes them."""
    circuits = circuits_of(job, own.seats)
    lead = {job.jacks[c.lead].seat: c for c in circuits}
    return [
        Problem(
            "command line",
            f"the ram of {jack}, which follows {c.lead} on circuit {c.id}",
            f"the ram of {c.lead}",
            "state where the leading ram stands; if the others do not stand where the sheet says "
            "then, go no further: one pressure does not carry this segment",
            None,
            "--ram",
        )
        for jack, _ in stopped.rams
        for c in circuits
        if jack in c.jacks and job.jacks[jack].seat not in lead
    ]


def _check(job: Job, own: Procedure, stopped: Stopped) -> None:
    """Refuse what is said of jacks, seats and plates that the crew does not have."""
    said: Mapping[str, tuple[Sequence[str], Sequence[str]]] = {
        "--broken": (stopped.broken, own.jacks),
        "--replaced": (stopped.replaced, stopped.broken),
        "--ram": ([jack for jack, _ in stopped.rams], own.jacks),
        "--on": ([seat for seat, _ in stopped.on], own.seats),
        "--lost": (stopped.lost, tuple(job.plates)),
    }
    wrong = [
        Problem("command line", name, f"one of {', '.join(known) or 'none'}", "name it", None, key)
        for key, (names, known) in said.items()
        for name in names
        if name not in known
    ]
    wrong += _follows(job, own, stopped)
    dead = set(stopped.broken) - set(stopped.replaced)
    wrong += [
        Problem(
            "command line",
            f"seat {seat} on oil, with jack {jack.id} there broken",
            "what carries it without that jack: nut, temporary, pack or friction",
            "run nuts home or plates up to the load and let it down on them, then say that",
            None,
            "--on",
        )
        for seat, on in stopped.on
        if on == "oil" and seat in own.seats
        for jack in job.jacks_at(seat)
        if jack.id in dead
    ]
    if wrong:
        raise InputError(wrong)
