"""A frame once more, plainly: flexibilities, one system with multipliers, contact seat by seat.

Nothing here uses code of ``structure``. A beam's stiffness is the inverse of its flexibility as a
cantilever, carried to both ends by equilibrium; whatever is rigid, held or released is a row of
constraints with a multiplier, and everything is solved in one indefinite system. Which one-way
seats carry is found by turning over the first seat that is wrong (Murty's least index), and the
answer is believed only if forces and openings are as they must be.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csc_array, lil_array
from scipy.sparse.linalg import splu

from fitup.certify.recompute import Outcome, measure
from fitup.errors import CertificateRefused
from fitup.frames import Array, rotation, rotation_vector
from fitup.model import Check, Job
from fitup.model.frame import FrameModel, Member, Place, Tie
from fitup.survey.points import Survey

_UP = np.array([0.0, 0.0, 1.0])
#: two places on a member nearer than this are one [m]
_SAME = 1e-3


def cantilever(member: Member, length: float) -> Array:
    """Flexibility (6, 6) of the free end of a beam held at its start, in its own axes."""
    F = np.zeros((6, 6))
    F[0, 0] = length / (member.E * member.A)
    F[3, 3] = length / (member.G * member.J)
    for shift, turn, EI, GA, sign in (
        (1, 5, member.E * member.Iz, member.G * member.Asy, 1.0),
        (2, 4, member.E * member.Iy, member.G * member.Asz, -1.0),
    ):
        F[shift, shift] = length**3 / (3.0 * EI) + length / GA
        F[shift, turn] = F[turn, shift] = sign * length**2 / (2.0 * EI)
        F[turn, turn] = length / EI
    return F


def free_end(member: Member, length: float, load: Array, warm: tuple[float, float, float]) -> Array:
    """How the free end (6,) of that cantilever goes under an even load (3,) and temperature."""
    end = np.zeros(6)
    end[0] = load[0] * length**2 / (2.0 * member.E * member.A)
    end[0] += member.expansion * warm[0] * length
    for shift, turn, EI, GA, sign in (
        (1, 5, member.E * member.Iz, member.G * member.Asy, 1.0),
        (2, 4, member.E * member.Iy, member.G * member.Asz, -1.0),
    ):
        end[shift] = load[shift] * (length**4 / (8.0 * EI) + length**2 / (2.0 * GA))
        end[turn] = sign * load[shift] * length**3 / (6.0 * EI)
    for shift, turn, difference, size, sign in (
        (1, 5, warm[2], member.width, 1.0),
        (2, 4, warm[1], member.depth, -1.0),
    ):
        if difference:
            bent = -member.expansion * difference / size
            end[shift] += bent * length**2 / 2.0
            end[turn] += sign * bent * length
    return end


@dataclass(frozen=True, eq=False)
class _Stick:
    """One piece of a member: its place in the unknowns, and its stiffness in its own axes."""

    first: int
    last: int
    axes: Array
    begins: float
    ends: float
    stiff: Array
    rest: Array

    def forces(self, u: Array, loaded: bool) -> Array:
        """Forces (12,) on its ends in its own axes."""
        own = np.concatenate([u[self.first : self.first + 6], u[self.last : self.last + 6]])
        local = (own.reshape(4, 3) @ self.axes.T).ravel()
        return self.stiff @ local + (self.rest if loaded else 0.0)


def _stick(
    member: Member, first: int, last: int, axes: Array, a: float, b: float, load: Array,
    warm: tuple[float, float, float],
) -> _Stick:  # fmt: skip
    length = b - a
    inner = np.linalg.inv(cantilever(member, length))
    # forces at the start balance those at the end: the lever is the length along x
    lever = np.eye(6)
    lever[4, 2], lever[5, 1] = -length, length
    both = np.vstack([-lever, np.eye(6)])
    stiff = both @ inner @ both.T
    rest = -both @ inner @ free_end(member, length, load, warm)
    own = np.concatenate([load, np.zeros(3)]) * length
    own[4], own[5] = -load[2] * length**2 / 2.0, load[1] * length**2 / 2.0
    rest[:6] -= own
    return _Stick(first, last, axes, a, b, stiff, rest)


class _Assembly:
    """Nodes, sticks and constraints of a frame, gathered one after the other."""

    def __init__(self, model: FrameModel, cuts: Mapping[str, set[float]]) -> None:
        self.model = model
        self.positions: list[Array] = []
        self.names: dict[str, int] = {}
        self.constraints: list[dict[int, float]] = []
        self.sticks: dict[str, list[_Stick]] = {}
        for name, node in model.nodes.items():
            self.names[name] = self._new(node.position)
            self.constraints += [{self.names[name] + k: 1.0} for k in sorted(node.fixed)]
        for member in model.members.values():
            self._member(member, cuts[member.id])
        for body in model.bodies.values():
            for follower in body.nodes[1:]:
                self._rigid(self.names[body.nodes[0]], self.names[follower], range(6), np.eye(3))

    def _new(self, position: Array) -> int:
        self.positions.append(position)
        return 6 * (len(self.positions) - 1)

    def _rigid(self, lead: int, follow: int, motions: Sequence[int] | range, axes: Array) -> None:
        """Rows that make motions of one node, seen in some axes, follow another rigidly."""
        arm = self.positions[follow // 6] - self.positions[lead // 6]
        swing = np.array([[0, arm[2], -arm[1]], [-arm[2], 0, arm[0]], [arm[1], -arm[0], 0]])
        for k in motions:
            row: dict[int, float] = {}
            axis = axes[k % 3]
            turned = k >= 3
            for c in range(3):
                at = c + (3 if turned else 0)
                row[follow + at] = float(axis[c])
                row[lead + at] = row.get(lead + at, 0.0) - float(axis[c])
                if not turned:
                    row[lead + 3 + c] = -float(axis @ swing[:, c])
            self.constraints.append(row)

    def _member(self, member: Member, cuts: set[float]) -> None:
        model = self.model
        start = model.nodes[member.i].position + member.offset_i
        end = model.nodes[member.j].position + member.offset_j
        length = float(np.linalg.norm(end - start))
        axes = _axes(end - start, member.up)
        places = [0.0]
        for at in sorted(cuts):
            if places[-1] + _SAME < at < length - _SAME:
                places.append(at)
        places.append(length)
        numbers = [self._new(start + at / length * (end - start)) for at in places]
        for joint, number, side in ((member.i, numbers[0], 0), (member.j, numbers[-1], 6)):
            kept = [k for k in range(6) if k + side not in member.releases]
            self._rigid(self.names[joint], number, kept, axes)
        warm = [t for t in model.temperatures if t.member == member.id]
        heat = (sum(t.even for t in warm), sum(t.depth for t in warm), sum(t.width for t in warm))
        self.sticks[member.id] = [
            _stick(member, m, n, axes, a, b, axes @ self._even(member, a, b), heat)
            for m, n, a, b in zip(numbers, numbers[1:], places, places[1:], strict=False)
        ]

    def _even(self, member: Member, a: float, b: float) -> Array:
        middle = (a + b) / 2.0
        total = -member.weight * _UP
        for load in self.model.member_loads:
            if load.member == member.id and load.end is not None and load.start < middle < load.end:
                total = total + load.values
        return total

    def place(self, member: str, at: float) -> int:
        """Return the unknowns of the cut of a member that is nearest to a place."""
        sticks = self.sticks[member]
        near = min(sticks, key=lambda s: min(abs(s.begins - at), abs(s.ends - at)))
        return near.first if abs(near.begins - at) < abs(near.ends - at) else near.last


def _axes(along: Array, up: Array) -> Array:
    x = along / np.linalg.norm(along)
    y = np.cross(up, x)
    y = y / np.linalg.norm(y)
    return np.array([x, y, np.cross(x, y)])


@dataclass(frozen=True, eq=False)
class _Spot:
    """Where something is fixed to the frame: its six unknowns and the arm (3,) from there."""

    first: int
    arm: Array

    def row(self, direction: Array) -> tuple[Array, Array]:
        """Numbers and coefficients of the unknowns that move it along a direction."""
        return np.arange(self.first, self.first + 6), np.concatenate(
            [direction, np.cross(self.arm, direction)]
        )


class FrameStates:
    """Checks, reactions and watched forces of a frame for any settings of its seats."""

    def __init__(self, job: Job, survey: Survey) -> None:
        assert job.frame is not None
        self.job, self.survey, self.model = job, survey, job.frame
        wanted = {f"seat/{s.id}": (s.segment, s.position) for s in job.seats.values()}
        wanted |= {f"point/{p.id}": (p.segment, p.design) for p in job.points.values()}
        ties = {name: self._tie(name, *where) for name, where in wanted.items()}
        self.parts = _Assembly(self.model, self._cuts(ties.values()))
        self.spots = {name: self._spot(ties[name], p) for name, (_, p) in wanted.items()}
        self._solve()
        self._stand()

    def _tie(self, name: str, segment: str, position: Array) -> Tie:
        kind, own = name.split("/", 1)
        tie = self.model.ties.get(own) if kind == "point" else None
        if kind == "seat" and own in self.model.seats:
            tie = self.model.seats[own].tie
        if tie is not None and (tie.node is not None or tie.at is not None):
            return tie
        if tie is not None and tie.member is not None:
            return Tie(member=tie.member, at=self._foot(tie.member, position)[1])
        own_members = [m.id for m in self.model.members.values() if m.segment == segment]
        feet = [(round(self._foot(m, position)[0], 6), m) for m in own_members]
        nearest = min(feet, key=lambda f: f[0])[1]
        return Tie(member=nearest, at=self._foot(nearest, position)[1])

    def _foot(self, name: str, position: Array) -> tuple[float, float]:
        """How far a position is from a member, and where along it."""
        member = self.model.members[name]
        start = self.model.nodes[member.i].position + member.offset_i
        line = self.model.nodes[member.j].position + member.offset_j - start
        length = float(np.linalg.norm(line))
        at = min(max(float((position - start) @ line) / length, 0.0), length)
        return float(np.linalg.norm(position - start - at / length * line)), at

    def _cuts(self, ties: Iterable[Tie]) -> dict[str, set[float]]:
        cuts: dict[str, set[float]] = {name: set() for name in self.model.members}
        for tie in ties:
            if tie.member is not None and tie.at is not None:
                cuts[tie.member].add(tie.at)
        for place in self.model.places.values():
            cuts[place.member].add(place.at)
        for load in self.model.member_loads:
            cuts[load.member] |= {load.start} if load.end is None else {load.start, load.end}
        return cuts

    def _spot(self, tie: Tie, position: Array) -> _Spot:
        if tie.node is not None:
            first = self.parts.names[tie.node]
        else:
            assert tie.member is not None and tie.at is not None
            first = self.parts.place(tie.member, tie.at)
        return _Spot(first, position - self.parts.positions[first // 6])

    def _structure(self) -> tuple[lil_array, Array]:
        """Stiffness without seats, and loads in the first of columns for them and the seats."""
        parts, job = self.parts, self.job
        size = 6 * len(parts.positions)
        K = lil_array((size, size))
        right = np.zeros((size, 1 + len(job.seats)))
        for stick in (s for sticks in parts.sticks.values() for s in sticks):
            own = [*range(stick.first, stick.first + 6), *range(stick.last, stick.last + 6)]
            turn = np.kron(np.eye(4), stick.axes)
            K[np.ix_(own, own)] += turn.T @ stick.stiff @ turn
            right[own, 0] -= turn.T @ stick.rest
        for held, along, k in self._springs():
            K[np.ix_(held, held)] += k * np.outer(along, along)
        self._loads(right)
        return K, right

    def _solve(self) -> None:
        """Solve for the loads and for a unit move of every seat, all seats two-way."""
        parts, job = self.parts, self.job
        K, right = self._structure()
        self.feet: list[tuple[Array, Array, float]] = []
        for j, seat in enumerate(job.seats.values(), 1):
            at, row = self.spots[f"seat/{seat.id}"].row(seat.direction)
            K[np.ix_(at, at)] += seat.stiffness * np.outer(row, row)
            right[at, j] = seat.stiffness * row
            self.feet.append((at, row, seat.stiffness))
        self.bound = Bound(csc_array(K), parts.constraints)
        motions = self.bound.solve(right)
        self.still, self.moves = motions[:, 0], motions[:, 1:]
        lift = np.array([row @ motions[at] for at, row, _ in self.feet])
        stiff = np.array([foot[2] for foot in self.feet])
        self.q = -stiff * lift[:, 0]
        self.R = stiff[:, None] * (np.eye(len(stiff)) - lift[:, 1:])

    def _springs(self) -> Iterable[tuple[list[int], Array, float]]:
        """Yield unknowns, coefficients of the stretch, and stiffness of every spring.

        A spring stands at its node; the other end is a point of the other node carried there.
        """
        for spring in self.model.springs.values():
            axis = spring.axis / np.linalg.norm(spring.axis)
            first = self.parts.names[spring.node]
            own = [first + k for k in range(6)]
            row = np.zeros(6)
            row[3:] = axis if spring.turns else 0.0
            row[:3] = 0.0 if spring.turns else axis
            if spring.other is None:
                yield own, row, spring.stiffness
                continue
            other = self.parts.names[spring.other]
            lever = self.parts.positions[first // 6] - self.parts.positions[other // 6]
            there = row.copy()
            if not spring.turns:
                there[3:] = np.cross(lever, axis)
            both = own + [other + k for k in range(6)]
            yield both, np.concatenate([row, -there]), spring.stiffness

    def _loads(self, right: Array) -> None:
        for load in self.model.node_loads:
            first = self.parts.names[load.node]
            right[first : first + 6, 0] += load.values
        for point in self.model.member_loads:
            if point.end is None:
                first = self.parts.place(point.member, point.start)
                right[first : first + 3, 0] += point.values

    def _stand(self) -> None:
        """Say how the structure stands as surveyed: reactions and openings, measured or not."""
        job, names = self.job, list(self.job.seats)
        told = [self.model.seats.get(n) for n in names]
        self.one_way = self._one_way()
        high = np.array([0.0 if t is None else t.setting for t in told])
        self.start = carry(self.q + self.R @ high, self.R, self.one_way)
        self.present = self.q + self.R @ (high + self.start)
        for i, (name, own) in enumerate(zip(names, told, strict=True)):
            measured = job.seats[name].reaction_now
            if own is not None and own.gap > 0.0:
                self.present[i], self.start[i] = 0.0, own.gap
            elif measured is not None:
                self.present[i], self.start[i] = measured, 0.0
        self.built = np.linalg.lstsq(self.R, self.present - self.q, rcond=1e-12)[0]

    def _one_way(self) -> Array:
        """Say which seats can only push (s,)."""
        result = []
        for name, seat in self.job.seats.items():
            told = self.model.seats.get(name)
            pushing = seat.reaction_least >= 0.0 and seat.pushes != "shorten"
            result.append(pushing if told is None else told.one_way)
        return np.array(result, dtype=bool)

    def at(self, settings: Mapping[str, float], checks: Sequence[Check]) -> Outcome:
        """Return the change of every check, all reactions and forces, for settings by seat [m]."""
        x = np.array([settings[name] for name in self.job.seats])
        moved = self._moved(x)
        motions = self.moves @ moved
        zero = np.zeros_like(motions)
        change = np.array([self.check(c, motions) - self.check(c, zero) for c in checks])
        reactions = self.present + self.R @ moved
        under_load = self.still + self.moves @ (self.built + moved)
        forces = {p.id: self._force(p, under_load) for p in self.model.places.values()}
        named = dict(zip(self.job.seats, reactions.tolist(), strict=True))
        return Outcome(change, named, forces)

    def placed(self, settings: Mapping[str, float]) -> Callable[[str], Array]:
        """Return where every check point is (3,) for settings by seat [m], as a function."""
        x = np.array([settings[name] for name in self.job.seats])
        return self.placer(self.moves @ self._moved(x))

    def heated(self, load: Array, x: Array, warmer: Mapping[str, float]) -> Array:
        """Return the motions (6 n,) from the surveyed state under a load of warmth (6 n,).

        ``x`` (n,) are the moves of seats to which it comes; cables ``warmer`` by name [K].
        """
        motions = self.bound.solve(load[:, None])[:, 0]
        gained = np.array([-k * float(row @ motions[at]) for at, row, k in self.feet])
        q = self.present + gained + self.R @ (x - self.start)
        moved: Array = x + carry(q, self.R, self.one_way) - self.start
        return motions + self.moves @ moved

    def stands(self, settings: Mapping[str, float]) -> tuple[dict[str, float], dict[str, float]]:
        """Return reactions [N] and openings [m] by seat for settings by seat [m]."""
        x = np.array([settings[name] for name in self.job.seats])
        moved = self._moved(x)
        reactions, openings = self.present + self.R @ moved, moved - x + self.start
        names = list(self.job.seats)
        return (
            dict(zip(names, reactions.tolist(), strict=True)),
            dict(zip(names, openings.tolist(), strict=True)),
        )

    def _moved(self, x: Array) -> Array:
        """Moves of all seats (n,) [m], those of seats that let go included."""
        q = self.present + self.R @ (x - self.start)
        return x + carry(q, self.R, self.one_way) - self.start

    def placer(self, motions: Array) -> Callable[[str], Array]:
        """Return where every check point is (3,) for motions (6 n,) of the nodes."""

        def place(name: str) -> Array:
            point = self.job.points[name]
            if name in self.survey.points:
                begin = self.survey.points[name].position
            else:
                begin = self.survey.poses[point.segment].design2site.apply(point.design)
            spot = self.spots[f"point/{name}"]
            own = motions[spot.first : spot.first + 6]
            return begin + own[:3] + rotation(own[3:]) @ spot.arm - spot.arm

        return place

    def check(
        self, check: Check, motions: Array, place: Callable[[str], Array] | None = None
    ) -> float:
        """Return a check for motions (6 n,) of the nodes from the surveyed state.

        ``place`` says where points are, if not only the motions bring them there.
        """

        def turn(segment: str) -> Array:
            faces = [
                motions[self.spots[f"point/{n}"].first + 3 : self.spots[f"point/{n}"].first + 6]
                for pair in self.job.pairs_of(check.joint)
                for n in (pair.back_point, pair.ahead_point)
                if self.job.points[n].segment == segment
            ]
            surveyed = self.survey.poses[segment].design2site.turn
            return rotation_vector(rotation(np.mean(faces, axis=0)) @ surveyed)

        return measure(self.job, check, place or self.placer(motions), turn)

    def _force(self, place: Place, motions: Array) -> float:
        sticks = self.parts.sticks[place.member]
        before = [s for s in sticks if abs(s.ends - place.at) < 2.0 * _SAME]
        if before:
            own = before[0].forces(motions, loaded=True)[6:]
        else:
            own = -sticks[0].forces(motions, loaded=True)[:6]
        member = self.model.members[place.member]
        if place.quantity == "stress":
            at_height = own[4] / member.Iy * place.z
            return float(own[0] / member.A + at_height - own[5] / member.Iz * place.y)
        index, sign = {"axial": (0, 1), "shear": (2, 1), "moment": (4, -1), "torsion": (3, 1)}[
            place.quantity
        ]
        return float(sign * own[index])


class Bound:
    """K u + C' m = right with C u = 0, everything scaled to one size, factorised once."""

    def __init__(self, K: csc_array, constraints: list[dict[int, float]]) -> None:
        self.size, c = K.shape[0], len(constraints)
        scale = np.abs(K).max()
        C = lil_array((c, self.size))
        for i, row in enumerate(constraints):
            for at, value in row.items():
                C[i, at] = value * scale
        both = lil_array((self.size + c, self.size + c))
        both[: self.size, : self.size], both[self.size :, : self.size] = K, C
        both[: self.size, self.size :] = C.T
        self.matrix = csc_array(both)
        self.factor = splu(self.matrix)

    def solve(self, right: Array) -> Array:
        """Return u (n, k) for right-hand sides (n, k)."""
        more = self.matrix.shape[0] - self.size
        whole = np.vstack([right, np.zeros((more, right.shape[1]))])
        answer = self.factor.solve(whole)
        # one step of refinement: the multipliers make the system indefinite
        answer += self.factor.solve(whole - self.matrix @ answer)
        u: Array = answer[: self.size]
        return u


def carry(q: Array, R: Array, one_way: Array) -> Array:
    """Return openings (n,) [m] so that one-way seats push or are open, by the least index.

    Raises
    ------
    CertificateRefused
        If none are found; those that are found are held against every condition.
    """
    size = max(1.0, float(np.abs(q).max()))
    opened: set[int] = set()
    for _ in range(200 + 50 * len(q)):
        z = np.zeros(len(q))
        own = sorted(opened)
        if own:
            z[own] = np.linalg.lstsq(R[np.ix_(own, own)], -q[own], rcond=1e-11)[0]
        r = q + R @ z
        wrong = [
            i
            for i in np.flatnonzero(one_way)
            if (i in opened and z[i] < -1e-12) or (i not in opened and r[i] < -1e-9 * size)
        ]
        if not wrong:
            if own and float(np.abs(r[own]).max()) > 1e-6 * size:
                break
            return z
        opened ^= {int(wrong[0])}
    raise CertificateRefused(["which seats carry was not found a second time"])
