"""Settings, poses, checks, reactions and stock once more, from plates and points, plainly.

Nothing here uses the influence matrices or any code of the optimiser. Settings are summed plate by
plate; segments are brought to equilibrium by a saddle-point system with the held motions as
constraints; points are moved by a true rotation; checks are measured between moved points.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from fitup.certify.items import MEASURES
from fitup.certify.ride import Place
from fitup.frames import Array, Motion, rotation, rotation_vector
from fitup.model import Check, Influence, Job, Seat, SeatPlan, Segment
from fitup.survey.points import Survey

#: a seat that pulls less than this carries nothing [N]
_PULL = 1e-3


def setting_from_plates(job: Job, plan: SeatPlan, stated: float) -> float:
    """Return the move of a seat [m] by adding up plates.

    What a ram's mark decides is taken as stated: a nut, and a deck that stays where it is pushed.
    """
    seat = job.seats[plan.seat]
    own = seat.held_by == "nut" or job.stays_pushed(seat)
    return stated if own else pack_setting(job, seat, plan.build_up)


def room_behind(job: Job, seat: Seat, pack: Sequence[str], setting: float) -> float:
    """Return how far a deck that friction holds may come back until it bears on its pack [m]."""
    if setting == 0.0 or not job.stays_pushed(seat):
        return 0.0
    return max(0.0, setting - pack_setting(job, seat, pack))


def pack_setting(job: Job, seat: Seat, pack: Sequence[str]) -> float:
    """Return the move of a seat [m] that a pack gives, from the surveyed state."""
    if Counter(pack) == Counter(seat.pack):
        return 0.0
    height = 0.0
    for mark in pack:
        height += job.plates[mark].measured
    for mark in seat.pack:
        height -= job.plates[mark].measured
    return height - seat.bedding


@dataclass(frozen=True, eq=False)
class SegmentState:
    """A segment in equilibrium: its motion from the survey, and its reactions [N] by seat."""

    motion: Motion
    turn: Array
    reactions: Mapping[str, float]
    springs: Mapping[str, float] = field(default_factory=dict)
    """Forces were every seat two-way where the segment now is [N]."""


def equilibrium(
    job: Job, segment: Segment, settings: Mapping[str, float], present: Mapping[str, float]
) -> SegmentState:
    """Bring one rigid segment to equilibrium on its seats.

    Unknowns are shift and turn q (6,) and one force for each held motion; the equations are
    moment and force balance, and no motion where it is held. Seats that may be unloaded and
    would pull are let go one after the other, and taken up again where the deck comes back.

    Parameters
    ----------
    job, segment
    settings, present : mapping of str to float
        Of all its seats, from the survey [m]; reactions as surveyed [N].
    """
    loose: set[str] = set()
    seen: set[frozenset[str]] = set()
    while True:
        state = _balanced(job, segment, settings, present, loose)
        wrong = _first_wrong(job, segment, state, loose)
        if wrong is None or frozenset(loose) in seen:
            return state
        seen.add(frozenset(loose))
        loose ^= {wrong}


def _first_wrong(
    job: Job,
    segment: Segment,
    state: SegmentState,
    loose: set[str],
) -> str | None:
    """Return the first seat that pulls and may not, or that is let go though the deck is on it."""
    for seat in job.seats_of(segment.id):
        force = state.springs[seat.id]
        if seat.may_unload and (force > _PULL if seat.id in loose else force < -_PULL):
            return seat.id
    return None


def _balanced(
    job: Job,
    segment: Segment,
    settings: Mapping[str, float],
    present: Mapping[str, float],
    loose: set[str],
) -> SegmentState:
    """Balance a segment on its seats, those let go carrying nothing."""
    seats = job.seats_of(segment.id)
    held = _held_rows(segment)
    size = 6 + len(held)
    matrix, right = np.zeros((size, size)), np.zeros(size)
    for seat in seats:
        w = np.concatenate(
            [seat.direction, np.cross(seat.position - segment.centre, seat.direction)]
        )
        if seat.id in loose:
            right[:6] -= present[seat.id] * w
            continue
        matrix[:6, :6] += seat.stiffness * np.outer(w, w)
        right[:6] += seat.stiffness * settings[seat.id] * w
    for i, row in enumerate(held):
        matrix[6 + i, :6] = row
        matrix[:6, 6 + i] = row
    # forces in newtons and motions in metres differ by orders: equilibrate before solving
    scale = 1.0 / np.sqrt(np.maximum(np.abs(matrix).max(axis=1), 1e-30))
    q = scale * np.linalg.solve(matrix * scale * scale[:, None], right * scale)
    springs = {}
    for seat in seats:
        lever = np.cross(q[3:6], seat.position - segment.centre)
        follows = float(seat.direction @ (q[:3] + lever))
        springs[seat.id] = present[seat.id] + seat.stiffness * (settings[seat.id] - follows)
    reactions = {name: 0.0 if name in loose else force for name, force in springs.items()}
    motion = Motion(rotation(q[3:6]), q[:3], segment.centre)
    return SegmentState(motion, q[3:6], reactions, springs)


def _held_rows(segment: Segment) -> list[Array]:
    east, north = np.sin(segment.azimuth), np.cos(segment.azimuth)
    rows = {
        "along": [east, north, 0.0, 0.0, 0.0, 0.0],
        "across": [-north, east, 0.0, 0.0, 0.0, 0.0],
        "turn": [0.0, 0.0, 0.0, 0.0, 0.0, 1.0],
    }
    return [np.array(rows[name]) for name in ("along", "across", "turn") if name in segment.held]


@dataclass(frozen=True, eq=False)
class Outcome:
    """Change of checks (m,), reactions by seat [N], and watched forces [N, N m, Pa] by place."""

    change: Array
    reactions: Mapping[str, float]
    forces: Mapping[str, float] = field(default_factory=dict)


class States(Protocol):
    """Whatever can say how checks and reactions are for settings by seat [m]."""

    def at(self, settings: Mapping[str, float], checks: Sequence[Check]) -> Outcome:
        """Return the change of every check, and all reactions.

        Parameters
        ----------
        settings : mapping of str to float
            Of all seats, from the surveyed state [m].
        checks : sequence of Check
        """


class RigidStates:
    """Checks and reactions of rigid segments for any settings."""

    def __init__(self, job: Job, survey: Survey, present: Mapping[str, float]) -> None:
        self.job, self.survey, self.present = job, survey, present
        self._still: dict[Check, float] = {}

    def at(self, settings: Mapping[str, float], checks: Sequence[Check]) -> Outcome:
        """Return the change of every check, and all reactions, for settings by seat [m]."""
        states = {
            s.id: equilibrium(self.job, s, settings, self.present)
            for s in self.job.segments.values()
        }
        change = np.array([self._measure(c, states) - self._at_rest(c, states) for c in checks])
        reactions = {k: v for s in states.values() for k, v in s.reactions.items()}
        return Outcome(change, reactions)

    def placed(self, settings: Mapping[str, float]) -> Place:
        """Return where every check point is (3,) for settings by seat [m], as a function."""
        states = {
            s.id: equilibrium(self.job, s, settings, self.present)
            for s in self.job.segments.values()
        }
        return lambda name: self._place(name, states)

    def _at_rest(self, check: Check, states: Mapping[str, SegmentState]) -> float:
        """Measure a check before anything has moved, once."""
        if check not in self._still:
            still = {
                name: SegmentState(Motion(np.eye(3), np.zeros(3), s.motion.centre), np.zeros(3), {})
                for name, s in states.items()
            }
            self._still[check] = self._measure(check, still)
        return self._still[check]

    def _measure(self, check: Check, states: Mapping[str, SegmentState]) -> float:
        return measure(
            self.job,
            check,
            lambda name: self._place(name, states),
            lambda segment: self._turn(segment, states),
        )

    def _place(self, name: str, states: Mapping[str, SegmentState]) -> Array:
        point = self.job.points[name]
        if name in self.survey.points:
            start = self.survey.points[name].position
        else:
            start = self.survey.poses[point.segment].design2site.apply(point.design)
        return states[point.segment].motion.apply(start)

    def _turn(self, segment: str, states: Mapping[str, SegmentState]) -> Array:
        surveyed = self.survey.poses[segment].design2site.turn
        return rotation_vector(states[segment].motion.turn @ surveyed)


def measure(
    job: Job, check: Check, place: Callable[[str], Array], turn: Callable[[str], Array]
) -> float:
    """Measure a check between moved points, in the signs of docs/signs.md.

    Parameters
    ----------
    job, check
    place, turn : callable
        Where a point is (3,) [m], by its name; how a segment has turned there (3,) [rad].
    """
    if check.point is not None:
        point = job.points[check.point]
        moved = place(check.point) - point.design
        azimuth = job.segments[point.segment].azimuth
        across = -moved[0] * np.cos(azimuth) + moved[1] * np.sin(azimuth)
        along = moved[0] * np.sin(azimuth) + moved[1] * np.cos(azimuth)
        return float({"level": moved[2], "line": across, "station": along}[check.quantity])
    if check.quantity == "tension":
        # a structure without cables: it stays as measured
        return job.tensions[check.subject].value
    if check.quantity == "lean":
        lean = job.leans[check.subject]
        over = place(lean.head) - place(lean.foot)
        azimuth = job.segments[job.points[lean.head].segment].azimuth
        return float(over[0] * np.sin(azimuth) + over[1] * np.cos(azimuth))
    if check.quantity in MEASURES:
        return MEASURES[check.quantity](job, check, place)
    joint = job.joints[check.joint]
    ahead, left, up = joint.axes_in_grid
    if check.pair is not None:
        pair = job.pairs[check.pair]
        apart = place(pair.ahead_point) - place(pair.back_point)
        return float(
            {
                "gap": ahead @ apart - pair.opening,
                "step": up @ apart,
                "offset": left @ apart,
            }[check.quantity]
        )
    w = turn(joint.ahead) - turn(joint.back)
    return float({"kink_grade": -left @ w, "kink_plan": up @ w, "twist": ahead @ w}[check.quantity])


class TableStates:
    """Checks and reactions from the engineer's table, summed row by row."""

    def __init__(self, influence: Influence, may_unload: Sequence[str] = ()) -> None:
        self.influence, self.may_unload = influence, may_unload

    def at(self, settings: Mapping[str, float], checks: Sequence[Check]) -> Outcome:
        """Return the change of every check, and all reactions, for settings by seat [m].

        Where a seat that may be unloaded would pull, the deck leaves it: its setting is raised
        to where it carries nothing, seat after seat.
        """
        effective = dict(settings)
        loose: set[str] = set()
        seen: set[frozenset[str]] = set()
        outcome = self._two_way(effective, checks)
        while frozenset(loose) not in seen:
            seen.add(frozenset(loose))
            wrong = self._first_wrong(settings, effective, outcome, loose)
            if wrong is None:
                break
            loose ^= {wrong}
            effective = self._raised(settings, sorted(loose))
            outcome = self._two_way(effective, checks)
        return outcome

    def _first_wrong(
        self,
        settings: Mapping[str, float],
        effective: Mapping[str, float],
        outcome: Outcome,
        loose: set[str],
    ) -> str | None:
        for name in self.may_unload:
            if name in loose and effective[name] < settings[name] - 1e-12:
                return name
            if name not in loose and outcome.reactions[name] < -_PULL:
                return name
        return None

    def _raised(self, settings: Mapping[str, float], loose: Sequence[str]) -> dict[str, float]:
        """Return settings with which the seats let go carry nothing."""
        if not loose:
            return dict(settings)
        own = [self.influence.seats.index(name) for name in loose]
        pull = [self._two_way(settings, ()).reactions[name] for name in loose]
        up = np.linalg.lstsq(self.influence.R[np.ix_(own, own)], -np.array(pull), rcond=None)[0]
        return {**settings, **{n: settings[n] + float(u) for n, u in zip(loose, up, strict=True)}}

    def _two_way(self, settings: Mapping[str, float], checks: Sequence[Check]) -> Outcome:
        table = self.influence
        row_of = {name: i for i, name in enumerate(table.checks)}
        change = np.zeros(len(checks))
        for k, check in enumerate(checks):
            for j, seat in enumerate(table.seats):
                change[k] += float(table.A[row_of[check.id], j]) * settings[seat]
        reactions = {}
        for i, name in enumerate(table.seats):
            total = float(table.r0[i])
            for j, seat in enumerate(table.seats):
                total += float(table.R[i, j]) * settings[seat]
            reactions[name] = total
        return Outcome(change, reactions)


def expansion_of(job: Job, check: Check, warmer: Mapping[str, float]) -> float:
    """Return what even expansion of the steel does to a check [m or rad].

    The design points are moved by the free expansion of their segments and measured again.

    Parameters
    ----------
    job, check
    warmer : mapping of str to float
        Steel of each segment, less the reference temperature [K].
    """

    def grown(name: str) -> Array:
        point = job.points[name]
        segment = job.segments[point.segment]
        if segment.expansion is None or segment.fixed_point is None:
            return np.zeros(3)
        growth = segment.expansion * warmer[segment.id]
        return growth * (point.design - segment.fixed_point)

    if check.point is not None:
        moved = grown(check.point)
        azimuth = job.segments[job.points[check.point].segment].azimuth
        across = -moved[0] * np.cos(azimuth) + moved[1] * np.sin(azimuth)
        along = moved[0] * np.sin(azimuth) + moved[1] * np.cos(azimuth)
        return float({"level": moved[2], "line": across, "station": along}[check.quantity])
    if check.quantity == "lean":
        lean = job.leans[check.subject]
        over = grown(lean.head) - grown(lean.foot)
        azimuth = job.segments[job.points[lean.head].segment].azimuth
        return float(over[0] * np.sin(azimuth) + over[1] * np.cos(azimuth))
    if check.quantity in MEASURES:
        design, how = job.points, MEASURES[check.quantity]
        warm = how(job, check, lambda name: design[name].design + grown(name))
        return warm - how(job, check, lambda name: design[name].design)
    if check.pair is None:
        # even expansion turns nothing, and tensions are of the day
        return 0.0
    pair = job.pairs[check.pair]
    apart = grown(pair.ahead_point) - grown(pair.back_point)
    ahead, left, up = job.joints[check.joint].axes_in_grid
    return float({"gap": ahead, "step": up, "offset": left}[check.quantity] @ apart)


def bending_of(job: Job, check: Check, difference: Mapping[str, float]) -> float:
    """Return what bending by temperature does to a check [m or rad], on true arcs.

    The deck is laid on a circle, let down onto its vertical seats by the normal equations of the
    plane they settle on, and measured again.

    Parameters
    ----------
    job, check
    difference : mapping of str to float
        Top less bottom of each segment [K].
    """
    shapes = {n: _Arc(job, s, difference[n]) for n, s in job.segments.items()}
    if check.point is not None:
        segment = job.segments[job.points[check.point].segment]
        moved = shapes[segment.id].moved(job.points[check.point].design)
        east, north = np.sin(segment.azimuth), np.cos(segment.azimuth)
        return float(
            {
                "level": moved[2],
                "line": moved[1] * east - moved[0] * north,
                "station": moved[0] * east + moved[1] * north,
            }[check.quantity]
        )
    if check.quantity == "tension":
        return 0.0
    if check.quantity == "lean":
        lean = job.leans[check.subject]
        segment = job.segments[job.points[lean.head].segment]
        over = shapes[segment.id].moved(job.points[lean.head].design)
        over = over - shapes[segment.id].moved(job.points[lean.foot].design)
        return float(over[0] * np.sin(segment.azimuth) + over[1] * np.cos(segment.azimuth))
    if check.quantity in MEASURES:
        design, how = job.points, MEASURES[check.quantity]

        def bent(name: str) -> Array:
            return design[name].design + shapes[design[name].segment].moved(design[name].design)

        return how(job, check, bent) - how(job, check, lambda name: design[name].design)
    joint = job.joints[check.joint]
    ahead, left, up = joint.axes_in_grid
    if check.pair is not None:
        pair = job.pairs[check.pair]
        apart = shapes[joint.ahead].moved(job.points[pair.ahead_point].design)
        apart = apart - shapes[joint.back].moved(job.points[pair.back_point].design)
        return float({"gap": ahead, "step": up, "offset": left}[check.quantity] @ apart)
    pairs = [p for p in job.pairs.values() if p.joint == joint.id]
    faces = {joint.back: [p.back_point for p in pairs], joint.ahead: [p.ahead_point for p in pairs]}
    turns = {
        name: shapes[name].turned(np.mean([job.points[n].design for n in ends], axis=0))
        for name, ends in faces.items()
    }
    turn = turns[joint.ahead] - turns[joint.back]
    rows = {"kink_grade": -left, "kink_plan": up, "twist": ahead}
    return float(rows[check.quantity] @ turn)


class _Arc:
    """One segment bent to a circle by a difference through its depth, and settled."""

    def __init__(self, job: Job, segment: Segment, difference: float) -> None:
        self.centre = segment.centre
        self.along = np.array([np.sin(segment.azimuth), np.cos(segment.azimuth), 0.0])
        self.across = np.array([-self.along[1], self.along[0], 0.0])
        depth, rate = segment.depth, segment.expansion
        self.bend = 0.0 if depth is None or rate is None else rate * difference / depth
        self.plane = np.zeros(3)
        seats = [s for s in job.seats_of(segment.id) if s.lifts]
        if self.bend == 0.0 or not seats:
            return
        normal, right = np.zeros((3, 3)), np.zeros(3)
        for seat in seats:
            row = self._row(seat.position)
            normal += seat.stiffness * np.outer(row, row)
            right -= seat.stiffness * row * self._arc(seat.position)[2]
        self.plane = np.linalg.pinv(normal, rcond=1e-12, hermitian=True) @ right

    def _row(self, point: Array) -> Array:
        arm = point - self.centre
        return np.array([1.0, arm @ self.across, arm @ self.along])

    def _arc(self, point: Array) -> Array:
        arm = point - self.centre
        if self.bend == 0.0:
            return np.zeros(3)
        radius = 1.0 / self.bend
        s = arm @ self.along
        angle = s / radius
        onward = (radius + arm[2]) * np.sin(angle) - s
        rise = -2.0 * (radius + arm[2]) * np.sin(0.5 * angle) ** 2
        lifted: Array = onward * self.along + np.array([0.0, 0.0, rise])
        return lifted

    def moved(self, point: Array) -> Array:
        """Return how far a point has gone (3,) [m]."""
        lift, across, along = self.plane
        arm = point - self.centre
        settle = -arm[2] * (across * self.across + along * self.along)
        settle[2] = lift + across * (arm @ self.across) + along * (arm @ self.along)
        return self._arc(point) + settle

    def turned(self, point: Array) -> Array:
        """Return the turn of the section at a point (3,) [rad]."""
        _, across, along = self.plane
        own = self.bend * ((point - self.centre) @ self.along) - along
        turn: Array = own * self.across + across * self.along
        return turn
