"""Hold one state against every limit, written afresh: reactions, lifts, openings, locked joints."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from fitup.certify.plane import off_plane
from fitup.certify.recompute import Outcome, States
from fitup.frames import Array
from fitup.model import Check, CheckState, Job, Limit, Plan, Seat
from fitup.units import DISPLAY

#: the linear influence and the true motion may differ by this [m] or [rad] before it is refused
LINEAR = 1.0e-4
LINEAR_TURN = 1.0e-5
#: and a tension by this [N], or this share of it
LINEAR_FORCE, LINEAR_SHARE = 1.0e3, 5.0e-3
#: rounding of printed readings and sums of plates [m]; of loads [N]
ROUND, ROUND_N = 1e-7, 1.0
#: share by which a force may pass its limit as rounding
_FORCE = 1e-6
#: and a load or tension of a frame with cables, which is planned along a straight line
_HUNG = 2e-3


@dataclass(slots=True)
class Work:
    """What is needed everywhere while certifying."""

    job: Job
    state: CheckState
    states: States
    plan: Plan
    wrong: list[str]
    warm: Array
    """What the survey's steel temperature adds to every check (m,)."""
    rate: Array
    """What one kelvin more does to every check (m,)."""
    counted: int = 0

    def settings(self, values: Mapping[str, float]) -> dict[str, float]:
        """Return a setting for every seat; those not named stand as surveyed."""
        return {name: values.get(name, 0.0) for name in self.job.seats}


@dataclass(frozen=True, eq=False)
class Shake:
    """What jacks out of step may add to a state, either way.

    Parameters
    ----------
    off : mapping of seat to float
        How far each moving seat may be off its reading [m].
    reactions : mapping of seat to float
        The most that adds to each reaction [N].
    change : Array (m,)
        The most it adds to every check.
    """

    off: Mapping[str, float] = field(default_factory=dict)
    reactions: Mapping[str, float] = field(default_factory=dict)
    change: Array | None = None
    forces: Mapping[str, float] = field(default_factory=dict)
    """The most that is added to every watched force."""
    modes: tuple[Mapping[str, float], ...] = ()
    """Settings of seats raised with linked jacks [m], a mapping for each thing that may be off."""

    def of_check(self, k: int) -> float:
        """Return the most that is added to one check."""
        return 0.0 if self.change is None else float(self.change[k])


STILL = Shake()


def hold_limits(
    work: Work,
    where: str,
    values: Mapping[str, float],
    outcome: Outcome,
    moving: set[str],
    shake: Shake = STILL,
) -> None:
    """Note every limit a state breaks, jacks out of step included while seats move.

    Parameters
    ----------
    work : Work
        Its ``wrong`` takes the notes.
    where : str
        Name of the state, at the head of every note.
    values : mapping of str to float
        Settings by seat [m]; seats not named stand as surveyed.
    outcome : Outcome
        Checks, reactions and forces of the state.
    moving : set of str
        Seats that move; if any does, the limits for moving seats hold, and printed readings may be
        rounded.
    shake : Shake
        What jacks out of step may add.
    """
    reactions, change = outcome.reactions, outcome.change
    work.counted += 1
    half = DISPLAY[work.job.units].move.half_step if moving else 0.0
    for name, seat in work.job.seats.items():
        load, off = reactions[name], shake.reactions.get(name, 0.0)
        # a seat that may be unloaded has been let go where it would pull
        free = seat.may_unload and load >= -ROUND_N
        care = max(ROUND_N, _uneven(work.job) * abs(load))
        low = load - off < seat.reaction_least - care and not free
        if low or load + off > seat.reaction_most + care:
            work.wrong.append(
                f"{where}: seat {name} carries {_around(load, off)}, outside its limits"
            )
    for limit in work.job.limits.values():
        _hold_lift(work, where, limit, work.settings(values), shake, bool(moving), half)
    for k, check in enumerate(work.state.checks):
        _hold_opening(work, where, k, check, float(change[k]), shake, half)
        _hold_locked(work, where, check, float(change[k]), shake.of_check(k), half)
    _hold_forces(work, where, outcome, shake)


def _uneven(job: Job) -> float:
    """Return the share by which loads may pass their limits because cables answer unevenly."""
    return _HUNG if job.frame is not None and job.frame.cables else 0.0


def _around(load: float, off: float) -> str:
    if off == 0.0:
        return f"{load / 1e3:.0f} kN"
    return f"{load / 1e3:.0f} kN, {off / 1e3:.0f} kN either way with jacks out of step"


def _hold_lift(
    work: Work,
    where: str,
    limit: Limit,
    settings: Mapping[str, float],
    shake: Shake,
    moving: bool,
    half: float,
) -> None:
    seats = [work.job.seats[s] for s in limit.seats]
    off = [shake.off.get(s.id, 0.0) for s in seats]
    size, care = _lift(limit, seats, settings), (2.0 if limit.kind == "difference" else 4.0) * half
    for seat, share in zip(seats, off, strict=True):
        # both are linear: what each seat alone adds may all come together
        size += _lift(limit, seats, {s.id: share * (s.id == seat.id) for s in seats})
    for mode in shake.modes:
        size += _lift(limit, seats, {s.id: mode.get(s.id, 0.0) for s in seats})
    most = limit.moving if moving else limit.most
    if size > most + care + ROUND:
        work.wrong.append(
            f"{where}: {limit.kind} {limit.id} is {size * 1e3:.1f} mm, at most {most * 1e3:.1f} mm"
        )


def _lift(limit: Limit, seats: Sequence[Seat], settings: Mapping[str, float]) -> float:
    """Return the difference or warp of some settings [m]."""
    if limit.kind == "difference":
        return abs(settings[seats[0].id] - settings[seats[1].id])
    return off_plane(seats, settings)


def _hold_opening(
    work: Work, where: str, k: int, check: Check, delta: float, shake: Shake, half: float
) -> None:
    if check.quantity != "gap" or check.pair is None:
        return
    job = work.job
    least = job.joints[check.joint].least_opening
    if least is None:
        return
    swing = abs(float(work.rate[k])) * job.gates.temperature_apart
    closest = min(0.0, float(work.warm[k]) - swing)
    value = float(work.state.values[k])
    opening = job.pairs[check.pair].opening + value + delta + closest - shake.of_check(k)
    if opening < least - 2.0 * half - LINEAR:
        work.wrong.append(
            f"{where}: pair {check.pair} opens {opening * 1e3:.1f} mm at the least over the "
            f"steel temperatures allowed, at least {least * 1e3:.1f} mm"
        )


def _hold_locked(
    work: Work, where: str, check: Check, delta: float, shake: float, half: float
) -> None:
    if check.pair is None:
        return
    locked = work.job.joints[check.joint].locked_within
    size = abs(delta) + shake
    if locked is not None and size > locked + 2.0 * half + LINEAR:
        work.wrong.append(
            f"{where}: {check.id} of a locked joint changes by {size * 1e3:.1f} mm, at most "
            f"{locked * 1e3:.1f} mm"
        )


def _hold_forces(work: Work, where: str, outcome: Outcome, shake: Shake) -> None:
    frame = work.job.frame
    for name, force in outcome.forces.items():
        assert frame is not None
        off, care = shake.forces.get(name, 0.0), _FORCE * max(abs(force), 1.0)
        if name.startswith("saddle/"):
            if force - off < -care:
                _, saddle, side = name.split("/")
                work.wrong.append(f"{where}: the cable slips {side} over saddle {saddle}")
            continue
        if name.startswith("cable/"):
            cable = frame.cables[name.removeprefix("cable/")]
            care = _HUNG * abs(force)
            if not cable.least - care <= force - off <= force + off <= cable.most + care:
                work.wrong.append(
                    f"{where}: cable {cable.id} pulls {force / 1e3:.0f} kN, outside its limits in "
                    "frame_cables.csv"
                )
            continue
        place = frame.places[name]
        if not place.least - care <= force - off <= force + off <= place.most + care:
            work.wrong.append(
                f"{where}: {place.quantity} at {name} in member {place.member} is outside its "
                "limits in frame_places.csv"
            )


def shaken(work: Work, values: Mapping[str, float], off: Mapping[str, float]) -> Shake:
    """Return what jacks out of step may add: each moved alone by its share, all added up.

    Parameters
    ----------
    work : Work
    values : mapping of str to float
        Settings by seat [m]; seats not named stand as surveyed.
    off : mapping of str to float
        How far each moving seat may be off its reading [m].
    """
    if not any(off.values()):
        return STILL
    checks = work.state.checks
    base = work.states.at(work.settings(values), checks)
    reactions = dict.fromkeys(work.job.seats, 0.0)
    change = np.zeros(len(checks))
    forces = dict.fromkeys(base.forces, 0.0)
    for seat, share in off.items():
        if share == 0.0:
            continue
        moved = work.settings({**values, seat: values.get(seat, 0.0) + share})
        outcome = work.states.at(moved, checks)
        change += np.abs(outcome.change - base.change)
        for name in reactions:
            reactions[name] += abs(outcome.reactions[name] - base.reactions[name])
        for place in forces:
            forces[place] += abs(outcome.forces[place] - base.forces[place])
    return Shake(dict(off), reactions, change, forces)
