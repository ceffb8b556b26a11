"""Settings, poses, checks, reactions and stock once more, from plates and points, plainly.

Nothing here uses the influence matrices or any code of the optimiser. Settings are summed plate by
plate; segments are brought to equilibrium by a saddle-point system with the held motions as
constraints; points are moved by a true rotation; checks are measured between moved points.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitup.frames import Array, Motion, rotation, rotation_vector
from fitup.model import Check, Influence, Job, Seat, SeatPlan, Segment
from fitup.survey.points import Survey


def setting_from_plates(job: Job, plan: SeatPlan, nut_setting: float) -> float:
    """Return the move of a seat [m] by adding up plates; a nut's own setting is taken as told."""
    seat = job.seats[plan.seat]
    if seat.held_by == "nut":
        return nut_setting
    if Counter(plan.build_up) == Counter(seat.pack):
        return 0.0
    height = 0.0
    for mark in plan.build_up:
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


def equilibrium(
    job: Job, segment: Segment, settings: Mapping[str, float], present: Mapping[str, float]
) -> SegmentState:
    """Bring one rigid segment to equilibrium on its seats.

    Unknowns are shift and turn q (6,) and one force for each held motion; the equations are
    moment and force balance, and no motion where it is held.
    """
    seats = job.seats_of(segment.id)
    held = _held_rows(segment)
    size = 6 + len(held)
    matrix, right = np.zeros((size, size)), np.zeros(size)
    for seat in seats:
        w = np.concatenate(
            [seat.direction, np.cross(seat.position - segment.centre, seat.direction)]
        )
        matrix[:6, :6] += seat.stiffness * np.outer(w, w)
        right[:6] += seat.stiffness * settings[seat.id] * w
    for i, row in enumerate(held):
        matrix[6 + i, :6] = row
        matrix[:6, 6 + i] = row
    # forces in newtons and motions in metres differ by orders: equilibrate before solving
    scale = 1.0 / np.sqrt(np.maximum(np.abs(matrix).max(axis=1), 1e-30))
    q = scale * np.linalg.solve(matrix * scale * scale[:, None], right * scale)
    reactions = {}
    for seat in seats:
        lever = np.cross(q[3:6], seat.position - segment.centre)
        follows = float(seat.direction @ (q[:3] + lever))
        reactions[seat.id] = present[seat.id] + seat.stiffness * (settings[seat.id] - follows)
    return SegmentState(Motion(rotation(q[3:6]), q[:3], segment.centre), q[3:6], reactions)


def _held_rows(segment: Segment) -> list[Array]:
    east, north = np.sin(segment.azimuth), np.cos(segment.azimuth)
    rows = {
        "along": [east, north, 0.0, 0.0, 0.0, 0.0],
        "across": [-north, east, 0.0, 0.0, 0.0, 0.0],
        "turn": [0.0, 0.0, 0.0, 0.0, 0.0, 1.0],
    }
    return [np.array(rows[name]) for name in ("along", "across", "turn") if name in segment.held]


class RigidStates:
    """Checks and reactions of rigid segments for any settings."""

    def __init__(self, job: Job, survey: Survey, present: Mapping[str, float]) -> None:
        self.job, self.survey, self.present = job, survey, present

    def at(self, settings: Mapping[str, float], checks: Sequence[Check]) -> _Outcome:
        """Return the change of every check, and all reactions, for settings by seat [m]."""
        states = {
            s.id: equilibrium(self.job, s, settings, self.present)
            for s in self.job.segments.values()
        }
        still = {
            name: SegmentState(Motion(np.eye(3), np.zeros(3), s.motion.centre), np.zeros(3), {})
            for name, s in states.items()
        }
        change = np.array([self._measure(c, states) - self._measure(c, still) for c in checks])
        reactions = {k: v for s in states.values() for k, v in s.reactions.items()}
        return _Outcome(change, reactions)

    def _measure(self, check: Check, states: Mapping[str, SegmentState]) -> float:
        """Measure a check between moved points, in the signs of docs/signs.md."""
        job = self.job
        if check.point is not None:
            point = job.points[check.point]
            moved = self._place(check.point, states) - point.design
            azimuth = job.segments[point.segment].azimuth
            across = -moved[0] * np.cos(azimuth) + moved[1] * np.sin(azimuth)
            along = moved[0] * np.sin(azimuth) + moved[1] * np.cos(azimuth)
            return float({"level": moved[2], "line": across, "station": along}[check.quantity])
        joint = job.joints[check.joint]
        ahead, left, up = joint.axes_in_grid
        if check.pair is not None:
            pair = job.pairs[check.pair]
            apart = self._place(pair.ahead_point, states) - self._place(pair.back_point, states)
            return float(
                {
                    "gap": ahead @ apart - pair.opening,
                    "step": up @ apart,
                    "offset": left @ apart,
                }[check.quantity]
            )
        turn = self._turn(joint.ahead, states) - self._turn(joint.back, states)
        return float(
            {"kink_grade": -left @ turn, "kink_plan": up @ turn, "twist": ahead @ turn}[
                check.quantity
            ]
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


class TableStates:
    """Checks and reactions from the engineer's table, summed row by row."""

    def __init__(self, influence: Influence) -> None:
        self.influence = influence

    def at(self, settings: Mapping[str, float], checks: Sequence[Check]) -> _Outcome:
        """Return the change of every check, and all reactions, for settings by seat [m]."""
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
        return _Outcome(change, reactions)


@dataclass(frozen=True, eq=False)
class _Outcome:
    """Change of checks (m,) and reactions by seat [N]."""

    change: Array
    reactions: Mapping[str, float]


def expansion_of(job: Job, check: Check, warmer: Mapping[str, float]) -> float:
    """Return what steel ``warmer`` than the reference [K] by segment does to a check.

    The design points are moved by the free expansion of their segments and measured again.
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
    if check.pair is None:
        # even expansion turns nothing
        return 0.0
    pair = job.pairs[check.pair]
    apart = grown(pair.ahead_point) - grown(pair.back_point)
    ahead, left, up = job.joints[check.joint].axes_in_grid
    return float({"gap": ahead, "step": up, "offset": left}[check.quantity] @ apart)


def off_plane(seats: Sequence[Seat], settings: Mapping[str, float]) -> float:
    """Return how far one of four seats leaves the plane through the other three [m].

    Of the four ways to choose the one, the smallest distance is the warp.
    """
    distances = []
    for i, seat in enumerate(seats):
        others = [s for k, s in enumerate(seats) if k != i]
        corner = np.array([[1.0, s.position[0], s.position[1]] for s in others])
        corner[:, 1:] -= seat.position[:2]
        if abs(np.linalg.det(corner)) < 1e-9:
            continue
        plane = np.linalg.solve(corner, [settings[s.id] for s in others])
        distances.append(abs(settings[seat.id] - float(plane[0])))
    return min(distances, default=0.0)
