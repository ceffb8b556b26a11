"""What each verb of a procedure does to the state, and what it may not be done to."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Collection, Iterator
from typing import Final

import numpy as np

from fitup.certify.limits import STILL, Shake, hold_limits
from fitup.certify.moment import moment_of
from fitup.certify.night import Moment, Night, SeatNow, rest_on
from fitup.model import Jack, Order, PlateMove, SeatState
from fitup.units import DISPLAY

#: in these the load is on oil, and rams may be off their readings
_ON_OIL: Final = ("lift-off", "lift", "push", "lower", "free", "breakaway")

#: the last of these leaves the load on steel at the top
RAISED: Final = ("OIL OFF", "CHANGE PACK")


def follow(night: Night) -> Iterator[Moment]:
    """Yield the state after every order of a crew; what cannot be is noted by name."""
    for number, order in enumerate(night.stage.orders, 1):
        where = f"stage {night.stage.number}, {night.stage.group}, event {number}"
        if order.verb in ("READ", "HOLD POINT"):
            yield moment_of(night, order)
            continue
        act = _ACTS.get(order.verb)
        if act is not None:
            act(night, order, where)
        yield _held(night, order, where)
    ended(night)


def follow_back(night: Night) -> Iterator[Moment]:
    """Yield the states of the way back: from packs changed, on steel, to where the stage began.

    A stage that changes no pack stands on its nuts when the oil is off: it goes back from there.
    """
    orders = night.stage.orders
    raised = max((i for i, o in enumerate(orders) if o.verb in RAISED), default=None)
    if not night.stage.back or raised is None:
        return
    for order in orders[: raised + 1]:
        act = _ACTS.get(order.verb)
        if act is not None:
            act(night, order, "way back")
    for number, order in enumerate(night.stage.back, 1):
        where = f"way back of stage {night.stage.number}, {night.stage.group}, event {number}"
        act = _ACTS.get(order.verb)
        if act is not None:
            act(night, order, where)
        yield _held(night, order, where)
    for name, one in night.now.items():
        where = f"way back of stage {night.stage.number}, {night.stage.group}"
        held = one.seat.held_by == "nut"
        # a nut is set by the ram, to half a mark of its scale
        care = max(j.resolution for j in night.job.jacks_at(name)) / 2.0 if held else 0.0
        if one.on != ("nut" if held else "pack") or abs(one.setting - one.start) > care + 1e-6:
            night.wrong(where, f"seat {name} is not left as the stage found it")


def _held(night: Night, order: Order, where: str) -> Moment:
    """Hold the state after an order against every limit and every rule of the night."""
    moment = moment_of(night, order)
    hold_loads(night, moment, where, night.shake if order.phase in _ON_OIL else STILL)
    hold_drops(night, moment, where)
    return moment


def act_on(night: Night, order: Order, where: str) -> Moment:
    """Do what an order says and return the state after it; no limit is held.

    Parameters
    ----------
    night, order
    where : str
        Name of the event, at the head of every note.
    """
    act = _ACTS.get(order.verb)
    if act is not None:
        act(night, order, where)
    return moment_of(night, order)


def hold_loads(night: Night, moment: Moment, where: str, shake: Shake) -> None:
    """Hold a state against every limit, with what rams off their readings may add.

    Parameters
    ----------
    night, moment
    where : str
        Name of the state, at the head of every note.
    shake : Shake
        What rams off their readings may add; ``STILL``: nothing.
    """
    settings = [moment.settings[n] for n in night.now]
    hold_limits(
        night.work,
        where,
        {**night.site, **moment.settings},
        night.outcome(settings),
        set() if _at_rest(night, moment) else set(night.now),
        shake,
    )


def hold_drops(night: Night, moment: Moment, where: str) -> None:
    """Hold how far a load on oil could go before steel carries it.

    Parameters
    ----------
    night, moment
    where : str
        Name of the state, at the head of every note.
    """
    care = DISPLAY[night.job.units].move.half_step + _scale(night) / 2.0
    most = night.job.working.follow_up
    for state in moment.after:
        if state.drop > most + care and moment.order.phase != "breakaway":
            night.wrong(
                where,
                f"seat {state.seat} could drop {state.drop * 1e3:.1f} mm before steel carries it, "
                f"at most {most * 1e3:.1f} mm",
            )


def _at_rest(night: Night, moment: Moment) -> bool:
    """Say whether limits of the rest hold: no jack works, every seat stands as it stood or ends."""
    return moment.order.phase != "take-up" and all(_rests(night, s) for s in moment.after)


def _rests(night: Night, state: SeatState) -> bool:
    """Say whether a seat rests where the stage found it, or leaves it, and not on the way."""
    return state.on == rest_on(
        night.job, night.job.seats[state.seat], night.now[state.seat].setting
    )


def _scale(night: Night) -> float:
    return max(j.resolution for n in night.now for j in night.job.jacks_at(n))


def _spring_back(night: Night, one: SeatNow) -> float:
    return night.load_of(one.seat.id) / one.seat.stiffness


def _seats(night: Night, order: Order) -> dict[str, float]:
    """Return the seats of an order's jacks with their aims; jacks of one seat have one aim."""
    aims = order.aims or (0.0,) * len(order.objects)
    found: dict[str, float] = {}
    for jack, aim in zip(order.objects, aims, strict=True):
        seat = night.job.jacks[jack].seat
        if found.setdefault(seat, aim) != aim:
            night.wrong(f"stage {night.stage.number}", f"jacks of seat {seat} have two aims")
    return found


def _set_anew(night: Night, order: Order, where: str) -> None:
    """A jack set anew must go in under the deck: it touches before the take-up."""
    for name in order.objects:
        jack = night.job.jacks[name]
        out = night.out_at_start(jack) - night.take_up(jack)
        if out < -jack.resolution:
            night.wrong(
                where,
                f"jack {name} would have to be {-out * 1e3:.1f} mm further in than its ram goes "
                "when it touches; give less packing under it",
            )


def _take_up(night: Night, order: Order, where: str) -> None:
    loads = np.maximum(night.rest_loads, 0.0)
    if night.links:
        night.share(order.aims[0])
        return
    for i, (name, one) in enumerate(night.now.items()):
        if name in _seats(night, order):
            one.setting = one.start + order.aims[0] * float(loads[i]) / one.seat.stiffness


def _lift_off(night: Night, order: Order, where: str) -> None:
    """Raise all together until every pack is open: there START is set."""
    if night.started & _seats(night, order).keys():
        night.wrong(where, "START is set twice")
    own = [i for i, n in enumerate(night.now) if n in _seats(night, order)]
    if night.links:
        night.start_here(own, night.lifted(own, order.aims[0]))
        return
    stiff = np.array([one.seat.stiffness for one in night.now.values()])
    begin = np.array([one.start for one in night.now.values()])
    settings = begin.copy()
    for _ in range(6):
        loads = np.maximum(night.loads(settings.tolist()), 0.0)
        settings[own] = begin[own] + float((loads / stiff)[own].max()) + order.aims[0]
    night.start_here(own, settings)


def _break_loose(night: Night, order: Order, where: str) -> None:
    own = [i for i, n in enumerate(night.now) if n in _seats(night, order)]
    night.start_here(own, np.array([one.start for one in night.now.values()]))


def _to_ram(night: Night, order: Order, where: str) -> None:
    """Bring rams to their readings; a nut in the way takes the load before its time."""
    aims = _seats(night, order)
    _whole_circuits(night, aims, where)
    for name, aim in aims.items():
        one = night.now[name]
        if name not in night.started:
            night.wrong(where, f"seat {name} moves before its START is set")
        if not one.seat.comes_back and aim < one.ram - 1e-9:
            night.wrong(where, f"seat {name}: a push in plan may not go back, the ram cannot pull")
        one.go(aim)
        one.on, one.let_down = "oil", False
    night.stand(aims)
    for name, aim in aims.items():
        one = night.now[name]
        mark = _scale(night) if night.links else 0.0
        if abs(one.ram - aim) > mark + 1e-9:
            night.wrong(
                where,
                f"seat {name}: one pressure brings its ram to {one.ram * 1e3:.1f} mm, "
                f"ordered {aim * 1e3:.1f} mm",
            )
        if one.nut is not None and one.nut < (-1e-6 if night.links else -1e-9):
            night.wrong(where, f"seat {name}: the nut takes the load on the way down")
    for name in sorted(night.bearing - aims.keys()):
        night.wrong(where, f"seat {name}: the nut takes the load on the way down")
    for name in order.objects:
        _has_stroke(night, night.job.jacks[name], where)


def _whole_circuits(night: Night, own: Collection[str], where: str) -> None:
    """Hold that one valve moves all jacks of its circuit."""
    for circuit in night.links.circuits:
        if 0 < len(moved := [s for s in circuit.seats if s in own]) < len(circuit.seats):
            night.wrong(where, f"valve {circuit.id} moves all its seats, not {moved[0]} alone")


def _has_stroke(night: Night, jack: Jack, where: str) -> None:
    """Hold a ram within its stroke: at START it is out by what it took to get there."""
    out = night.out_at_start(jack) + night.now[jack.seat].ram
    if night.now[jack.seat].ram > 0.0:
        out = max(out, night.take_up(jack) + night.now[jack.seat].ram)
    if not -jack.resolution <= out <= jack.stroke + jack.resolution:
        night.wrong(
            where,
            f"jack {jack.id} would be {out * 1e3:.1f} mm out, its stroke is "
            f"{jack.stroke * 1e3:.0f} mm; set it anew or give a longer one",
        )


def _follow_nut(night: Night, order: Order, where: str) -> None:
    for name, aim in _seats(night, order).items():
        if night.now[name].nut is None:
            night.wrong(where, f"seat {name} has no lock nut that could follow")
        night.now[name].nut = aim


def _nut_back(night: Night, order: Order, where: str) -> None:
    for name in _seats(night, order):
        if night.now[name].on == "nut":
            night.wrong(where, f"the nut of seat {name} carries and cannot be run back")
        night.now[name].nut = math.inf


def _let_down(night: Night, order: Order, where: str) -> None:
    for name in _seats(night, order):
        one = night.now[name]
        if one.nut is not None:
            one.ram, one.nut = one.ram - one.nut, 0.0
            continue
        over = one.setting - night.stack(one) - _spring_back(night, one)
        if not (one.beside or one.on_pack) and over > 1e-3:
            night.wrong(where, _nothing_to_stand_on(night, name))
        if over < -1e-4:
            night.wrong(where, f"seat {name}: temporary plates are taller than the room for them")
        one.on, one.let_down = "temporary", True
    night.stand()


def _nothing_to_stand_on(night: Night, name: str) -> str:
    jacks = " and ".join(j.id for j in night.job.jacks_at(name))
    return (
        f"seat {name} cannot be re-packed: jack {jacks} has no lock nut and the seat no temporary "
        "seat with plates, so the load would stand on oil alone; give a lock nut in jacks.csv, or "
        "temporary_seat in seats.csv and plates to follow with"
    )


def _oil_off(night: Night, order: Order, where: str) -> None:
    for name in _seats(night, order):
        one = night.now[name]
        if one.on == "temporary":
            continue
        if one.nut is not None and abs(one.nut) < 1e-9:
            one.on, one.let_down = "nut", True
        elif not one.seat.comes_back:
            _friction(night, one, where)
        else:
            night.wrong(where, _nothing_to_stand_on(night, name))
    night.stand()


def _friction(night: Night, one: SeatNow, where: str) -> None:
    """Let a push off: what started it must be enough to hold it."""
    pull = abs(night.load_of(one.seat.id))
    if pull > one.seat.breakaway + 1.0:
        do = "give a lock nut in jacks.csv"
        if one.nut is not None:
            do = "give it breakaway 0 in seats.csv, so that it is planned onto its pack"
        night.wrong(
            where,
            f"seat {one.seat.id}: let off, the deck is pulled back with {pull / 1e3:.0f} kN, "
            f"friction holds {one.seat.breakaway / 1e3:.0f} kN; {do}",
        )
    one.on = "friction"


def _change_pack(night: Night, order: Order, where: str) -> None:
    for name in order.objects:
        one = night.now[name]
        if one.on == "oil" or (one.on == "temporary" and not one.beside):
            night.wrong(where, _nothing_to_stand_on(night, name))
    _move_plates(night, order, where)
    planned = zip(night.stage.seats, night.stage.before, night.stage.after, strict=True)
    packs = {name: (before, after) for name, before, after in planned}
    for name in order.objects:
        one = night.now[name]
        for pack in packs[name]:
            if Counter(one.pack) == Counter(pack):
                # built up again in the order of the plan, bottom to top
                one.pack = list(pack)
        one.bedded = sorted(one.pack) == sorted(one.seat.pack)
        room = night.room(one, night.load_of(name))
        need = night.job.staging.slide - DISPLAY[night.job.units].move.half_step
        # let off, a pushed deck may come back before the pack is in
        need += night.job.staging.spring_back if night.job.stays_pushed(one.seat) else 0.0
        over = sum(night.job.plates[m].measured for m in one.on_pack)
        if room - over < (0.0 if one.on_pack else need):
            night.wrong(
                where,
                f"seat {name}: {room * 1e3:.1f} mm room over the new pack, plates there take "
                f"{over * 1e3:.1f} mm, and {max(0.0, need) * 1e3:.1f} mm are needed to slide it in",
            )


def _move_plates(night: Night, order: Order, where: str) -> None:
    for move in order.moved:
        _move(night, move, where)
    for mark, count in night.taken.items():
        night.most[mark] = max(night.most[mark], count)


def _move(night: Night, move: PlateMove, where: str) -> None:
    """Move one plate: it must be where it is said to be, and then it is in one other place."""
    one = night.now[move.seat]
    places = {"pack": one.pack, "beside": one.beside, "on pack": one.on_pack}
    if move.source == "store":
        night.taken[move.mark] += 1
    elif move.mark in places[move.source]:
        places[move.source].remove(move.mark)
    else:
        night.wrong(where, f"plate {move.mark} is not {move.source} at seat {move.seat}")
    if move.target == "store":
        night.taken[move.mark] -= 1
    else:
        places[move.target].append(move.mark)
    if "beside" in (move.source, move.target) and not one.seat.temporary_seat:
        night.wrong(where, _nothing_to_stand_on(night, move.seat))


def _follow_plates(night: Night, order: Order, where: str) -> None:
    """Move temporary plates under a load on oil: only added, or only taken away, at each seat."""
    for name in order.objects:
        ways = Counter(m.target == "store" for m in order.moved if m.seat == name)
        if len(ways) > 1:
            night.wrong(
                where,
                f"seat {name}: temporary plates would be exchanged while the load stands on oil "
                "alone; give thinner plates, or a jack with a lock nut",
            )
    _move_plates(night, order, where)
    for name in order.objects:
        one = night.now[name]
        if one.on == "oil" and _fits(night, one) < -DISPLAY[night.job.units].move.half_step:
            night.wrong(where, f"seat {name}: temporary plates are taller than the room for them")


def _fits(night: Night, one: SeatNow) -> float:
    """Return the room that is left over the temporary plates of a seat [m]."""
    load = night.load_of(one.seat.id)
    over = night.room(one, load) - sum(night.job.plates[m].measured for m in one.on_pack)
    if not one.beside:
        return over
    height = sum(night.job.plates[m].measured for m in one.beside)
    return min(over, one.setting - one.start - height - load / one.seat.stiffness)


def _land(night: Night, order: Order, where: str) -> None:
    own = [name in _seats(night, order) for name in night.now]
    on_jacks = np.where(own, night.loads([one.setting for one in night.now.values()]), 0.0)
    for name in _seats(night, order):
        one = night.now[name]
        if one.beside or one.on_pack:
            night.wrong(where, f"seat {name} lands on temporary plates")
        if one.nut is not None and one.nut != math.inf:
            night.wrong(where, f"the nut of seat {name} is in the way when it lands")
        one.on, one.bedded = "pack", True
    night.stand()
    if night.links:
        for values, outcome in night.landing(np.maximum(on_jacks, 0.0)):
            hold_limits(night.work, where, values, outcome, set(night.now), STILL)


def _jack_off(night: Night, order: Order, where: str) -> None:
    for name in _seats(night, order):
        one = night.now[name]
        if one.on in ("oil", "temporary"):
            night.wrong(where, f"seat {name} still stands on its jack")
        if one.on in ("friction", "nut") and one.seat.held_by == "packs":
            if rest_on(night.job, one.seat, one.setting) == "friction":
                _friction(night, one, where)
            else:
                one.on, one.bedded = "pack", True
    night.stand()


def ended(night: Night) -> None:
    """Hold the end of a crew's orders against what the stage is to leave."""
    where = f"stage {night.stage.number}, {night.stage.group}"
    ends = (night.stage.down or night.stage.up)[-1]
    for (name, one), end, pack in zip(night.now.items(), ends, night.stage.after, strict=True):
        if one.on != rest_on(night.job, one.seat, one.setting):
            night.wrong(where, f"seat {name} is left on {one.on}")
        if Counter(one.pack) != Counter(pack) or one.beside or one.on_pack:
            night.wrong(where, f"seat {name} is left with other plates than planned")
        scale = max(j.resolution for j in night.job.jacks_at(name))
        if abs(one.setting - end) > scale / 2.0 + 1e-6:
            night.wrong(
                where,
                f"seat {name} is left at {one.setting * 1e3:.2f} mm, planned {end * 1e3:.2f} mm",
            )


_ACTS: Final[dict[str, Callable[[Night, Order, str], None]]] = {
    "SET ANEW": _set_anew,
    "TAKE UP": _take_up,
    "LIFT OFF": _lift_off,
    "BREAK LOOSE": _break_loose,
    "RAISE": _to_ram,
    "PUSH": _to_ram,
    "LOWER": _to_ram,
    "FREE": _to_ram,
    "FOLLOW WITH NUT": _follow_nut,
    "NUT HOME": _follow_nut,
    "RUN NUT BACK": _nut_back,
    "LET DOWN": _let_down,
    "OIL OFF": _oil_off,
    "CHANGE PACK": _change_pack,
    "FOLLOW WITH PLATES": _follow_plates,
    "TAKE OUT PLATES": _move_plates,
    "LAND": _land,
    "JACK OFF": _jack_off,
}
