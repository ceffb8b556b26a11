"""Ways out of a stage that stopped: onto steel where it stands, back, or on to its end.

The way back is the way there undone, line by line from the last one done. The way on is what is
left of the stage. Both use only jacks that work; a seat whose jack is broken takes part only where
it has to go nowhere.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from fitup.model import Job, Order, PlateMove, Stage
from fitup.model.procedure import Phase, Verb
from fitup.model.recovery import Found, Goal, SeatFound

#: verbs that bring rams to readings from START
_MOVES = ("RAISE", "PUSH", "LOWER", "FREE")
#: verbs after which a load is on oil
_BEGINS: Final[tuple[Verb, ...]] = ("LIFT OFF", "BREAK LOOSE", "FREE")
_PLATES = ("FOLLOW WITH PLATES", "TAKE OUT PLATES")
_TEMPORARY = ("beside", "on pack")
_ENDS = ("READ", "HOLD POINT")
_ROUND = 1e-9


def ways_out(way: Way, goal: Goal) -> tuple[tuple[Order, int], ...] | str:
    """Return what a crew does to reach a goal, or why nothing leads there.

    Parameters
    ----------
    way : Way
        Of a crew that stopped; each goal asks for a new one.
    goal : {'safe', 'back', 'end'}

    Returns
    -------
    tuple of (Order, int), or str
        Not certified; empty where the goal is reached already. With each order, how many orders of
        the stage stand when it is done.
    """
    obstacle = way.obstacle(goal)
    if obstacle:
        return obstacle
    ways = {"safe": way.safe, "back": way.back, "end": way.end}
    found: list[tuple[Order, int]] = []
    for order in (o for o in ways[goal]() if o.objects):
        if found and found[-1][0] == order:
            # the stage asks at once for what was just done
            found.pop()
        found.append((order, way.at))
    return tuple(found)


class Way:
    """One crew that stopped, seat by seat in the order of its stage.

    Parameters
    ----------
    job : Job
    stage : Stage
        With its orders.
    found : Found
        Where everything stands.
    """

    def __init__(self, job: Job, stage: Stage, found: Found) -> None:
        self.job, self.stage, self.found = job, stage, found
        self.seats = {s.state.seat: s for s in found.seats}
        self.done, self.left = stage.orders[: found.done], stage.orders[found.done :]
        self.at = found.done
        """How many orders of the stage stand when the order is done that was yielded last."""
        self.rams = {n: s.ram for n, s in self.seats.items()}
        self.landed = any(o.verb == "LAND" for o in self.done)
        self.raised = [n for n, s in self.seats.items() if s.started and not self._rests(s)]
        """Seats that stand on oil, nut or temporary plates, and can be moved."""
        self.on_oil = [n for n in self.raised if self.seats[n].state.on == "oil"]
        self.open = {n for n in self.raised if self.seats[n].nut}
        """Seats whose nut is not at the ram."""
        self.before, self.now = self._positions()
        self.moved: list[PlateMove] = []
        """Plates that were moved since it stopped."""
        self.set_up: set[str] = set()
        """Seats at which the jack in place of a broken one is set."""

    def _rests(self, seat: SeatFound) -> bool:
        return seat.dead or seat.state.on == "pack" or self.landed

    def _positions(self) -> tuple[list[dict[str, float]], dict[str, float]]:
        """Return where rams stood before every order that was done, and after the last."""
        rams, found = dict.fromkeys(self.seats, 0.0), []
        for order in self.done:
            found.append(dict(rams))
            if order.verb in _MOVES:
                rams.update(self._aims(order))
        return found, rams

    def _aims(self, order: Order) -> dict[str, float]:
        pairs = zip(order.objects, order.aims, strict=True)
        return {self.job.jacks[jack].seat: aim for jack, aim in pairs}

    # -- what may stand in the way ---------------------------------------------------------

    def obstacle(self, goal: Goal) -> str:
        """Say why a goal is out of reach whatever is ordered; empty where nothing says so."""
        if goal == "safe":
            return ""
        if goal == "end" and self.found.started and not self.done:
            return "the stage is back where it began: it begins anew, from its first line"
        pushes = any(not self.job.seats[n].comes_back for n in self.seats)
        if goal == "back" and pushes and self.found.started:
            return "a push in plan is not pushed back: the ram cannot pull"
        if goal == "back" and self.landed:
            return "the deck is down on its new packs: the way back is a new lift"
        return next(filter(None, (self._stuck(n, s, goal) for n, s in self.seats.items())), "")

    def _stuck(self, name: str, seat: SeatFound, goal: Goal) -> str:
        """Say why a seat cannot go where a goal asks; empty where it can."""
        if self.landed:
            return ""
        on_pack = seat.state.on == "pack"
        own = [o for o in self.left if name in map(self._seat_of, o.objects)]
        if goal == "end" and seat.started and all(o.verb == "CHANGE PACK" for o in own):
            # its lock nut holds it, and it has no further to go
            return ""
        if seat.dead and seat.started and not on_pack:
            return f"the jack of seat {name} is broken, and the seat stands on {seat.state.on}"
        if seat.dead and goal == "end" and not seat.started:
            return f"the jack of seat {name} is broken before it has the load"
        index = self.stage.seats.index(name)
        pack = (self.stage.before if goal == "back" else self.stage.after)[index]
        if seat.started and on_pack and sorted(seat.state.pack) != sorted(pack):
            if goal == "back":
                return f"seat {name} came down on its new pack: go on to the end"
            return f"seat {name} came down on its old pack: go back, then begin anew"
        return ""

    # -- onto steel ------------------------------------------------------------------------

    def safe(self) -> Iterator[Order]:
        """Yield how every load that stands on oil comes onto steel where it is."""
        if not self.found.started or self.landed:
            yield from self._off()
            return
        yield from self._rest([n for n, s in self.seats.items() if s.state.on == "oil"])

    def _off(self) -> Iterator[Order]:
        """Yield jacks off: the load never left the packs, or is down on them."""
        touched = any(o.verb == "TOUCH" for o in self.done)
        taken_off = any(o.verb == "JACK OFF" for o in self.done)
        if touched and not taken_off:
            yield Order("JACK OFF", "off", self._jacks(list(self.seats)))

    def _rest(self, seats: Sequence[str]) -> Iterator[Order]:
        """Yield nuts home, temporary plates loaded, oil off.

        A seat with neither is never further over its pack than plates follow: it lands there.
        """
        nuts = [n for n in seats if self._has_nut(n)]
        others = [n for n in seats if not self._has_nut(n) and self.job.seats[n].comes_back]
        plates = [n for n in others if self._stacked(n)]
        packs = [n for n in others if n not in plates]
        yield Order("NUT HOME", "rest", self._jacks(nuts))
        yield Order("LET DOWN", "rest", self._jacks(plates))
        yield Order("LAND", "landing", self._jacks(packs))
        lifts = [n for n in seats if self.job.seats[n].comes_back and n not in packs]
        pushes = [n for n in seats if not self.job.seats[n].comes_back]
        yield Order("OIL OFF", "rest", self._jacks(lifts))
        yield Order("OIL OFF", "let off", self._jacks(pushes))
        self.on_oil, self.open = [], self.open - set(nuts)

    def _stacked(self, seat: str) -> bool:
        """Say whether temporary plates lie at a seat now."""
        lying = Counter((*self.seats[seat].state.beside, *self.seats[seat].state.on_pack))
        for move in (m for m in self.moved if m.seat == seat):
            if move.source in _TEMPORARY:
                lying[move.mark] -= 1
            if move.target in _TEMPORARY:
                lying[move.mark] += 1
        return bool(+lying)

    def _has_nut(self, seat: str) -> bool:
        return all(j.lock_nut for j in self.job.jacks_at(seat))

    def _jacks(self, seats: Sequence[str]) -> tuple[str, ...]:
        return tuple(j.id for n in seats for j in self.job.jacks_at(n))

    # -- back ------------------------------------------------------------------------------

    def back(self) -> Iterator[Order]:
        """Yield what was done undone, the last first."""
        if not self.found.started:
            yield from self._off()
            return
        yield from self._all_to(self.now)
        for k in reversed(range(len(self.done))):
            order = self.done[k]
            undone = [o for o in self._undone(order, self.before[k]) if o.objects]
            for one in undone:
                # jacks that are off begin anew from the first line
                begun = 0 if order.verb == "LIFT OFF" else k
                self.at = begun if one is undone[-1] else k + 1
                yield one

    def _undone(self, order: Order, rams: Mapping[str, float]) -> Iterator[Order]:
        if order.verb == "CHANGE PACK":
            if all(self._has_pack(n, self.stage.before) for n in order.objects):
                return
            if self.on_oil:
                yield from self._rest(self.on_oil)
            yield self._put_back("CHANGE PACK", "plates", order)
        elif order.verb in _PLATES:
            yield from self._onto_oil()
            phase: Phase = "lower" if order.phase == "lift" else "lift"
            yield self._put_back("FOLLOW WITH PLATES", phase, order)
        elif order.verb in _MOVES:
            yield from self._all_to(rams)
        elif order.verb == "LIFT OFF":
            yield from self._settled_back()

    def _settled_back(self) -> Iterator[Order]:
        """Yield how the deck comes onto its packs and nuts, as the way back of the stage says."""
        home, settled = dict.fromkeys(self.seats, 0.0), list(self.stage.back)
        for k, order in enumerate(self.stage.back):
            if order.verb in _MOVES:
                home.update(self._aims(order))
                settled = list(self.stage.back[k + 1 :])
        yield from self._onto_oil()
        yield from self._to(home, self.raised)
        for order in settled:
            if order.verb == "JACK OFF":
                yield order
                continue
            own = [j for j in order.objects if self._seat_of(j) in self.raised]
            yield Order(
                order.verb, order.phase, tuple(own), (0.0,) * len(own if order.aims else ())
            )

    def _put_back(self, verb: Verb, phase: Phase, order: Order) -> Order:
        """Return plates put back to where they came from, the last first."""
        moved = tuple(PlateMove(m.mark, m.seat, m.target, m.source) for m in reversed(order.moved))
        self.moved += moved
        return Order(verb, phase, order.objects, (), moved)

    def _onto_oil(self) -> Iterator[Order]:
        """Yield how nuts or temporary plates are freed, all together, where a load is on them."""
        if len(self.on_oil) == len(self.raised):
            return
        if self.on_oil:
            yield from self._rest(self.on_oil)
        low = [n for n in self.raised if self.rams[n] < self.now[n] - _ROUND]
        if low and len(low) < len(self.raised):
            # what went down alone comes up alone: the others stand on steel meanwhile
            yield from self._freed(low)
            yield from self._to(self.now, low)
            yield from self._rest(low)
        yield from self._freed(self.raised)
        self.on_oil = list(self.raised)

    def _freed(self, seats: Sequence[str]) -> Iterator[Order]:
        new = [n for n in seats if self._replaced(n) and n not in self.set_up]
        self.set_up |= set(new)
        yield Order("SET", "set", self._jacks(new))
        yield Order("TOUCH", "touch", self._driven(new))
        self._loosen(seats)
        yield Order("FREE", "free", self._jacks(seats), self._readings(seats))

    def _driven(self, seats: Sequence[str]) -> tuple[str, ...]:
        """Return the jacks that oil comes to where those of some seats are to touch."""
        return self._jacks(seats)

    def _loosen(self, seats: Sequence[str]) -> None:
        """Bring rams to where what carries is loose: plates need one mark more to be free."""
        for n in seats:
            if not self._has_nut(n):
                self.rams[n] += max(j.resolution for j in self.job.jacks_at(n))

    def _replaced(self, seat: str) -> bool:
        jacks = self.found.stopped.replaced
        return any(j.id in jacks for j in self.job.jacks_at(seat))

    def _readings(self, seats: Sequence[str]) -> tuple[float, ...]:
        return tuple(round(self.rams[n], 9) for n in seats for _ in self.job.jacks_at(n))

    def _apart(self, rams: Mapping[str, float]) -> bool:
        return any(abs(rams[n] - self.rams[n]) > _ROUND for n in self.raised)

    def _all_to(self, rams: Mapping[str, float]) -> Iterator[Order]:
        """Yield the moves of all raised seats to ram readings, their loads on oil before."""
        if self._apart(rams):
            yield from self._onto_oil()
            yield from self._to(rams, self.raised)

    def _to(self, rams: Mapping[str, float], seats: Sequence[str]) -> Iterator[Order]:
        """Yield moves to ram readings, out and in as lines of their own, nuts with them."""
        out = [n for n in seats if rams[n] > self.rams[n] + _ROUND]
        back = [n for n in seats if rams[n] < self.rams[n] - _ROUND]
        yield from self._nuts_home([n for n in out if n in self.open], "lift")
        moves: tuple[tuple[Verb, Phase, list[str]], ...] = (
            ("RAISE", "lift", [n for n in out if self.job.seats[n].comes_back]),
            ("PUSH", "push", [n for n in out if not self.job.seats[n].comes_back]),
            ("LOWER", "lower", back),
        )
        for verb, phase, own in moves:
            nuts = [n for n in own if self._has_nut(n)]
            if verb == "LOWER":
                yield Order("FOLLOW WITH NUT", "lower", self._jacks(nuts), self._room(nuts, rams))
                self.open |= set(nuts)
            for n in own:
                self.rams[n] = rams[n]
            yield Order(verb, phase, self._jacks(own), self._readings(own))
            if verb != "LOWER":
                yield from self._nuts_home(nuts, phase)

    def _nuts_home(self, seats: Sequence[str], phase: Phase) -> Iterator[Order]:
        jacks = self._jacks(seats)
        yield Order("FOLLOW WITH NUT", phase, jacks, (0.0,) * len(jacks))
        self.open -= set(seats)

    def _room(self, seats: Sequence[str], rams: Mapping[str, float]) -> tuple[float, ...]:
        """Return how far nuts are run back before a step down: the step and a little room [m]."""
        aims = []
        for n in seats:
            step = self.rams[n] - rams[n]
            room = min(step + self.job.staging.slide, self.job.working.follow_up)
            aims += [round(max(step, room), 9)] * len(self.job.jacks_at(n))
        return tuple(aims)

    # -- on to the end ---------------------------------------------------------------------

    def end(self) -> Iterator[Order]:
        """Yield what is left of the stage, from the readings of the last line."""
        if self.found.started and not self.landed:
            if self._planned_on_oil():
                # what stays on its nut is not freed again for the way down
                last = next(o for o in reversed(self.done) if o.verb in _BEGINS)
                freed = set(map(self._seat_of, last.objects))
                self.raised = [n for n in self.raised if n in freed or last.verb != "FREE"]
                yield from self._onto_oil()
                yield from self._all_to(self.now)
                yield from self._nuts_as_planned()
            else:
                if self.on_oil:
                    yield from self._rest(self.on_oil)
                # packs that were put back on a way back that stopped
                for order in self.done:
                    if order.verb == "CHANGE PACK" and not any(
                        self._has_pack(n, self.stage.after) for n in order.objects
                    ):
                        yield from self._kept(order)
        elif not self.found.started:
            new = self._jacks([n for n in self.seats if self._replaced(n)])
            yield Order("SET", "set", new)
        for k, order in enumerate(self.left, self.found.done + 1):
            if order.verb not in _ENDS:
                self.at = k
                yield from self._kept(order)

    def _has_pack(self, seat: str, packs: Sequence[Sequence[str]]) -> bool:
        """Say whether a pack lies at a seat, of those of the stage, as work stopped."""
        wanted = packs[self.stage.seats.index(seat)]
        return sorted(self.seats[seat].state.pack) == sorted(wanted)

    def _nuts_as_planned(self) -> Iterator[Order]:
        """Yield nuts run back once more, where they were for the next step down."""
        moved = max((k for k, o in enumerate(self.done) if o.verb in _MOVES), default=0)
        for order in self.done[moved:]:
            back = order.verb == "RUN NUT BACK" or (
                order.verb == "FOLLOW WITH NUT" and any(order.aims)
            )
            if back and any(self._seat_of(j) not in self.open for j in order.objects):
                yield from self._kept(order)

    def _planned_on_oil(self) -> bool:
        """Say whether the stage has its load on oil after the last line."""
        verbs = [o.verb for o in self.done]
        last = {v: len(verbs) - verbs[::-1].index(v) for v in verbs}
        began = max(last.get(v, 0) for v in _BEGINS)
        return max(last.get(v, 0) for v in ("LET DOWN", "OIL OFF")) < began

    def _kept(self, order: Order) -> Iterator[Order]:
        """Yield an order for the jacks that still have something to do in it."""
        resting = {n for n, s in self.seats.items() if s.started and s.state.on == "pack"}
        if order.verb == "JACK OFF" or self.landed or not resting:
            yield order
            return
        kept = [k for k, name in enumerate(order.objects) if self._seat_of(name) not in resting]
        aims = tuple(order.aims[k] for k in kept) if order.aims else ()
        moved = tuple(m for m in order.moved if m.seat not in resting)
        names = tuple(order.objects[k] for k in kept)
        yield Order(order.verb, order.phase, names, aims, moved)

    def _seat_of(self, name: str) -> str:
        return self.job.jacks[name].seat if name in self.job.jacks else name
