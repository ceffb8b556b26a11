"""What may give way: tolerances, limits, strokes, loads, held seats, stock; each loosened alone.

Everything has a key: its kind, and the seat, limit, check, joint, group or mark it belongs to.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from fitup.model import Check, CheckState, Influence, Job, Seat
from fitup.problem.jacks import seat_capacity, stronger
from fitup.problem.problem import clearance, stroke_back, stroke_left
from fitup.units import DISPLAY, DisplayUnits, Shown

#: kind and subject
Key = tuple[str, str]
#: what taking a limit away stands for [m], [N]
_FAR: Final = 1.0
_HEAVY: Final = 1e12
_MANY: Final = 99


@dataclass(frozen=True, eq=False)
class Case:
    """A job with its checks as surveyed and its influence: what a plan is made from."""

    job: Job
    state: CheckState
    influence: Influence

    @property
    def units(self) -> DisplayUnits:
        """Units to print in."""
        return DISPLAY[self.job.units]


@dataclass(frozen=True, eq=False)
class Give:
    """A kind of thing that may give way.

    Parameters
    ----------
    what : callable
        Case and subject to what it is, with its present amount.
    more : callable
        Case, subject and amount [SI] to the change in words.
    loosen : callable
        Case, subject and amount [SI] to the case in which it has given way by so much;
        infinite: taken away.
    shown : callable
        How the amount is printed; None where there is none: given way or not.
    digits : int
        Amounts are rounded up to so many units of the last printed digit.
    """

    what: Callable[[Case, str], str]
    more: Callable[[Case, str, float], str]
    loosen: Callable[[Case, str, float], Case]
    shown: Callable[[Case, str], Shown] | None = None
    digits: int = 1

    def rounded(self, case: Case, subject: str, amount: float) -> float:
        """Return an amount rounded up to what is worth saying, at least one step.

        Parameters
        ----------
        case : Case
        subject : str
        amount : float
            [SI]

        Returns
        -------
        float
            Infinite where there are no amounts: given way or not.
        """
        if self.shown is None:
            return math.inf
        size = 2.0 * self.shown(case, subject).half_step * self.digits
        return max(1, math.ceil(amount / size - 1e-6)) * size


def _move(case: Case, subject: str) -> Shown:
    return case.units.move


def _force(case: Case, subject: str) -> Shown:
    return case.units.force


def of_tolerance(check: Check) -> Key:
    """Return the key of a check's tolerance; points, towers and cables share one by quantity."""
    if check.point is not None or check.subject:
        return ("tolerance", f"all/{check.quantity}")
    return ("tolerance", check.id)


def _checks(case: Case, subject: str) -> list[Check]:
    return [
        c
        for c in case.state.checks
        if c.tolerance is not None and of_tolerance(c) == ("tolerance", subject)
    ]


def check_words(check: Check) -> str:
    """Say which check, without its joint where pair or place tells."""
    name = check.quantity.replace("kink_", "kink in ").replace("_", " ")
    if check.point is not None or check.subject:
        return f"{name} of {check.point or check.subject}"
    return f"{name} at {check.item or check.pair or check.joint}"


def _tolerance_words(case: Case, subject: str) -> str:
    first = _checks(case, subject)[0]
    if subject.startswith("all/"):
        places = {"lean": "towers", "tension": "cables"}.get(first.quantity, "points")
        return f"{first.quantity.replace('_', ' ')} tolerance of all {places}"
    return f"{check_words(first)} tolerance"


def _tolerance_shown(case: Case, subject: str) -> Shown:
    units = case.units
    kind = _checks(case, subject)[0].kind
    return {"length": units.move, "slope": units.slope, "force": units.force}[kind]


def _tolerance_now(case: Case, subject: str) -> float:
    return max(c.tolerance or 0.0 for c in _checks(case, subject))


def _tolerance_more(case: Case, subject: str, amount: float) -> str:
    shown, now = _tolerance_shown(case, subject), _tolerance_now(case, subject)
    words = _tolerance_words(case, subject)
    return f"{words} of {shown.text(now + amount)} (now {shown.text(now)})"


def _tolerance(case: Case, subject: str, amount: float) -> Case:
    own = {c.id for c in _checks(case, subject)}

    def looser(check: Check) -> Check:
        if check.id not in own or check.tolerance is None:
            return check
        return replace(check, tolerance=None if math.isinf(amount) else check.tolerance + amount)

    checks = tuple(looser(c) for c in case.state.checks)
    return replace(case, state=replace(case.state, checks=checks))


def _seat(case: Case, subject: str, change: Callable[[Seat], Seat]) -> Case:
    seats = {**case.job.seats, subject: change(case.job.seats[subject])}
    return replace(case, job=replace(case.job, seats=seats))


def _hold(case: Case, subject: str, amount: float) -> Case:
    return _seat(case, subject, lambda s: replace(s, hold=False))


def _alone(case: Case, subject: str, amount: float) -> Case:
    objectives = case.job.objectives
    kept = tuple(s for s in objectives.leave_alone if s != subject)
    return replace(case, job=replace(case.job, objectives=replace(objectives, leave_alone=kept)))


def _stroke(case: Case, subject: str, amount: float) -> Case:
    more = min(amount, _FAR)
    longer = {j.id: replace(j, stroke=j.stroke + more) for j in case.job.jacks_at(subject)}
    return replace(case, job=replace(case.job, jacks={**case.job.jacks, **longer}))


def _group_stroke(case: Case, subject: str, amount: float) -> Case:
    for seat in [s.id for s in case.job.seats.values() if s.group == subject]:
        case = _stroke(case, seat, amount)
    return case


def _back(case: Case, subject: str, amount: float) -> Case:
    more = min(amount, _FAR)
    out = {
        j.id: replace(j, stroke=j.stroke + more, stroke_used=j.stroke_used + more)
        for j in case.job.jacks_at(subject)
    }
    return replace(case, job=replace(case.job, jacks={**case.job.jacks, **out}))


def _raise(case: Case, subject: str, amount: float) -> Case:
    now = case.job.seats[subject].raise_most or 0.0
    most = None if math.isinf(amount) else now + amount
    return _seat(case, subject, lambda s: replace(s, raise_most=most))


def _lower(case: Case, subject: str, amount: float) -> Case:
    now = case.job.seats[subject].lower_most or 0.0
    most = None if math.isinf(amount) else now + amount
    return _seat(case, subject, lambda s: replace(s, lower_most=most))


def _least(case: Case, subject: str, amount: float) -> Case:
    less = min(amount, _HEAVY)
    return _seat(case, subject, lambda s: replace(s, reaction_least=s.reaction_least - less))


def _most(case: Case, subject: str, amount: float) -> Case:
    more = min(amount, _HEAVY)
    return _seat(case, subject, lambda s: replace(s, reaction_most=s.reaction_most + more))


def _capacity(case: Case, subject: str, amount: float) -> Case:
    larger = stronger(case.job, subject, min(amount, _HEAVY))
    return replace(case, job=replace(case.job, jacks={**case.job.jacks, **larger}))


def capacity(case: Case, subject: str) -> float:
    """Return the load of a seat at which the first of its jacks is at its capacity [N].

    Parameters
    ----------
    case : Case
    subject : str
        The seat.
    """
    return seat_capacity(case.job, subject)


def _limit(case: Case, subject: str, amount: float) -> Case:
    limit = case.job.limits[subject]
    wider = replace(limit, most=limit.most + min(amount, _FAR))
    return replace(case, job=replace(case.job, limits={**case.job.limits, subject: wider}))


def _limit_words(case: Case, subject: str) -> str:
    kind = case.job.limits[subject].kind
    return f"{'difference in lift' if kind == 'difference' else 'warp'} {subject}"


def _leave(case: Case, subject: str, amount: float) -> Case:
    checks = tuple(
        replace(c, leave_within=None if math.isinf(amount) else c.leave_within + amount)
        if c.id == subject and c.leave_within is not None
        else c
        for c in case.state.checks
    )
    return replace(case, state=replace(case.state, checks=checks))


def _left(case: Case, subject: str) -> Check:
    return next(c for c in case.state.checks if c.id == subject)


def _leave_shown(case: Case, subject: str) -> Shown:
    units = case.units
    kind = _left(case, subject).kind
    return {"length": units.move, "slope": units.slope, "force": units.force}[kind]


def _locked(case: Case, subject: str, amount: float) -> Case:
    joint = case.job.joints[subject]
    now = joint.locked_within or 0.0
    within = None if math.isinf(amount) else now + amount
    joints = {**case.job.joints, subject: replace(joint, locked_within=within)}
    return replace(case, job=replace(case.job, joints=joints))


def _opening(case: Case, subject: str, amount: float) -> Case:
    joint = case.job.joints[subject]
    now = joint.least_opening or 0.0
    least = None if math.isinf(amount) else now - amount
    joints = {**case.job.joints, subject: replace(joint, least_opening=least)}
    return replace(case, job=replace(case.job, joints=joints))


def _watched(case: Case, subject: str, amount: float) -> Case:
    forces = tuple(
        replace(f, most=f.most + amount, least=f.least - amount) if f.id == subject else f
        for f in case.influence.forces
    )
    return replace(case, influence=replace(case.influence, forces=forces))


def _watched_shown(case: Case, subject: str) -> Shown:
    kind = next(f.kind for f in case.influence.forces if f.id == subject)
    units = case.units
    return {"force": units.force, "moment": units.moment, "stress": units.stress}[kind]


def _contact(case: Case, subject: str, amount: float) -> Case:
    stays = tuple(s for s in case.influence.stays if s.seat != subject)
    return replace(case, influence=replace(case.influence, stays=stays))


def _stock(case: Case, subject: str, amount: float) -> Case:
    plate = case.job.plates[subject]
    count = plate.count + int(min(amount, _MANY))
    plates = {**case.job.plates, subject: replace(plate, count=count)}
    return replace(case, job=replace(case.job, plates=plates))


def _stock_more(case: Case, subject: str, amount: float) -> str:
    word = "plate" if amount == 1 else "plates"
    thick = case.units.plate.text(case.job.plates[subject].nominal)
    return f"{amount:.0f} more {word} {subject} ({thick})"


def _pack(case: Case, subject: str, amount: float) -> Case:
    more = int(min(amount, 2))
    return _seat(case, subject, lambda s: replace(s, most_plates=s.most_plates + more))


def _free(case: Case, subject: str) -> str:
    seat = case.job.seats[subject]
    left = max(0.0, stroke_left(case.job, seat) - clearance(case.job, seat))
    return f"stroke at seat {subject}: {case.units.move.text(left)} free for a move"


def _out(case: Case, subject: str) -> str:
    out = case.units.move.text(stroke_back(case.job, case.job.seats[subject]))
    return f"stroke out at seat {subject}: it can go back {out}"


#: every kind that may give way
GIVES: Final[Mapping[str, Give]] = {
    "tolerance": Give(
        lambda c, s: (
            f"{_tolerance_words(c, s)}, {_tolerance_shown(c, s).text(_tolerance_now(c, s))}"
        ),
        _tolerance_more,
        _tolerance,
        _tolerance_shown,
    ),
    "held": Give(
        lambda c, s: f"seat {s} held",
        lambda c, s, a: f"let seat {s} move (hold = no)",
        _hold,
    ),
    "alone": Give(
        lambda c, s: f"seat {s} left alone",
        lambda c, s, a: f"work at seat {s} (take it out of leave_alone)",
        _alone,
    ),
    "stroke": Give(
        _free,
        lambda c, s, a: f"{c.units.move.text(a)} more stroke at seat {s}",
        _stroke,
        _move,
        10,
    ),
    "lift": Give(
        lambda c, s: f"stroke of group {s}: too short to lift clear of its packs",
        lambda c, s, a: f"{c.units.move.text(a)} more stroke at every seat of group {s}",
        _group_stroke,
        _move,
        10,
    ),
    "back": Give(
        _out,
        lambda c, s, a: f"{c.units.move.text(a)} more stroke out before the work at seat {s}",
        _back,
        _move,
        10,
    ),
    "raise": Give(
        lambda c, s: f"seat {s} raised by {_raise_now(c, s)} at most",
        lambda c, s, a: f"seat {s} raised by {c.units.move.text(a)} more",
        _raise,
        _move,
        10,
    ),
    "lower": Give(
        lambda c, s: f"seat {s} lowered by {_lower_now(c, s)} at most",
        lambda c, s, a: f"seat {s} lowered by {c.units.move.text(a)} more",
        _lower,
        _move,
        10,
    ),
    "reaction_least": Give(
        lambda c, s: (
            f"least bearing at seat {s}, {c.units.force.text(c.job.seats[s].reaction_least)}"
        ),
        lambda c, s, a: f"least bearing at seat {s} lower by {c.units.force.text(a)}",
        _least,
        _force,
        10,
    ),
    "reaction_most": Give(
        lambda c, s: (
            f"greatest reaction at seat {s}, {c.units.force.text(c.job.seats[s].reaction_most)}"
        ),
        lambda c, s, a: f"greatest reaction at seat {s} higher by {c.units.force.text(a)}",
        _most,
        _force,
        10,
    ),
    "jack": Give(
        lambda c, s: (
            f"jack capacity at seat {s}, {c.units.force.text(capacity(c, s))} over its reserve"
        ),
        lambda c, s, a: f"{c.units.force.text(a)} more jack capacity at seat {s}",
        _capacity,
        _force,
        10,
    ),
    "limit": Give(
        lambda c, s: f"{_limit_words(c, s)} within {c.units.move.text(c.job.limits[s].most)}",
        lambda c, s, a: (
            f"{_limit_words(c, s)} up to "
            f"{c.units.move.text(c.job.limits[s].most + a)} "
            f"(now {c.units.move.text(c.job.limits[s].most)})"
        ),
        _limit,
        _move,
        5,
    ),
    "leave": Give(
        lambda c, s: (
            f"what is left of {check_words(_left(c, s))}, within "
            f"{_leave_shown(c, s).text(_left(c, s).leave_within or 0.0)}"
        ),
        lambda c, s, a: f"{_leave_shown(c, s).text(a)} more left of {check_words(_left(c, s))}",
        _leave,
        _leave_shown,
    ),
    "locked": Give(
        lambda c, s: (
            f"joint {s} locked within {c.units.move.text(c.job.joints[s].locked_within or 0.0)}"
        ),
        lambda c, s, a: f"joint {s} may change by {c.units.move.text(a)} more",
        _locked,
        _move,
    ),
    "opening": Give(
        lambda c, s: (
            f"clear opening at joint {s}, {c.units.move.text(c.job.joints[s].least_opening or 0.0)}"
        ),
        lambda c, s, a: f"clear opening at joint {s} smaller by {c.units.move.text(a)}",
        _opening,
        _move,
    ),
    "watched": Give(
        lambda c, s: f"limit of {s}",
        lambda c, s, a: f"limit of {s} wider by {_watched_shown(c, s).text(a)}",
        _watched,
        _watched_shown,
        10,
    ),
    "contact": Give(
        lambda c, s: f"seat {s} carries, or is free, as now",
        lambda c, s, a: f"let seat {s} come off, or take load",
        _contact,
    ),
    "stock": Give(
        lambda c, s: f"stock of plate {s}, {c.job.plates[s].count} loose",
        _stock_more,
        _stock,
    ),
    "pack": Give(
        lambda c, s: f"plates in the pack at seat {s}, {c.job.seats[s].most_plates} at most",
        lambda c, s, a: f"{a:.0f} more allowed in the pack at seat {s}",
        _pack,
    ),
}


def _raise_now(case: Case, subject: str) -> str:
    return case.units.move.text(case.job.seats[subject].raise_most or 0.0)


def _lower_now(case: Case, subject: str) -> str:
    return case.units.move.text(case.job.seats[subject].lower_most or 0.0)


def what(case: Case, key: Key) -> str:
    """Say what a key stands for, with its present amount.

    Parameters
    ----------
    case, key
    """
    return GIVES[key[0]].what(case, key[1])


def loosened(case: Case, key: Key, amount: float = math.inf) -> Case:
    """Return the case in which one thing has given way.

    Parameters
    ----------
    case, key
    amount : float
        By how much [SI], counts in whole numbers; infinite: altogether.
    """
    return GIVES[key[0]].loosen(case, key[1], amount)
