"""Where a crew stands that stopped: its lines followed, then what it states put in.

It may have stopped in its stage, in the certified way back of that, or in a recovery: then the
lines of that way are followed from where it began, and so on. A load on the oil of a broken jack
goes down until nut, plates or pack carry it.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

from fitup.certify.acts import RAISED, act_on
from fitup.certify.night import Night, SeatNow
from fitup.model import Job, Order, Procedure, Stage
from fitup.model.recovery import Recovery, Stopped


def lines_done(procedure: Procedure, line: int) -> int:
    """Return how many events of a procedure are done when one of its lines is.

    Parameters
    ----------
    procedure : Procedure
    line : int
        One of its own.
    """
    return 1 + next(k for k, e in enumerate(procedure.events) if e.line == line)


def arrive(night: Night, own: Procedure, stopped: Stopped, legs: Sequence[Recovery]) -> None:
    """Follow a crew to where it stopped; no limit is held.

    Parameters
    ----------
    night : Night
        As the stage began; changed in place.
    own : Procedure
        Of the stage itself.
    stopped : Stopped
    legs : sequence of Recovery
        The ways that led there from the stage, in the order of time.
    """
    stops = (*(leg.stopped for leg in legs), stopped)
    for order in night.stage.orders[: lines_done(own, stops[0].line)]:
        act_on(night, order, "")
    state(night, stops[0])
    for leg, then in zip(legs, stops[1:], strict=True):
        for order in leg.orders[: lines_done(leg.procedure, then.line)]:
            act_on(night, order, "")
        state(night, then)


def done_at(own: Procedure, stopped: Stopped, legs: Sequence[Recovery]) -> int:
    """Return how many orders of the stage stand where a crew stopped.

    Parameters
    ----------
    own, stopped, legs
        As for :func:`arrive`.
    """
    if not legs:
        return lines_done(own, stopped.line)
    return legs[-1].reached[lines_done(legs[-1].procedure, stopped.line) - 1]


def way_back(stage: Stage, own: Procedure, back: Procedure) -> Recovery:
    """Return the certified way back of a stage as the way a crew was on.

    Parameters
    ----------
    stage : Stage
    own, back : Procedure
        Of the stage and of its way back.
    """
    raised = max(i for i, o in enumerate(stage.orders) if o.verb in RAISED)
    stopped = Stopped(own.events[raised].line, stage=own.stage, crew=own.crew)
    return Recovery("back", stopped, stage.back, back, (), tuple(_reached(stage, raised)))


def _reached(stage: Stage, raised: int) -> list[int]:
    """Return how many orders of a stage stand after each order of its way back."""
    at, out = raised + 1, []
    for order in stage.back:
        if order.verb == "CHANGE PACK":
            at = min(k for k, o in enumerate(stage.orders) if o.verb == "CHANGE PACK")
        elif order.verb == "LOWER":
            at = _level(stage, order, at)
        elif order.verb == "JACK OFF":
            at = 0
        out.append(at)
    # packs that are not all back: none of the changes is undone as a whole
    changes = [k for k, o in enumerate(stage.back) if o.verb == "CHANGE PACK"]
    for k in changes[:-1]:
        out[k] = raised + 1
    return out


def _level(stage: Stage, order: Order, at: int) -> int:
    """Return how many orders stand at ram readings of the way up; ``at`` where none has them."""
    aims = dict(zip(order.objects, order.aims, strict=True))
    rams = dict.fromkeys(aims, 0.0)
    found = at
    for k, done in enumerate(stage.orders[:at]):
        if done.verb == "RAISE":
            rams.update(zip(done.objects, done.aims, strict=True))
        if done.verb in ("LIFT OFF", "RAISE") and all(
            abs(rams[name] - aim) < 1e-9 for name, aim in aims.items()
        ):
            found = k + 1
    return found


def state(night: Night, stopped: Stopped) -> None:
    """Put into a state what the crew says is otherwise than the line it stopped after.

    Parameters
    ----------
    night : Night
        Followed to that line; changed in place.
    stopped : Stopped
    """
    for name, reading in stopped.rams:
        night.now[night.job.jacks[name].seat].go(reading)
    night.stand({night.job.jacks[name].seat for name, _ in stopped.rams})
    stated, lost = dict(stopped.on), without_oil(night.job, stopped.broken)
    for name, one in night.now.items():
        jacks = {j.id for j in night.job.jacks_at(name)}
        if name in stated:
            _set_down(night, one, None if stated[name] == "oil" else stated[name])
        elif one.on == "oil" and jacks & lost:
            _set_down(night, one, _below(night, one))
        elif one.on == "oil" and stopped.at_rest:
            _set_down(night, one, _rest_of(one))
    night.stand()


def without_oil(job: Job, broken: Collection[str]) -> set[str]:
    """Return the jacks that hold no oil where some are broken: all on the valve of one of them.

    Parameters
    ----------
    job : Job
    broken : collection of str
    """
    leaks = {job.jacks[j].circuit for j in broken} - {""}
    return {j.id for j in job.jacks.values() if j.id in broken or j.circuit in leaks}


def _set_down(night: Night, one: SeatNow, on: str | None) -> None:
    """Let a seat stand on something; None leaves it on oil."""
    if on is None or on == one.on:
        return
    if on == "nut":
        gap = one.nut if one.nut is not None and one.nut != math.inf else 0.0
        one.ram, one.nut, one.on, one.let_down = one.ram - gap, 0.0, "nut", True
    elif on == "temporary":
        one.on, one.let_down = "temporary", True
    elif on == "friction":
        one.on = "friction"
    elif on == "pack":
        one.on, one.bedded = "pack", True


def _rest_of(one: SeatNow) -> str:
    if one.nut is not None:
        return "nut"
    if not one.seat.comes_back:
        return "friction"
    return "temporary" if one.beside or one.on_pack else "pack"


def _below(night: Night, one: SeatNow) -> str:
    """Return what carries first when the oil of a seat is lost."""
    load = night.load_of(one.seat.id)
    if not one.seat.comes_back and abs(load) <= one.seat.breakaway and one.nut is None:
        return "friction"
    over = night.room(one, load) - _height(night, one.on_pack)
    tops = [(over, "temporary" if one.on_pack else "pack")]
    if one.seat.held_by == "nut" or (one.nut is not None and one.nut != math.inf):
        tops = [*(tops if one.seat.held_by == "packs" else []), (one.nut or 0.0, "nut")]
    if one.beside:
        beside = one.setting - one.start - _height(night, one.beside) - load / one.seat.stiffness
        tops.append((beside, "temporary"))
    return min(tops)[1]


def _height(night: Night, marks: Sequence[str]) -> float:
    return sum(night.job.plates[m].measured for m in marks)
