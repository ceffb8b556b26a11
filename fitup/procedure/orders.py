"""The night in order: from a stage to the list of what its crew does, from set to hold point.

A lift: set, touch, take up the load in shares, lift off (START), raise step by step with nuts or
temporary plates following, rest on them with the oil off, change packs, free, lower with nuts or
plates following, land, jacks off. A push: break loose (START), push past the mark by the room a
pack needs, let off, pack in. Nothing is changed where a load stands on oil alone; where a job has
nothing else for it to stand on, the certificate says so by name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from fitup.frames import Array
from fitup.model import Job, Order, PlateMove, Stage
from fitup.model.procedure import Phase, PlatePlace, Verb
from fitup.procedure.heights import Heights
from fitup.procedure.stacks import Stacks

#: load is taken over in these shares before lift-off (common practice, no source)
SHARES = (0.25, 0.50, 0.75, 0.90)


def end_of(job: Job, crews: Sequence[Stage]) -> tuple[Order, Order]:
    """Return the readings and the one hold point of a stage, which belong to all its crews.

    Parameters
    ----------
    job : Job
    crews : sequence of Stage
        All of one number; the joints of the segments they move are read.
    """
    moved = {job.seats[n].segment for stage in crews for n in stage.seats}
    joints = tuple(j.id for j in job.joints.values() if moved & {j.back, j.ahead})
    return Order("READ", "read", joints), Order("HOLD POINT", "hold", joints)


class Crew:
    """One crew in one stage, seat by seat in the order of the stage.

    Parameters
    ----------
    loose : mapping of str to int
        Plates the crew may take from the store.
    together : bool
        Packs are changed at all seats at once, so that a plate may go from one to another.
    lend : int
        So many more of each mark may follow the load where nothing else will do.
    """

    def __init__(
        self,
        job: Job,
        heights: Heights,
        stage: Stage,
        loose: Mapping[str, int],
        *,
        together: bool = False,
        lend: int = 0,
    ) -> None:
        self.job, self.heights, self.stage = job, heights, stage
        self.seats = [job.seats[n] for n in stage.seats]
        self.lifts = [k for k, s in enumerate(self.seats) if s.comes_back]
        self.pushes = [k for k, s in enumerate(self.seats) if not s.comes_back]
        self.nuts = [k for k in range(len(self.seats)) if self._all_nuts(k)]
        self.changed = [k for k, new in enumerate(heights.changed) if new]
        self.turns = [tuple(self.changed)] if together else [(k,) for k in self.changed]
        self.stacks = Stacks(job, heights, stage, self.turns, loose, lend)
        self.rams = np.zeros(len(self.seats))

    def orders(self) -> Iterator[Order]:
        """Yield everything the crew does in its stage, in the order of time."""
        self.rams = np.zeros(len(self.seats))
        yield from self._take_over()
        yield from self._go()
        yield from self._rest()
        yield from self._change()
        yield from self._return()

    def back(self) -> Iterator[Order]:
        """Yield the way back from the raised state: old packs in, and all as the stage found it.

        A push has none: a ram cannot pull the deck back.
        """
        if self.pushes or not self.seats:
            return
        self.rams = self.heights.rams(self.stacks.up_rows[-1])
        # the last changed first: so no moment has more plates out than the way there
        for turn in reversed(self.turns):
            yield self._changed(turn, [self._undone(k) for k in turn])
        step = self._freeing()
        yield Order(
            "FREE", "free", self._jacks(self.lifts), self._aims(self.rams + step, self.lifts)
        )
        self.rams = self.rams + step
        rows = [*self.stacks.up_rows[-2::-1], self.heights.home()]
        for i, row in zip(range(len(rows) - 2, -2, -1), rows, strict=True):
            moved = tuple(self._restacked(self.stacks.up(i + 1), self.stacks.up(i), up=True))
            if moved:
                names = tuple(dict.fromkeys(m.seat for m in moved))
                yield Order("FOLLOW WITH PLATES", "lower", names, (), moved)
            rams = self.heights.rams(row)
            risen = self._jacks([k for k in self.nuts if rams[k] > self.rams[k] + 1e-9])
            yield from self._to(rams, self.lifts)
            if risen:
                yield Order("FOLLOW WITH NUT", "lift", risen, (0.0,) * len(risen))
        yield from self._settled_back()

    def _settled_back(self) -> Iterator[Order]:
        """Yield how the deck comes to stand as the stage found it: on its packs and on its nuts."""
        packed = [k for k in self.lifts if self.seats[k].held_by == "packs"]
        held = self._jacks([k for k in self.lifts if self.seats[k].held_by == "nut"])
        if held:
            yield Order("NUT HOME", "rest", held)
        nuts = self._jacks([k for k in packed if k in self.nuts])
        if nuts:
            yield Order("RUN NUT BACK", "landing", nuts)
        if packed:
            yield Order("LAND", "landing", self._jacks(packed))
        if held:
            yield Order("OIL OFF", "rest", held)
        if packed:
            yield Order("JACK OFF", "off", self._jacks(packed))

    def _undone(self, k: int) -> tuple[list[PlateMove], list[PlateMove]]:
        """Return how a changed pack is put back as it was: what comes out, what goes in."""
        seat, old, new = self.seats[k].id, self.stage.before[k], self.stage.after[k]
        out = [PlateMove(m, seat, "on pack", "store") for m in sorted(self.stacks.down(0)[k])]
        out += [PlateMove(m, seat, "pack", "store") for m in _listed(new, Counter(old))]
        return out, [PlateMove(m, seat, "store", "pack") for m in _listed(old, Counter(new))]

    def _all_nuts(self, k: int) -> bool:
        return all(j.lock_nut for j in self.job.jacks_at(self.seats[k].id))

    def _jacks(self, seats: Sequence[int]) -> tuple[str, ...]:
        return tuple(j.id for k in seats for j in self.job.jacks_at(self.seats[k].id))

    def _take_over(self) -> Iterator[Order]:
        everyone = self._jacks(range(len(self.seats)))
        yield Order("SET", "set", everyone)
        yield Order("TOUCH", "touch", everyone)
        lifting, pushing = self._jacks(self.lifts), self._jacks(self.pushes)
        if lifting:
            for share in SHARES:
                yield Order("TAKE UP", "take-up", lifting, (share,) * len(lifting))
            yield Order("LIFT OFF", "lift-off", lifting, (self.heights.opening,) * len(lifting))
            nuts = self._jacks([k for k in self.lifts if k in self.nuts])
            if nuts:
                # nuts stand at the ram before the first step
                yield Order("FOLLOW WITH NUT", "lift-off", nuts, (0.0,) * len(nuts))
        if pushing:
            yield Order("BREAK LOOSE", "breakaway", pushing)

    def _to(self, rams: Array, seats: Sequence[int]) -> Iterator[Order]:
        """Yield the moves to ram readings: those out, and those in, as lines of their own."""
        out = [k for k in seats if rams[k] > self.rams[k] + 1e-9]
        back = [k for k in seats if rams[k] < self.rams[k] - 1e-9]
        moves: tuple[tuple[Verb, Phase, list[int]], ...] = (
            ("RAISE", "lift", [k for k in out if k in self.lifts]),
            ("PUSH", "push", [k for k in out if k in self.pushes]),
            ("LOWER", "lower", back),
        )
        for verb, phase, own in moves:
            if own:
                yield from self._nuts_ahead(rams, own) if verb == "LOWER" else ()
                yield Order(verb, phase, self._jacks(own), self._aims(rams, own))
        for k in seats:
            self.rams[k] = rams[k]

    def _aims(self, rams: Array, seats: Sequence[int]) -> tuple[float, ...]:
        return tuple(
            round(float(rams[k]), 9) for k in seats for _ in self.job.jacks_at(self.seats[k].id)
        )

    def _nuts_ahead(self, rams: Array, seats: Sequence[int]) -> Iterator[Order]:
        """Yield how far nuts are run back before a step down: the step and a little room."""
        own = [k for k in seats if k in self.nuts]
        if own:
            step = self.rams - rams
            room = np.minimum(step + self.job.staging.slide, self.job.working.follow_up)
            gaps = np.maximum(step, room)
            yield Order("FOLLOW WITH NUT", "lower", self._jacks(own), self._aims(gaps, own))

    def _go(self) -> Iterator[Order]:
        """Yield the way to the top, nuts and temporary plates following at each step."""
        rows = self.stacks.up_rows
        for i, row in enumerate(rows):
            yield from self._to(self.heights.rams(row), range(len(self.seats)))
            phase: Phase = "lift" if self.lifts else "push"
            if self.nuts:
                jacks = self._jacks(self.nuts)
                yield Order("FOLLOW WITH NUT", phase, jacks, (0.0,) * len(jacks))
            moved = tuple(self._restacked(self.stacks.up(i - 1), self.stacks.up(i), up=True))
            if moved:
                names = tuple(dict.fromkeys(m.seat for m in moved))
                yield Order("FOLLOW WITH PLATES", phase, names, (), moved)

    def _restacked(
        self,
        old: Sequence[tuple[str, ...]],
        new: Sequence[tuple[str, ...]],
        *,
        up: bool,
    ) -> Iterator[PlateMove]:
        for k, seat in enumerate(self.seats):
            place: PlatePlace = "beside" if up and self.stacks.beside(k) else "on pack"
            out, put = Counter(old[k]) - Counter(new[k]), Counter(new[k]) - Counter(old[k])
            yield from (PlateMove(m, seat.id, place, "store") for m in sorted(out.elements()))
            yield from (PlateMove(m, seat.id, "store", place) for m in sorted(put.elements()))

    def _rest(self) -> Iterator[Order]:
        """Yield how the load comes onto steel at the top, and the oil off."""
        plates = [k for k in self.lifts if k not in self.nuts]
        # nuts leave the same room as plates, so that all are let down together; a nut that stays
        # is where it shall stay
        let_down = [k for k in self.nuts if k in self.lifts and self.seats[k].held_by == "packs"]
        let_down = let_down if plates else []
        if let_down:
            jacks = self._jacks(let_down)
            yield Order("FOLLOW WITH NUT", "rest", jacks, (self.stacks.down_by,) * len(jacks))
        home = self._jacks([k for k in self.nuts if k not in let_down])
        if home:
            yield Order("NUT HOME", "rest", home)
        if plates:
            yield Order("LET DOWN", "rest", self._jacks(self.lifts))
        if self.lifts:
            yield Order("OIL OFF", "rest", self._jacks(self.lifts))
        if self.pushes:
            yield Order("OIL OFF", "let off", self._jacks(self.pushes))

    def _change(self) -> Iterator[Order]:
        """Yield the change of packs, turn by turn, every load standing on steel."""
        for turn in self.turns:
            yield self._changed(turn, [self._renewed(k) for k in turn])

    def _changed(
        self, turn: Sequence[int], moves: Sequence[tuple[list[PlateMove], list[PlateMove]]]
    ) -> Order:
        """Return the change of some packs: all that comes out first, so that it is there."""
        moved = [m for out, _ in moves for m in out] + [m for _, put in moves for m in put]
        names = tuple(self.seats[k].id for k in turn)
        return Order("CHANGE PACK", "plates", names, (), tuple(moved))

    def _renewed(self, k: int) -> tuple[list[PlateMove], list[PlateMove]]:
        """Return what comes out of a pack and what goes in, with what is to follow down."""
        seat, old, new = self.seats[k], self.stage.before[k], self.stage.after[k]
        out = [PlateMove(m, seat.id, "pack", "store") for m in _listed(old, Counter(new))]
        if not self.stacks.beside(k):
            # what followed a push on its pack makes room for the new one
            out += [PlateMove(m, seat.id, "on pack", "store") for m in sorted(self.stacks.top()[k])]
        put = [PlateMove(m, seat.id, "store", "pack") for m in _listed(new, Counter(old))]
        put += [PlateMove(m, seat.id, "store", "on pack") for m in sorted(self.stacks.down(0)[k])]
        return out, put

    def _return(self) -> Iterator[Order]:
        """Yield the way down onto the packs; what a nut holds stays."""
        back = [k for k in self.lifts if self.seats[k].held_by == "packs"]
        if back:
            yield from self._free(back)
            for i, row in enumerate(self.stacks.down_rows):
                if i:
                    yield from self._lowered_plates(i)
                yield from self._to(self.heights.rams(row), back)
            if self.stacks.down_rows:
                yield from self._lowered_plates(len(self.stacks.down_rows))
            nuts = self._jacks([k for k in back if k in self.nuts])
            if nuts:
                yield Order("RUN NUT BACK", "landing", nuts)
            yield Order("LAND", "landing", self._jacks(back))
        off = [k for k in range(len(self.seats)) if self.seats[k].held_by == "packs"]
        if off:
            yield Order("JACK OFF", "off", self._jacks(off))

    def drops(self) -> Iterator[tuple[str, float]]:
        """Yield the seats on linked jacks that have too much room before they land, and how much.

        The deck comes down flat while packs are as they are.
        """
        for row in (
            (self.stacks.down_rows[-1:] or [self.heights.end]) if self.heights.linked else ()
        ):
            room = self.heights.loose(row) + row - self.heights.end
            over = room - self.job.working.follow_up
            for k in self.lifts:
                if over[k] > 1e-6:
                    yield self.seats[k].id, float(over[k])

    def _freeing(self) -> Array:
        """Return how far over the top rams free what holds (k,) [m].

        A nut run home at the top is loose as soon as the ram reads the top again, for it had
        given under the load; plates need one mark more.
        """
        marks = [max(j.resolution for j in self.job.jacks_at(s.id)) for s in self.seats]
        return np.array([0.0 if k in self.nuts else m for k, m in enumerate(marks)])

    def _free(self, back: Sequence[int]) -> Iterator[Order]:
        """Yield how nuts and temporary plates are freed, at the top or one mark over it."""
        step = self._freeing()
        top = self.rams + step
        yield Order("FREE", "free", self._jacks(back), self._aims(top, back))
        moved = []
        for k in back:
            seat, over = self.seats[k].id, Counter(self.stacks.top()[k])
            if self.stacks.beside(k):
                moved += [PlateMove(m, seat, "beside", "store") for m in sorted(over.elements())]
            elif k not in self.changed:
                gone = over - Counter(self.stacks.down(0)[k])
                moved += [PlateMove(m, seat, "on pack", "store") for m in sorted(gone.elements())]
        if moved:
            names = tuple(dict.fromkeys(m.seat for m in moved))
            yield Order("TAKE OUT PLATES", "free", names, (), tuple(moved))
        for k in back:
            self.rams[k] = top[k]

    def _lowered_plates(self, i: int) -> Iterator[Order]:
        moved = tuple(self._restacked(self.stacks.down(i - 1), self.stacks.down(i), up=False))
        if moved:
            names = tuple(dict.fromkeys(m.seat for m in moved))
            yield Order("FOLLOW WITH PLATES", "lower", names, (), moved)


def _listed(pack: Sequence[str], kept: Counter[str]) -> list[str]:
    """List the plates of a pack beyond those that are kept, bottom to top."""
    left, result = Counter(pack) - kept, []
    for mark in pack:
        if left[mark] > 0:
            left[mark] -= 1
            result.append(mark)
    return result
