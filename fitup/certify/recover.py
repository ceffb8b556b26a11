"""Follow a way out of a stage that stopped, from what is true there, and refuse what cannot be.

The stage is followed to the last line that was done. Then what the crew states is put in: a load on
the oil of a broken jack goes down until nut, plates or pack carry it. From there every order is
followed like those of the stage, wherever the other crews of the stage may be.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from fitup.certify.acts import act_on, ended, hold_drops, hold_loads
from fitup.certify.bands import Reader, Swing
from fitup.certify.check import start_work
from fitup.certify.limits import STILL, Shake, Work
from fitup.certify.linked import circuit_note, linked_shake, links_of, may_read
from fitup.certify.night import Moment, Night
from fitup.certify.procedure import elsewhere, event_of, off_of, procedure_of, swing_of
from fitup.certify.recompute import Outcome, States, pack_setting
from fitup.certify.springs import Response, jack_shake, load_shares, respond, seat_on_jacks
from fitup.certify.stopped import arrive, done_at, way_back, without_oil
from fitup.model import (
    Check,
    CheckState,
    ExpectedReading,
    Influence,
    Job,
    Order,
    Plan,
    Procedure,
    Stage,
    WorkEvent,
)
from fitup.model.recovery import Found, Goal, JackHelp, Recovery, SeatFound, Stopped
from fitup.survey.points import Survey

#: what a jack that neither moves nor holds oil cannot do; its nut still turns while it is unloaded
_NEEDS_JACK: Final = (
    "SET ANEW",
    "SET",
    "TOUCH",
    "TAKE UP",
    "LIFT OFF",
    "BREAK LOOSE",
    "RAISE",
    "PUSH",
    "LET DOWN",
    "FREE",
    "LOWER",
    "LAND",
)
_WHERE: Final = "on the way"
_NOTES: Final = {
    "SET": "beside the broken one, plumb on its base, out far enough to come down",
    "TOUCH": "seating pressure; the dials stay as they are",
    "FREE": "as the nut of the broken jack comes loose, mark the new ram so that it reads this; "
    "then take the broken jack out",
    "FREE LINKED": "raise the deck to its dial reading, mark the new ram so that it reads this; "
    "then take the broken jack out",
    "JACK OFF": "all together, slowly, until every gauge reads 0: the packs carry",
}


class _Kept:
    """States that are solved once: many ways out go through the same ones."""

    def __init__(self, states: States) -> None:
        self._states = states
        self._known: dict[tuple[float, ...], Outcome] = {}

    def at(self, settings: Mapping[str, float], checks: Sequence[Check]) -> Outcome:
        """Return what the states themselves return; the checks are always the same."""
        key = tuple(settings.values())
        if key not in self._known:
            self._known[key] = self._states.at(settings, checks)
        return self._known[key]


@dataclass(frozen=True, eq=False)
class _Crew:
    """One crew of a stage before it began, with what its readings need."""

    stage: Stage
    others: tuple[Stage, ...]
    site: Mapping[str, float]
    base: Mapping[str, float]
    loose: Counter[str]
    response: Response
    shake: Shake
    off: Mapping[str, float]
    """How far rams that work goes to may be off their readings [m]."""
    reads: Mapping[str, float]
    """How far any ram may read off while nothing is wrong [m]."""


class Follower:
    """Follows recoveries of one certified plan.

    Parameters
    ----------
    job, survey, state, influence, plan
        As the plan was certified from.
    procedures, ways_back : sequence of Procedure
        Those of its certificate: a line of them says where work stopped.
    """

    def __init__(
        self,
        job: Job,
        survey: Survey,
        state: CheckState,
        influence: Influence,
        plan: Plan,
        procedures: Sequence[Procedure],
        ways_back: Sequence[Procedure] = (),
    ) -> None:
        self.job = job
        work, _, self._present = start_work(job, survey, state, influence, plan)
        self._work = replace(work, states=_Kept(work.states))
        self._procedures, self._backs = procedures, ways_back
        self._first = 1 + max((e.line for p in procedures for e in p.events), default=0)
        self._crews: dict[tuple[int, int], _Crew] = {}

    def stage(self, stopped: Stopped) -> Stage:
        """Return the stage of the crew that stopped."""
        return self._crew(stopped).stage

    def way_back(self, stopped: Stopped) -> tuple[Recovery, ...]:
        """Return the way back of a stage, where the line that was done last is one of it."""
        backs = (p for p in self._backs if any(e.line == stopped.line for e in p.events))
        return tuple(way_back(self._crew(p).stage, self._own(p), p) for p in backs)

    def found(self, stopped: Stopped, legs: Sequence[Recovery] = ()) -> Found:
        """Return where every seat stands, by the lines that were done and what is stated.

        Parameters
        ----------
        stopped : Stopped
        legs : sequence of Recovery
            The ways that led there from the stage, in the order of time.
        """
        crew, work = self._crew(stopped), replace(self._work, wrong=[])
        night, moment = self._standing(work, crew, stopped, legs, crew.site)
        outside = self._outside(night, crew, moment)
        dead = set(stopped.broken) - set(stopped.replaced)
        seats = tuple(
            SeatFound(
                state,
                night.now[state.seat].ram,
                night.now[state.seat].nut,
                any(j.id in dead for j in self.job.jacks_at(state.seat)),
                state.seat in night.started,
            )
            for state in moment.after
        )
        done = done_at(self._own(stopped), stopped, legs)
        return Found(stopped, done, seats, outside, tuple(legs))

    def follow(
        self, found: Found, goal: Goal, orders: Sequence[Order]
    ) -> tuple[Recovery | None, tuple[str, ...]]:
        """Return the certified recovery of some orders, or why they cannot be.

        Every limit is held in every state. On the way onto steel a limit that is passed is stated
        instead: where a load is on oil nothing is better than steel.

        Parameters
        ----------
        found : Found
            Where every seat stands, as :meth:`found` returns it.
        goal : {'safe', 'back', 'end'}
        orders : sequence of Order
        """
        crew = self._crew(found.stopped)
        refused: list[str] = []
        outside: list[str] = []
        told: Procedure | None = None
        for corner in elsewhere(crew.others):
            work = replace(self._work, wrong=[])
            night, _ = self._standing(
                work, crew, found.stopped, found.legs, {**crew.site, **corner}
            )
            work.wrong.clear()
            own, passed = self._followed(night, crew, found, goal, orders)
            told = told or own
            refused += [line for line in work.wrong if line not in refused]
            outside += [line for line in passed if line not in outside]
        if refused or told is None:
            return None, tuple(refused)
        return Recovery(goal, found.stopped, tuple(orders), told, tuple(outside)), ()

    def help_of(self, recovery: Recovery) -> tuple[JackHelp, ...]:
        """Return what the jacks in the place of broken ones must carry and travel at the least."""
        return tuple(self._needed(recovery, name) for name in recovery.stopped.replaced)

    # -- the stage before it stopped -------------------------------------------------------

    def _crew(self, stopped: Stopped | Procedure) -> _Crew:
        key = (stopped.stage, stopped.crew)
        if key not in self._crews:
            self._crews[key] = self._begun(*key)
        return self._crews[key]

    def _begun(self, number: int, crew: int) -> _Crew:
        """Return what stood when a stage began, and what rams off their readings do in it."""
        job, work = self.job, self._work
        site: dict[str, float] = {}
        base = {j.id: j.base for j in job.jacks.values()}
        loose = Counter({m: p.count for m, p in job.plates.items()})
        for stage in (s for s in work.plan.stages if s.number < number):
            base.update({r.jack: r.base_new for r in stage.resets})
            for k, name in enumerate(stage.seats):
                site[name] = _left_at(job, stage, k)
                loose.update(stage.before[k])
                loose.subtract(stage.after[k])
        crews = [s for s in work.plan.stages if s.number == number]
        seats = [name for stage in crews for name in stage.seats]
        top = dict(site)
        for stage in crews:
            top.update(zip(stage.seats, (stage.up or stage.down)[-1], strict=True))
        response = respond(work, top, seats)
        off = {name: off_of(job, name) for name in seats}
        shake, reads = _shaken(work, response, off, seats), may_read(job, response, off)
        own = next(s for s in crews if s.crew == crew)
        others = tuple(s for s in crews if s is not own)
        for other in others:
            loose.subtract(_most_out(other))
        return _Crew(own, others, site, base, loose, response, shake, off, reads)

    def _own(self, stopped: Stopped | Procedure) -> Procedure:
        """Return the certified procedure of the crew's stage."""
        return next(
            p for p in self._procedures if (p.stage, p.crew) == (stopped.stage, stopped.crew)
        )

    def _standing(
        self,
        work: Work,
        crew: _Crew,
        stopped: Stopped,
        legs: Sequence[Recovery],
        site: Mapping[str, float],
    ) -> tuple[Night, Moment]:
        """Follow a crew to the line that was done, and put in what is stated."""
        night = Night(
            work, crew.stage, site, self._present, crew.response, crew.shake, dict(crew.base)
        )
        arrive(night, self._own(stopped), stopped, legs)
        night.most = night.taken.copy()
        return night, act_on(night, Order("HOLD POINT", "hold", ()), "")

    # -- from there ------------------------------------------------------------------------

    def _followed(
        self, night: Night, crew: _Crew, found: Found, goal: Goal, orders: Sequence[Order]
    ) -> tuple[Procedure, list[str]]:
        """Follow orders; return them as events, and limits that nobody can keep."""
        stopped = found.stopped
        swing = swing_of(night.work, night, (crew.stage, *crew.others), crew.stage, crew.site)
        reader = Reader(night, crew.response, crew.shake, crew.reads, swing)
        events: list[WorkEvent] = []
        passed: list[str] = []
        new = set(stopped.replaced)
        # a number said on the radio means one thing
        first = max(self._first, *(1 + leg.procedure.events[-1].line for leg in found.legs), 0)
        for number, order in enumerate(orders, 1):
            where = f"{order.verb}, event {number}"
            _hold_jacks(night, stopped, order, where)
            moment = act_on(night, order, where)
            known = found if goal != "safe" else None
            passed += self._limits(night, crew, swing, moment, known)
            readings = _readings(reader, night, moment)
            event = event_of(crew.stage, first + number - 1, moment, readings)
            events.append(replace(event, note=_note(night, new, event)))
            if order.verb == "FREE":
                new -= set(order.objects)
        _hold_plates(night, crew.loose, stopped)
        _hold_end(night, goal)
        return procedure_of(self.job, crew.stage, tuple(events)), passed

    def _outside(self, night: Night, crew: _Crew, moment: Moment) -> tuple[str, ...]:
        """Return the limits that do not hold where work stopped, in words."""
        swing = swing_of(night.work, night, (crew.stage, *crew.others), crew.stage, crew.site)
        return tuple(self._limits(night, crew, swing, moment, None))

    def _limits(
        self,
        night: Night,
        crew: _Crew,
        swing: Mapping[str, Swing],
        moment: Moment,
        found: Found | None,
    ) -> list[str]:
        """Hold a state against every limit; return those that are stated and not refused.

        Refused is what was not so already where work stopped; without ``found`` nothing is.
        """
        wrong = night.work.wrong
        known = len(wrong)
        hold_loads(night, moment, _WHERE, _shake(night, crew, moment))
        hold_drops(night, moment, _WHERE)
        _hold_reserve(night, swing, moment, _WHERE)
        lines = [line.removeprefix(f"{_WHERE}: ") for line in wrong[known:]]
        del wrong[known:]
        told = [line for line in lines if found is None or line in found.outside]
        wrong += [f"{_WHERE}: {line}" for line in lines if line not in told]
        return told

    def _needed(self, recovery: Recovery, name: str) -> JackHelp:
        job, jack = self.job, self.job.jacks[name]
        load, rams = 0.0, [0.0]
        for event in recovery.procedure.events:
            for reading in event.readings:
                if reading.at != name:
                    continue
                if reading.instrument == "gauge":
                    stop = reading.band("STOP")
                    most = 0.0 if stop is None or event.verb == "TOUCH" else stop.high
                    load = max(
                        load,
                        reading.load * job.working.jack_reserve,
                        most * jack.ram_area * job.staging.worst_reserve,
                    )
                elif reading.instrument == "ram":
                    rams.append(reading.value)
        squeezed = load / job.working.jack_reserve / seat_on_jacks(job, jack.seat)[0]
        return JackHelp(name, jack.seat, load, max(rams) - min(rams) + squeezed + jack.resolution)


def _shake(night: Night, crew: _Crew, moment: Moment) -> Shake:
    """Return what rams off their readings may add, of the seats that stand on oil."""
    on_oil = [s.seat for s in moment.after if s.on == "oil"]
    off = {n: far if n in on_oil else 0.0 for n, far in crew.off.items()}
    return _shaken(night.work, crew.response, off, on_oil)


def _shaken(
    work: Work, response: Response, off: Mapping[str, float], on_oil: Sequence[str]
) -> Shake:
    """Return what rams off their readings, and one pressure parted by friction, may add."""
    if links_of(work.job, response.seats, on_oil):
        return linked_shake(work, response, off, True, on_oil)
    return jack_shake(work, response, off) if any(off.values()) else STILL


def _left_at(job: Job, stage: Stage, k: int) -> float:
    """Return the setting at which a stage leaves its seat k [m]."""
    seat = job.seats[stage.seats[k]]
    if seat.held_by == "packs" and not job.stays_pushed(seat):
        return pack_setting(job, seat, stage.after[k])
    return (stage.down or stage.up)[-1][k]


def _most_out(stage: Stage) -> Counter[str]:
    """Return the most plates of each mark that a crew has out of the store at one moment."""
    out: Counter[str] = Counter()
    most: Counter[str] = Counter()
    for move in (m for order in stage.orders for m in order.moved):
        out[move.mark] += (move.source == "store") - (move.target == "store")
        most[move.mark] = max(most[move.mark], out[move.mark])
    return most


# -- what is held ------------------------------------------------------------------------------


def _hold_jacks(night: Night, stopped: Stopped, order: Order, where: str) -> None:
    """Hold an order against jacks that do nothing any more, and nuts that carry."""
    dead = set(stopped.broken) - set(stopped.replaced)
    lost = without_oil(night.job, dead)
    for name in order.objects if order.verb in _NEEDS_JACK else ():
        if name in dead:
            night.wrong(where, f"{order.verb} asks for jack {name}, which is broken")
        elif name in lost:
            circuit = night.job.jacks[name].circuit
            night.wrong(where, f"{order.verb} asks for jack {name}, but circuit {circuit} leaks")
    if order.verb == "FOLLOW WITH NUT":
        for name in order.objects:
            one = night.now[night.job.jacks[name].seat]
            if one.on == "nut" and one.let_down:
                night.wrong(where, f"the nut of jack {name} carries and cannot be turned")


def _hold_reserve(night: Night, swing: Mapping[str, Swing], moment: Moment, where: str) -> None:
    """Hold the reserve of every jack that carries on oil."""
    job = night.job
    for state in (s for s in moment.after if s.on == "oil"):
        load = max(0.0, state.load + swing[state.seat].more) * (1.0 + job.staging.friction)
        for jack in job.jacks_at(state.seat):
            own = (load + job.seats[state.seat].breakaway) * load_shares(job, state.seat)[jack.id]
            if own * job.working.jack_reserve > jack.capacity + 1.0:
                night.wrong(
                    where,
                    f"jack {jack.id}: {own / 1e3:.0f} kN leaves less than the reserve of "
                    f"{job.working.jack_reserve:g} on {jack.capacity / 1e3:.0f} kN",
                )


def _hold_plates(night: Night, loose: Mapping[str, int], stopped: Stopped) -> None:
    """Hold what is taken from the store, from here on, against what is in it."""
    lost = Counter(stopped.lost)
    for mark, count in sorted(night.most.items()):
        short = count - loose[mark] + lost[mark]
        if short > 0:
            night.wrong("recovery", f"{short} plate {mark} too few in store")


def _hold_end(night: Night, goal: Goal) -> None:
    """Hold the state that is left against the goal."""
    if goal == "end":
        ended(night)
        return
    for name, one in night.now.items():
        if one.on == "oil":
            night.wrong("recovery", f"seat {name} is left on oil")
        if goal == "back" and (
            abs(one.setting - one.start) > 1e-6 or one.beside or one.on_pack or _other_pack(night)
        ):
            night.wrong("recovery", f"seat {name} is not left as the stage found it")


def _other_pack(night: Night) -> bool:
    before = dict(zip(night.stage.seats, night.stage.before, strict=True))
    return any(Counter(one.pack) != Counter(before[n]) for n, one in night.now.items())


# -- how it is stated ----------------------------------------------------------------------------


def _readings(reader: Reader, night: Night, moment: Moment) -> tuple[ExpectedReading, ...]:
    """Return what is read; a jack that touches in the raised state has only its gauge."""
    found = reader.read(moment)
    if moment.order.verb == "TOUCH" and night.started:
        return tuple(r for r in found if r.instrument == "gauge")
    return found


def _note(night: Night, new: set[str], event: WorkEvent) -> str:
    """Return what must be seen in an event of a recovery, in plain words.

    ``new`` are jacks in the place of broken ones that do not carry yet.
    """
    named = ", ".join(sorted(new & set(event.objects)))
    own = [c for c in night.links.circuits if set(c.jacks) <= set(event.objects)]
    if named and event.verb in ("SET", "TOUCH", "FREE"):
        linked = event.verb == "FREE" and any(new & set(c.jacks) for c in own)
        led = circuit_note(own, event.verb, "") if event.verb == "FREE" else ""
        note = f"{named}: {_NOTES['FREE LINKED' if linked else event.verb]}"
        valves = {night.job.jacks[j].circuit for j in new & set(event.objects)} - {""}
        if event.verb == "SET" and valves:
            note += f", on valve {' and '.join(sorted(valves))} in its place"
        return f"{note}; {led}" if led else note
    if event.verb == "JACK OFF" and not night.started:
        return _NOTES["JACK OFF"]
    return circuit_note(own, event.verb, event.note)
