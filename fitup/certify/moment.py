"""The state of a crew's seats after an order: what carries each, how high, what lies there."""

from __future__ import annotations

import math

from fitup.certify.night import Moment, Night, SeatNow
from fitup.model import Order, SeatState


def moment_of(night: Night, order: Order) -> Moment:
    """Return the state after an order.

    Parameters
    ----------
    night : Night
    order : Order
        The last that was carried out.
    """
    settings = {n: one.setting for n, one in night.now.items()}
    loads = dict(zip(night.now, night.loads(list(settings.values())).tolist(), strict=True))
    after = tuple(_state(night, one, loads[n]) for n, one in night.now.items())
    rams = {n: one.ram for n, one in night.now.items()}
    share = order.aims[0] if order.verb == "TAKE UP" else 1.0
    return Moment(order, loads, settings, rams, after, share)


def _state(night: Night, one: SeatNow, load: float) -> SeatState:
    room = night.room(one, load)
    return SeatState(
        one.seat.id,
        one.on,
        load,
        night.level(one, load),
        room,
        _drop(night, one, room) if one.on == "oil" else 0.0,
        tuple(one.pack),
        tuple(one.beside),
        tuple(one.on_pack),
    )


def _drop(night: Night, one: SeatNow, room: float) -> float:
    """Return how far a load on oil could go before steel carries it [m]."""
    if one.seat.held_by == "nut":
        return one.nut if one.nut is not None else math.inf
    over = room - sum(night.job.plates[m].measured for m in one.on_pack)
    tops = [over, math.inf if one.nut is None else one.nut]
    if one.beside:
        height = sum(night.job.plates[m].measured for m in one.beside)
        rest = one.setting - one.start - height
        tops.append(rest - night.load_of(one.seat.id) / one.seat.stiffness)
    return min(tops)
