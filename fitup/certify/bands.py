"""What instruments should show after an event, and the bands within which work goes on.

Up the ram, friction makes the gauge read more than the load; down the ram, less. A STOP band of a
gauge holds what the phase itself does (rams off their readings, other crews, friction, gauge) and
is never above what jack, seat, cable, saddle or member may take. While the load passes from pack to
jack or back it has no lower end.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from fitup.certify.limits import Shake
from fitup.certify.linked import one_pressure
from fitup.certify.night import Moment, Night
from fitup.certify.springs import Response, load_shares, seat_on_jacks
from fitup.model import SPRINGS, Band, ExpectedReading, Jack, Job
from fitup.units import DISPLAY, GAUGE_STEP

#: a jack that only touches carries this share of its load, and work stops at that much
#: (common practice, no source)
SEATING, SEATING_MOST = 0.05, 0.15
#: share by which the spring of a pack may be other than stated (common practice, no source)
PACK_SPREAD: Final = 0.5
#: how far a pack as built may be off the sum of its plates, and more for each plate [m]
#: (common practice, no source)
PACK_OFF, PLATE_OFF = 0.1e-3, 0.05e-3
_UP: Final = ("RAISE", "PUSH", "FREE")


@dataclass(frozen=True, slots=True)
class Swing:
    """What other crews may do to the load of a seat [N], less and more."""

    less: float = 0.0
    more: float = 0.0


def length_step(job: Job) -> float:
    """Return the step of dial, feeler and tape [m]."""
    return 2.0 * DISPLAY[job.units].move.half_step


def to_step(value: float, step: float) -> float:
    """Round to whole steps of an instrument, never minus zero.

    Parameters
    ----------
    value : float
    step : float
        In the unit of the value; halves go up.
    """
    return round(math.floor(value / step + 0.5) * step, 12) + 0.0


def _out(low: float, high: float, step: float) -> tuple[float, float]:
    """Round a band outwards to whole steps."""
    down = math.floor(low / step + 1e-9) * step if math.isfinite(low) else low
    up = math.ceil(high / step - 1e-9) * step if math.isfinite(high) else high
    return round(down, 12) + 0.0, round(up, 12) + 0.0


class Reader:
    """Readings of one crew in one stage.

    Parameters
    ----------
    off : mapping of str to float
        How far rams may be off their readings by seat [m]; zero: nothing is stated.
    swing : mapping of str to Swing
    """

    def __init__(
        self,
        night: Night,
        response: Response,
        shake: Shake,
        off: Mapping[str, float],
        swing: Mapping[str, Swing],
    ) -> None:
        self.night, self.job = night, night.job
        self.response, self.shake, self.off, self.swing = response, shake, off, swing
        self.gauge = GAUGE_STEP[self.job.units]
        self.length = length_step(self.job)
        self._rest = {
            n: one.start + (night.present[n] - float(load)) / one.seat.stiffness
            for (n, one), load in zip(night.now.items(), night.rest_loads, strict=True)
        }

    def read(self, moment: Moment) -> tuple[ExpectedReading, ...]:
        """Return what is read when an order is done."""
        verb = moment.order.verb
        if verb == "SET ANEW":
            return tuple(self._anew(moment))
        if verb == "CHANGE PACK":
            return (*self._heights(moment), *self._rooms(moment))
        if verb in ("FOLLOW WITH NUT", "NUT HOME"):
            return tuple(self._nuts(moment))
        if verb in ("TOUCH", "TAKE UP", "LIFT OFF", "BREAK LOOSE", *_UP, "LOWER", "LAND"):
            return (*self._rams(moment), *self._gauges(moment), *self._decks(moment))
        if verb in ("OIL OFF", "LET DOWN"):
            return (*self._gauges(moment), *self._decks(moment))
        return ()

    def _jacks(self, moment: Moment) -> Iterator[tuple[Jack, str, float]]:
        aims = moment.order.aims or (0.0,) * len(moment.order.objects)
        for name, aim in zip(moment.order.objects, aims, strict=True):
            jack = self.job.jacks[name]
            yield jack, jack.seat, aim

    # -- gauges ------------------------------------------------------------------------------

    def _gauges(self, moment: Moment) -> Iterator[ExpectedReading]:
        found = {}
        for jack, seat, _ in self._jacks(moment):
            share = load_shares(self.job, seat)[jack.id]
            most, why = load_cap(self.job, self.response, jack, seat)
            loads = [*self._load(moment, jack, seat, share), most]
            value, low, high, cap = (load / jack.ram_area for load in loads)
            found[jack.id] = (value, low, high, cap, why)
        for name, own in one_pressure(self.night.links.circuits, found).items():
            jack, value = self.job.jacks[name], own[0]
            bands = self._pressure_bands(moment, jack, *own)
            pressure, load = to_step(value, self.gauge), value * jack.ram_area
            aim = moment.order.verb in ("TOUCH", "TAKE UP")
            yield ExpectedReading("gauge", name, pressure, self.gauge, bands, "", load, aim)

    def _load(
        self, moment: Moment, jack: Jack, seat: str, share: float
    ) -> tuple[float, float, float]:
        """Return the load a gauge should show, and the least and greatest the phase does [N]."""
        staging, verb = self.job.staging, moment.order.verb
        own = self.job.seats[seat]
        wrong = staging.pressure_error * jack.capacity
        rest = self._taken_over(seat)
        start = (rest * (1.0 + staging.friction) + own.breakaway) * share
        if verb in ("OIL OFF", "LET DOWN"):
            return 0.0, -math.inf, self._highest(moment, seat, share, jack)
        if verb == "TOUCH":
            return SEATING * start, -math.inf, SEATING_MOST * start + wrong + self._step_of(jack)
        if verb == "TAKE UP":
            value = moment.share * rest * (1.0 + staging.friction) * share
            worst = self._highest(moment, seat, share, jack)
            return value, -math.inf, value + max(0.0, worst - start) + self._step_of(jack)
        if verb == "LAND":
            return 0.0, -math.inf, self._highest(moment, seat, share, jack)
        if verb == "LOWER":
            value = max(0.0, moment.loads[seat]) * (1.0 - staging.friction) * share
        else:
            value = self._pushing(moment.loads[seat], seat, share)
        return (
            value,
            self._lowest(moment, seat, share, jack),
            self._highest(moment, seat, share, jack),
        )

    def _taken_over(self, seat: str) -> float:
        """Return the load of a seat that its jacks take over [N]."""
        return max(0.0, float(self.night.lifted_loads[list(self.night.now).index(seat)]))

    def _standing(self, moment: Moment, seat: str) -> float:
        """Return the load that is or was on the jacks of a seat [N].

        Linked jacks push with what one pressure gives, whatever stands on the pack beside them.
        """
        passing = moment.order.verb in ("TAKE UP", "LAND", "OIL OFF", "LET DOWN")
        if self.night.links and passing:
            return self._taken_over(seat)
        return moment.loads[seat]

    def _step_of(self, jack: Jack) -> float:
        return self.gauge * jack.ram_area

    def _pushing(self, load: float, seat: str, share: float) -> float:
        """Return what a gauge shows going up at a load of the seat [N]."""
        breakaway = self.job.seats[seat].breakaway
        return max(0.0, max(0.0, load) * (1.0 + self.job.staging.friction) + breakaway) * share

    def _highest(self, moment: Moment, seat: str, share: float, jack: Jack) -> float:
        """Return the most that the phase itself may show [N]."""
        staging, band = self.job.staging, self.job.working.load_band
        load = self._standing(moment, seat) + self.swing[seat].more
        if staging.exact:
            return self._pushing(load, seat, share) * (1.0 + band)
        worst = max(0.0, load + self.shake.reactions.get(seat, 0.0)) * (1.0 + staging.friction)
        # a breakaway is a guess: it may be more by the plain band
        loose = self.job.seats[seat].breakaway * (1.0 + band)
        return (worst + loose) * share + staging.pressure_error * jack.capacity

    def _lowest(self, moment: Moment, seat: str, share: float, jack: Jack) -> float:
        """Return the least a gauge may show [N]: what the phase does, and what the seat needs."""
        staging, band, own = self.job.staging, self.job.working.load_band, self.job.seats[seat]
        load = moment.loads[seat] + self.swing[seat].less
        up = moment.order.verb != "LOWER"
        if staging.exact:
            least = max(0.0, load * (1.0 - band)) * share
            return max(least, min(own.reaction_least, load) * share)
        wrong = staging.pressure_error * jack.capacity
        true = max(0.0, load - self.shake.reactions.get(seat, 0.0)) * share
        # a seat that needs bearing has it even where friction and gauge show the most they may
        need = max(0.0, own.reaction_least) * (1.0 + staging.friction * up) * share + wrong
        least = true * (1.0 - staging.friction) - wrong
        return max(0.0, least, min(need, true))

    def _pressure_bands(
        self,
        moment: Moment,
        jack: Jack,
        value: float,
        low: float,
        high: float,
        cap: float,
        why: str,
    ) -> tuple[Band, ...]:
        """Return the bands of one gauge, from pressures [Pa]."""
        where = f"stage {self.night.stage.number}, jack {jack.id}"
        verb = moment.order.verb
        lows, highs = _out(low, high, self.gauge)
        capped = math.floor(cap / self.gauge + 1e-9) * self.gauge
        # where nothing is stated of an imperfect lift, the band is no part of the work itself
        own = value if self.job.staging.exact else high
        if verb in (*_UP, "LOWER") and own > cap + self.gauge:
            self.night.wrong(
                where,
                f"it may read {own * jack.ram_area / 1e3:.0f} kN in its own work, but {why} allows "
                f"{cap * jack.ram_area / 1e3:.0f} kN: no stop band is left",
            )
        words = "what rams off their readings, friction and gauge can make of it"
        if verb not in ("LIFT OFF", "BREAK LOOSE"):
            ends = (lows, min(highs, capped))
            return (Band("STOP", ends[0], ends[1], why if capped < highs else words),)
        believed = max(high, value * (1.0 + self.job.working.load_band))
        _, top = _out(0.0, believed, self.gauge)
        stop = Band("STOP", -math.inf, min(top, capped), why if capped < top else "no lift-off")
        hold = Band("HOLD", lows, min(highs, capped), "not the load it was planned for")
        # what says no more than the stop is not said
        return (stop,) if hold.low <= 0.0 and hold.high >= stop.high else (stop, hold)

    # -- rams, deck, room --------------------------------------------------------------------

    def _rams(self, moment: Moment) -> Iterator[ExpectedReading]:
        verb = moment.order.verb
        for jack, seat, aim in self._jacks(moment):
            if verb in ("RAISE", "PUSH", "LOWER", "FREE"):
                yield self._aimed(moment, jack, seat, aim)
            elif verb in ("TAKE UP", "LIFT OFF", "LAND"):
                value, wrong = self._squeezed(moment, jack, seat)
                low, high = _out(value - wrong, value + wrong, jack.resolution)
                zero = "START" if verb == "LAND" else "TOUCH"
                yield ExpectedReading(
                    "ram",
                    jack.id,
                    to_step(value, jack.resolution),
                    jack.resolution,
                    (Band("HOLD", low, high, "springs of jack, oil, base and pack"),),
                    "START" if zero == "START" else "TOUCH",
                )

    def _aimed(self, moment: Moment, jack: Jack, seat: str, aim: float) -> ExpectedReading:
        half = ram_band(self.job, jack, self.off[seat])
        circuits = self.night.links.circuits
        leads = not any(jack.id in c.jacks[1:] for c in circuits)
        if any(seat in c.seats[1:] for c in circuits):
            # what follows on one pressure goes where equilibrium brings it
            aim = to_step(moment.rams[seat], jack.resolution)
        value = to_step(aim, jack.resolution)
        band = Band("STOP", round(aim - half, 9), round(aim + half, 9), "off its step")
        return ExpectedReading("ram", jack.id, value, jack.resolution, (band,), "START", 0.0, leads)

    def _squeezed(self, moment: Moment, jack: Jack, seat: str) -> tuple[float, float]:
        """Return how far a ram goes while its jack takes or gives the load, and how sure that is.

        The ram goes with the deck, and besides by what jack, oil and base are squeezed.
        """
        stiffness, spread = seat_on_jacks(self.job, seat)
        level = next(s.deck for s in moment.after if s.seat == seat)
        if moment.order.verb == "LAND":
            load, deck = -self.night.zero_loads[seat], level - self.night.zero_levels[seat]
        else:
            load = moment.share * moment.loads[seat]
            if self.night.links and moment.order.verb == "TAKE UP":
                load = moment.share * self._taken_over(seat)
            deck = level - self._rest[seat]
        give = load / stiffness
        unsure = spread * abs(give) + self._pack_unsure(moment, seat) + jack.resolution
        return deck + give, unsure + self._off(moment, seat)

    def _off(self, moment: Moment, seat: str) -> float:
        """Return how far the rams of a seat may be off in an event [m].

        While gauges are worked to, linked jacks are as far off as the one that leads them; landed,
        the deck is where its packs are.
        """
        if moment.order.verb in ("TOUCH", "TAKE UP", "LAND"):
            for circuit in self.night.links.circuits:
                if seat in circuit.seats:
                    return self.off[circuit.seats[0]]
        return self.off[seat]

    def _pack_unsure(self, moment: Moment, seat: str) -> float:
        own = self.job.seats[seat]
        sprung = moment.share * abs(moment.loads[seat]) / own.stiffness
        bed = own.bedding if moment.order.verb == "LAND" else 0.0
        return PACK_SPREAD * sprung + bed

    def _decks(self, moment: Moment) -> Iterator[ExpectedReading]:
        """Yield dials on the deck, and the opening at lift-off."""
        verb, done = moment.order.verb, set()
        for jack, seat, aim in self._jacks(moment):
            if seat in done:
                continue
            done.add(seat)
            state = next(s for s in moment.after if s.seat == seat)
            early = verb in ("TOUCH", "TAKE UP", "LIFT OFF")
            zero = self._rest[seat] if early else self.night.zero_levels[seat]
            value = state.deck - zero
            wrong = self._deck_unsure(moment, jack, seat)
            # let off, a pushed deck springs back a little
            back = self.job.staging.spring_back if state.on == "friction" else 0.0
            low, high = _out(value - wrong - back, value + wrong, self.length)
            band = Band("STOP", low, high, "the deck does not go with the ram")
            yield ExpectedReading(
                "dial",
                seat,
                to_step(value, self.length),
                self.length,
                # at touch it is set to zero: there the gauge says when to stop
                () if verb == "TOUCH" else (band,),
                "TOUCH" if early else "START",
            )
            if verb == "LIFT OFF":
                yield ExpectedReading(
                    "feeler",
                    seat,
                    to_step(state.opening, self.length),
                    self.length,
                    (Band("HOLD", to_step(aim, self.length), math.inf, "the pack is not loose"),),
                )

    def _deck_unsure(self, moment: Moment, jack: Jack, seat: str) -> float:
        """Return how far the deck may be from where it should be at a seat [m]."""
        verb = moment.order.verb
        stiffness, spread = seat_on_jacks(self.job, seat)
        wrong = self._off(moment, seat) + jack.resolution / 2.0 + self.length
        if self.job.staging.exact:
            wrong += self.job.working.move_band
        if verb in ("TAKE UP", "LIFT OFF", "LAND"):
            return wrong + self._pack_unsure(moment, seat)
        if verb in ("OIL OFF", "LET DOWN"):
            return wrong + abs(moment.loads[seat]) / SPRINGS.nut
        change = abs(moment.loads[seat] - self.night.zero_loads[seat])
        return wrong + spread * change / stiffness

    def _rooms(self, moment: Moment) -> Iterator[ExpectedReading]:
        for seat in moment.order.objects:
            state = next(s for s in moment.after if s.seat == seat)
            least = to_step(self.job.staging.slide, self.length)
            yield ExpectedReading(
                "feeler",
                seat,
                to_step(state.opening, self.length),
                self.length,
                (Band("STOP", least, math.inf, "no room to slide the pack in"),),
            )

    def _heights(self, moment: Moment) -> Iterator[ExpectedReading]:
        """Yield the height of a pack as built, which bent or dirty plates make more."""
        step = 2.0 * DISPLAY[self.job.units].plate.half_step
        for seat in moment.order.objects:
            pack = self.night.now[seat].pack
            height = sum(self.job.plates[m].measured for m in pack)
            most = PACK_OFF + PLATE_OFF * len(pack)
            low, high = _out(height - most, height + most, step)
            band = Band("HOLD", low, high, "other plates, or dirt between them")
            yield ExpectedReading("calliper", seat, to_step(height, step), step, (band,), aim=True)

    def _nuts(self, moment: Moment) -> Iterator[ExpectedReading]:
        """Yield the gap that is left at a lock nut, before a step down the room it needs."""
        most = self.job.working.follow_up
        for jack, _, aim in self._jacks(moment):
            least = max(0.0, aim - self.job.staging.slide) if aim else -math.inf
            low, high = to_step(least, self.length) if aim else least, to_step(most, self.length)
            value = to_step(aim, self.length)
            band = Band("STOP", low, max(high, value), "the load could drop further")
            yield ExpectedReading(
                "feeler", jack.id, value, self.length, (band,), aim=moment.order.phase == "lower"
            )

    def _anew(self, moment: Moment) -> Iterator[ExpectedReading]:
        """Yield the packing under a jack set anew, and how far its ram is then out."""
        for jack, _, base in self._jacks(moment):
            step = self.length
            # it is set before it takes the load: START is further out by the take-up
            out = self.night.out_at_start(jack) - self.night.take_up(jack)
            yield ExpectedReading("tape", jack.id, to_step(base, step), step, aim=True)
            yield ExpectedReading("ram", jack.id, to_step(out, jack.resolution), jack.resolution)


def ram_band(job: Job, jack: Jack, off: float) -> float:
    """Return how far a ram may be off its reading before work stops [m], in whole steps.

    From end to end that is never less than two steps of its scale.

    Parameters
    ----------
    job, jack
    off : float
        How far the ram may be off its reading as stated [m]; zero: the job's move band counts.
    """
    most = off or job.working.move_band
    return max(1.0, math.floor(most / jack.resolution + 1e-9)) * jack.resolution


def load_cap(job: Job, response: Response, jack: Jack, seat: str) -> tuple[float, str]:
    """Return the most a gauge may show, by the least of all that carries.

    Parameters
    ----------
    job : Job
    response : Response
        Of watched forces and reactions; the seat must be among those that move.
    jack : Jack
    seat : str
        Seat of the jack.

    Returns
    -------
    tuple of float and str
        Load of the jack [N], and what limits it, in words.
    """
    staging, share = job.staging, load_shares(job, seat)[jack.id]
    wrong = staging.pressure_error * jack.capacity
    own = job.seats[seat]
    # what breaks a slide loose goes into its bed; it is a guess, and may be less by the band
    loose = own.breakaway * (1.0 - job.working.load_band)
    limits = [
        (own.reaction_most, f"the greatest reaction of seat {seat}"),
        *_of_forces(job, response, seat),
    ]
    found = [(jack.capacity / staging.worst_reserve, f"jack {jack.id} over its reserve")]
    found += [((load + loose) * share - wrong, what) for load, what in limits]
    return min(found)


def _of_forces(job: Job, response: Response, seat: str) -> Iterator[tuple[float, str]]:
    """Yield the loads of a seat at which a watched force reaches its limit [N]."""
    frame = job.frame
    if frame is None:
        return
    k = response.seats.index(seat)
    slope = float(response.reactions[list(job.seats).index(seat), k])
    for p, name in enumerate(response.names):
        rate = float(response.forces[p, k]) / slope if slope > 0.0 else 0.0
        now = response.base.forces[name]
        if name.startswith("cable/"):
            cable = frame.cables[name.removeprefix("cable/")]
            least, most, what = cable.least, cable.most, f"cable {cable.id}"
        elif name.startswith("saddle/"):
            least, most, what = 0.0, math.inf, f"saddle {name.split('/')[1]}"
        else:
            place = frame.places[name]
            least, most, what = place.least, place.most, f"member {place.member}"
        end = most if rate > 0.0 else least
        if abs(rate) > 1e-9 and math.isfinite(end):
            yield response.base.reactions[seat] + max(0.0, (end - now) / rate), what
