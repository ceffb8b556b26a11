"""Follow what a crew does, event by event, on the state of the steel, and refuse what cannot be.

A state says of every seat of the crew what carries it, how far its ram is out, where its nut is,
and which plates lie where. The deck follows from it by a fresh solve of the structure: a seat on
its jack is a spring of its own, so its *effective setting* (the height of a pack that would carry
the same load at the same level) is found by Newton's method.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from fitup.certify.limits import Shake, Work
from fitup.certify.linked import Links, Shut, links_of, shared_load
from fitup.certify.recompute import Outcome, pack_setting
from fitup.certify.springs import Response, seat_on_jacks, softer
from fitup.frames import Array
from fitup.model import SPRINGS, Jack, Job, Order, Seat, SeatState, Stage
from fitup.model.procedure import Support

#: shares of their pressure at which linked jacks are looked at while they land
_FALLING = (0.9, 0.75, 0.5, 0.25)


@dataclass(slots=True)
class SeatNow:
    """One seat while a crew works at it."""

    seat: Seat
    start: float
    """Setting before the stage [m]."""
    on: Support
    pack: list[str]
    setting: float
    """Effective setting [m]."""
    ram: float = 0.0
    """From START [m]."""
    nut: float | None = None
    """Gap at the lock nuts [m]; infinite: run back; None: a jack has none."""
    let_down: bool = False
    """Its load has gone from the oil onto nut or temporary plates in this stage."""
    beside: list[str] = field(default_factory=list)
    on_pack: list[str] = field(default_factory=list)
    bedded: bool = True

    def go(self, ram: float) -> None:
        """Bring the ram to a reading from START [m]; the nut on it goes along."""
        if self.nut is not None:
            self.nut += ram - self.ram
        self.ram = ram


@dataclass(frozen=True, eq=False)
class Moment:
    """The state after one order: for the readings and their bands."""

    order: Order
    loads: Mapping[str, float]
    """Whole load of each seat of the crew [N]."""
    settings: Mapping[str, float]
    rams: Mapping[str, float]
    """From START, by seat [m]."""
    after: tuple[SeatState, ...]
    share: float = 1.0
    """Share of the load that is on the jacks."""


def rest_on(job: Job, seat: Seat, setting: float) -> Support:
    """Return what carries a seat between two stages.

    Parameters
    ----------
    job, seat
    setting : float
        As the stage before left it [m].
    """
    if seat.held_by == "nut":
        return "nut"
    return "friction" if setting != 0.0 and job.stays_pushed(seat) else "pack"


class Night:
    """One crew in one stage.

    Parameters
    ----------
    stage : Stage
    site : mapping of str to float
        Settings of every seat before the stage [m].
    present : mapping of str to float
        Reactions as surveyed [N].
    response : Response
        Of all seats that move in the stage.
    shake : Shake
        What rams off their readings may add.
    base : mapping of str to float
        Packing under every jack before the stage [m].
    """

    def __init__(
        self,
        work: Work,
        stage: Stage,
        site: Mapping[str, float],
        present: Mapping[str, float],
        response: Response,
        shake: Shake,
        base: Mapping[str, float],
    ) -> None:
        self.base = {**base, **{r.jack: r.base_new for r in stage.resets}}
        """Packing under every jack while the crew works [m]."""
        self.work, self.job, self.stage = work, work.job, stage
        self.site, self.present, self.shake = dict(site), present, shake
        self.now = {
            name: SeatNow(
                self.job.seats[name],
                start,
                rest_on(self.job, self.job.seats[name], start),
                list(pack),
                start,
                nut=0.0 if all(j.lock_nut for j in self.job.jacks_at(name)) else None,
                bedded=not self.job.stays_pushed(self.job.seats[name])
                or Counter(pack) == Counter(self.job.seats[name].pack),
            )
            for name, start, pack in zip(stage.seats, stage.start, stage.before, strict=True)
        }
        names = list(response.seats)
        self._own = [names.index(s) for s in stage.seats]
        self._slope = response.own(self.job)[np.ix_(self._own, self._own)]
        self._more = np.array([softer(self.job, s.seat) for s in self.now.values()])
        self._zero = np.array(stage.start)
        """Effective settings at START [m], and the loads there [N]."""
        self._zero_loads = np.zeros(len(self.now))
        self._solved: dict[tuple[float, ...], Outcome] = {}
        self.links: Links = links_of(self.job, stage.seats)
        self.rest_loads = self.loads(stage.start)
        self._lifted = self.lifted(self._lifting, self._opening) if self.links else self._zero
        """Settings (k,) at START of a crew with linked jacks [m]."""
        self.lifted_loads = self.loads(self._lifted.tolist()) if self.links else self.rest_loads
        """Loads (k,) that the jacks take over [N]."""
        self.started: set[str] = set()
        """Seats whose START is set."""
        self.taken: Counter[str] = Counter()
        """Plates out of the store now, and the most of each mark so far."""
        self.bearing: set[str] = set()
        """Seats whose nuts bear beside the oil of their circuit."""
        self.most: Counter[str] = Counter()

    def wrong(self, where: str, what: str) -> None:
        """Note what cannot be, once.

        Parameters
        ----------
        where : str
            Stage, event or jack it concerns.
        what : str
        """
        line = f"{where}: {what}"
        if line not in self.work.wrong:
            self.work.wrong.append(line)

    def out_at_start(self, jack: Jack) -> float:
        """Return how far a ram is out at START [m], by the packing it now stands on."""
        return jack.stroke_used + self.now[jack.seat].start - (self.base[jack.id] - jack.base)

    def take_up(self, jack: Jack) -> float:
        """Return how far a ram goes from touch to START [m]."""
        one = self.now[jack.seat]
        if not one.seat.comes_back:
            return 0.0
        i = list(self.now).index(jack.seat)
        load, spring = float(self.rest_loads[i]), one.seat.stiffness
        firm = seat_on_jacks(self.job, jack.seat)[0]
        if self.links:
            lifted = float(self.lifted_loads[i])
            risen = float(self._lifted[i]) - one.start + (load - lifted) / spring
            return risen + lifted / firm
        return load / spring + load / firm + self._opening

    @property
    def _opening(self) -> float:
        return next((o.aims[0] for o in self.stage.orders if o.verb == "LIFT OFF"), 0.0)

    @property
    def _lifting(self) -> list[int]:
        return [i for i, one in enumerate(self.now.values()) if one.seat.comes_back]

    @property
    def zero_loads(self) -> dict[str, float]:
        """Loads at START by seat [N]."""
        return dict(zip(self.now, self._zero_loads.tolist(), strict=True))

    @property
    def zero_levels(self) -> dict[str, float]:
        """How far the deck had gone at START by seat [m]."""
        return {
            n: float(z) + (self.present[n] - float(load)) / one.seat.stiffness
            for (n, one), z, load in zip(
                self.now.items(), self._zero, self._zero_loads, strict=True
            )
        }

    def lifted(self, own: Sequence[int], opening: float) -> Array:
        """Return the settings (k,) at which every pack of some seats is open, one way or the other.

        All rise together; linked ones by as much more or less as one pressure asks.

        Parameters
        ----------
        own : sequence of int
            Indices of those seats in the crew.
        opening : float
            Of the pack that opens last [m].
        """
        spring = np.array([one.seat.stiffness for one in self.now.values()])
        begin = np.array([one.start for one in self.now.values()])
        own, risen, settings = list(own), opening, begin.copy()
        for _ in range(8):
            settings[own] = begin[own] + risen
            settings = self._settle(settings, np.zeros(len(settings)), self.links.free, ())
            loads = self.loads(settings.tolist())
            short = opening - float((settings - loads / spring - begin)[own].min())
            risen += short
            if abs(short) < 1e-9:
                break
        return settings

    def share(self, share: float) -> None:
        """Let linked jacks push with a share of what they take over."""
        begin = np.array([one.start for one in self.now.values()])
        pushed = self._shared(share * self.lifted_loads, begin)
        for one, setting in zip(self.now.values(), pushed, strict=True):
            one.setting = float(setting)

    def landing(self, before: Array) -> Iterator[tuple[dict[str, float], Outcome]]:
        """Yield settings of all seats, and what they do, while the gauges of linked jacks fall.

        Packs take their load one after the other.

        Parameters
        ----------
        before : Array (k,)
            What is on the jacks that let the deck down, nought at all others [N].
        """
        packs = np.array([one.setting for one in self.now.values()])
        for share in _FALLING:
            own = self._shared(share * before, packs).tolist()
            yield {**self.site, **dict(zip(self.now, own, strict=True))}, self.outcome(own)

    def _shared(self, pushed: Array, begin: Array) -> Array:
        """Return settings (k,) while jacks push with forces (k,) and packs (k,) carry the rest.

        Where a pack would have to pull, the deck has left it.
        """
        spring = np.array([one.seat.stiffness for one in self.now.values()])
        settings = begin + pushed / spring
        left = self.loads(settings.tolist()) - pushed
        return np.asarray(settings + shared_load(spring, self._slope, left))

    def start_here(self, own: Sequence[int], settings: Array) -> None:
        """Set START at some seats: from here their rams are read.

        Parameters
        ----------
        own : sequence of int
            Indices of those seats in the crew.
        settings : Array (k,)
            Effective settings of all seats of the crew at START [m]; only those of ``own`` are
            taken.
        """
        for i, (name, one) in enumerate(self.now.items()):
            if i in own:
                self._zero[i], one.ram, one.on = settings[i], 0.0, "oil"
                self.started.add(name)
                if one.nut is not None:
                    one.nut = 0.0 if one.seat.held_by == "nut" else math.inf
        self._zero_loads = self.loads(self._zero.tolist())
        self.stand()

    def outcome(self, settings: Sequence[float]) -> Outcome:
        """Solve the structure with the crew's seats at effective settings."""
        key = tuple(settings)
        if key not in self._solved:
            values = {**self.site, **dict(zip(self.now, settings, strict=True))}
            at = self.work.settings(values)
            self._solved[key] = self.work.states.at(at, self.work.state.checks)
        return self._solved[key]

    def loads(self, settings: Sequence[float]) -> Array:
        """Return the loads (k,) of the crew's seats [N]."""
        reactions = self.outcome(settings).reactions
        return np.array([reactions[name] for name in self.now])

    def load_of(self, name: str) -> float:
        """Return the load of one seat as all stand now [N]."""
        loads = self.loads([one.setting for one in self.now.values()])
        return float(loads[list(self.now).index(name)])

    def _settle(self, fixed: Array, gives: Array, free: Array, shut: Sequence[Shut]) -> Array:
        """Return the settings s with ``s = fixed + gives * load(s)``, or at one pressure if free.

        ``free`` are seats of linked jacks whose strokes follow from equilibrium, all or none of a
        circuit, each up to its reading; those of a ``shut`` valve share the oil behind it.
        """
        settings = fixed + gives * self._zero_loads
        matrix = np.eye(len(fixed)) - gives[:, None] * self._slope
        held = np.isin(self.links.free, free)
        if held.any():
            matrix[self.links.free[held]] = self.links.rows(self._slope)[held]
        for one in shut:
            matrix[one.seats] = one.rows(matrix, self._slope)
        for _ in range(12):
            loads = self.loads(settings.tolist())
            miss = fixed + gives * loads - settings
            miss[self.links.free[held]] = -self.links.apart(loads)[held]
            for one in shut:
                miss[one.seats] = one.miss(miss, loads)
            if np.abs(miss).max() < 1e-8:
                break
            settings = settings + np.linalg.solve(matrix, miss)
        return settings

    def stand(self, aimed: Collection[str] = ()) -> None:
        """Find the effective settings of all seats from what carries them.

        Parameters
        ----------
        aimed : collection of str
            Seats whose valves are opened until the leading ram is at its reading; the oil behind
            all other valves stays as much.
        """
        fixed, gives = np.zeros(len(self.now)), np.zeros(len(self.now))
        for i, one in enumerate(self.now.values()):
            fixed[i], gives[i] = self._support(i, one)
        free, shut = self._free(), self._shut(aimed)
        driven = np.array([i for i in free if not any(i in s.seats for s in shut)], dtype=int)
        if gives.any() or len(free):
            fixed, shut = self._contact(fixed, gives, driven, shut)
        for one, setting in zip(self.now.values(), fixed, strict=True):
            one.setting = float(setting)
        rams = self._rams(fixed) if len(free) else np.zeros(0)
        own = list(self.now.values())
        for i in driven:
            own[i].go(float(rams[i]))
        for valve in shut:
            for i, ram in zip(valve.seats, valve.stand(rams[valve.seats]), strict=True):
                own[i].go(float(ram))
        self.bearing = {own[i].seat.id for valve in shut for i in valve.seats[valve.borne]}

    def _rams(self, settings: Array) -> Array:
        """Return the readings (k,) of seats whose whole load is on oil, from START [m]."""
        loads = self.loads(settings.tolist())
        return np.asarray(settings - self._zero - self._more * (loads - self._zero_loads))

    def _contact(
        self, fixed: Array, gives: Array, driven: Array, shut: tuple[Shut, ...]
    ) -> tuple[Array, tuple[Shut, ...]]:
        """Return the settings (k,), and which nuts bear beside the oil of a shut valve."""
        settings = self._settle(fixed, gives, driven, shut)
        for _ in range(4 * len(fixed)):
            loads, rams = self.loads(settings.tolist()), self._rams(settings)
            then = tuple(valve.contact(rams, loads) for valve in shut)
            if all(a is b for a, b in zip(then, shut, strict=True)):
                break
            shut = then
            settings = self._settle(fixed, gives, driven, shut)
        return settings, shut

    def _shut(self, aimed: Collection[str]) -> tuple[Shut, ...]:
        """Return the circuits that stand on oil behind a shut valve."""
        names, found = list(self.now), []
        for circuit in self.links.circuits:
            own = [self.now[s] for s in circuit.seats]
            if all(one.on == "oil" for one in own) and circuit.seats[0] not in aimed:
                found.append(
                    Shut(
                        np.array([names.index(s) for s in circuit.seats]),
                        np.array(circuit.areas),
                        np.array([one.ram for one in own]),
                        np.array([math.inf if one.nut is None else one.nut for one in own]),
                        np.array([one.seat.stiffness for one in own]),
                        np.zeros(len(own), dtype=bool),
                    )
                )
        return tuple(found)

    def _free(self) -> Array:
        """Return the seats (m,) of linked jacks whose whole circuit stands on oil."""
        names = list(self.now)
        on_oil = np.array([self.now[n].on == "oil" for n in names])
        for circuit in self.links.circuits:
            if len({self.now[s].on == "oil" for s in circuit.seats}) > 1:
                self.wrong(
                    f"stage {self.stage.number}",
                    f"jacks of circuit {circuit.id} do not all stand on oil together",
                )
        both = on_oil[self.links.free] & on_oil[self.links.lead]
        return np.asarray(self.links.free[both])

    def _support(self, i: int, one: SeatNow) -> tuple[float, float]:
        """Return the height of what carries a seat [m] and how it gives otherwise [m/N]."""
        seat = one.seat
        on_oil = self._zero[i] + one.ram - self._more[i] * self._zero_loads[i]
        if one.on == "oil":
            return on_oil, float(self._more[i])
        if one.on == "friction" or (one.on == "nut" and not seat.comes_back):
            return self._zero[i] + one.ram, 0.0
        if one.on == "temporary":
            return self.stack(one), 0.0
        if one.on == "nut" and one.let_down:
            nut = seat.stiffness if seat.held_by == "nut" else SPRINGS.nut
            return on_oil, float(self._more[i]) - 1.0 / nut
        return self._rest(one), 0.0

    def stack(self, one: SeatNow) -> float:
        """Return the setting that temporary plates give a seat [m].

        What lies on the pack carries only where nothing stands beside it, and stands on the pack
        that lies there now.
        """
        beside = sum(self.job.plates[m].measured for m in one.beside)
        if one.beside:
            return one.start + beside
        bedding = 0.0 if one.bedded else one.seat.bedding
        return self._rest(one) + bedding + sum(self.job.plates[m].measured for m in one.on_pack)

    def _rest(self, one: SeatNow) -> float:
        if one.seat.held_by == "nut":
            return one.start
        return pack_setting(self.job, one.seat, one.pack)

    def level(self, one: SeatNow, load: float) -> float:
        """Return how far the deck has gone at a seat since the survey [m].

        Parameters
        ----------
        one : SeatNow
        load : float
            What the seat carries now [N].
        """
        return one.setting + (self.present[one.seat.id] - load) / one.seat.stiffness

    def room(self, one: SeatNow, load: float) -> float:
        """Return the clear room over the pack that lies at a seat [m]; zero where it carries.

        Parameters
        ----------
        one : SeatNow
        load : float
            What the seat carries now [N].
        """
        if one.on == "pack" or one.seat.held_by == "nut":
            return 0.0
        seat = one.seat
        top = pack_setting(self.job, seat, one.pack) + (0.0 if one.bedded else seat.bedding)
        return one.setting - load / seat.stiffness - top
