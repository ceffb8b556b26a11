"""A frame once more, plainly: flexibilities, one system with multipliers, contact seat by seat.

Nothing here uses code of ``structure``. A beam's stiffness is the inverse of its flexibility as a
cantilever, carried to both ends by equilibrium; whatever is rigid, held or released is a row of
constraints with a multiplier, and everything is solved in one indefinite system. Which one-way
seats carry is found in :mod:`fitup.certify.carry`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csc_array, lil_array

from fitup.certify.balance import FramePart, Sums, called, joined
from fitup.certify.bound import Bound
from fitup.certify.carry import carry
from fitup.certify.recompute import Outcome, measure
from fitup.certify.standing import ArmLink
from fitup.certify.sticks import Stick, stick_between
from fitup.frames import Array, rotation, rotation_vector
from fitup.model import Check, Job
from fitup.model.actions import Place
from fitup.model.frame import FrameModel, Member, Tie
from fitup.survey.points import Survey

_UP = np.array([0.0, 0.0, 1.0])
WHOLE = "the whole structure"
#: two places on a member nearer than this are one [m]
_SAME = 0.02


class _Assembly:
    """Nodes, sticks and constraints of a frame, gathered one after the other."""

    def __init__(self, model: FrameModel, cuts: Mapping[str, set[float]]) -> None:
        self.model = model
        self.positions: list[Array] = []
        self.names: dict[str, int] = {}
        self.constraints: list[dict[int, float]] = []
        self.links: list[ArmLink] = []
        self.places: dict[str, list[float]] = {}
        self.sticks: dict[str, list[Stick]] = {}
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
            if not turned and arm.any():
                self.links.append(ArmLink(len(self.constraints), lead, follow, axis, arm))
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
        self.places[member.id] = places
        numbers = [self._new(start + at / length * (end - start)) for at in places]
        for joint, number, side in ((member.i, numbers[0], 0), (member.j, numbers[-1], 6)):
            kept = [k for k in range(6) if k + side not in member.releases]
            self._rigid(self.names[joint], number, kept, axes)
        warm = [t for t in model.temperatures if t.member == member.id]
        heat = (sum(t.even for t in warm), sum(t.depth for t in warm), sum(t.width for t in warm))
        self.sticks[member.id] = [
            stick_between(member, m, n, axes, a, b, axes @ self._even(member, a, b), heat)
            for m, n, a, b in zip(numbers, numbers[1:], places, places[1:], strict=False)
        ]

    def _even(self, member: Member, a: float, b: float) -> Array:
        middle = (a + b) / 2.0
        total = -member.weight * _UP
        for load in self.model.member_loads:
            if load.member != member.id or load.end is None:
                continue
            begins, ends = self.cut_at(member.id, load.start), self.cut_at(member.id, load.end)
            if begins < middle < ends:
                total = total + load.values
        return total

    def cut_at(self, member: str, at: float) -> float:
        """Return the cut of a member that is nearest to a place [m]."""
        return min(self.places[member], key=lambda cut: abs(cut - at))

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
        self.R = self._by_work()
        self._weigh(right)

    def _weigh(self, right: Array) -> None:
        """Add up what acts on every part, with nothing moved and for a unit move of every seat."""
        self.sums = Sums(self.parts.positions, self._groups())
        motions = np.column_stack([self.still, self.moves])
        forces = self.bound.ground()
        # what sticks at rest hold is loads on them, and temperature, which adds up to nothing
        forces[:, 0] += right[:, 0]
        for held, along, k in self._springs():
            forces[held] -= k * np.outer(along, along @ motions[held])
        bearing = np.zeros((len(forces), len(self.feet)))
        for j, (at, row, _) in enumerate(self.feet):
            bearing[at, j] = row
        every = self.sums.of(np.column_stack([forces, bearing]))
        self.off_still, self.off_moves = every[:, :, 0], every[:, :, 1 : 1 + len(self.feet)]
        self.bears = every[:, :, 1 + len(self.feet) :]

    def _groups(self) -> list[FramePart]:
        """Parts of the frame and the whole: what sticks and rigid rows join."""
        count = len(self.parts.positions)
        sticks = [s for own in self.parts.sticks.values() for s in own]
        links = [(s.first // 6, s.last // 6) for s in sticks]
        for row in self.parts.constraints:
            nodes = sorted({at // 6 for at in row})
            links += [(nodes[0], n) for n in nodes[1:]]
        segments = {
            s.first // 6: self.model.members[name].segment
            for name, own in self.parts.sticks.items()
            for s in own
        }
        size = np.zeros(count)
        for s in sticks:
            size[[s.first // 6, s.last // 6]] += np.abs(s.rest[[0, 1, 2, 6, 7, 8]]).sum() / 2.0
        for load in self.model.node_loads:
            size[self.parts.names[load.node] // 6] += np.abs(load.values[:3]).sum()
        groups = [g for g in joined(count, links) if len(g) > 1]
        names = {first // 6: name for name, first in self.parts.names.items()}
        parts = [
            FramePart(called(segments, g, f"what node {names[min(g)]} is part of"), np.array(g),
                 float(size[g].sum()))
            for g in groups
        ]  # fmt: skip
        return [*parts, FramePart(WHOLE, np.arange(count), float(size.sum()))]

    def _require(self, still: float, moved: Array, reactions: Array) -> None:
        """Refuse a state whose loads, taken so many times, and reactions do not balance."""
        off = still * self.off_still + self.off_moves @ moved + self.bears @ reactions
        self.sums.require(off, np.abs(self.bears[:, :3]).max(axis=1) @ np.abs(reactions))

    def _by_work(self, more: Iterable[tuple[Array, Array]] = ()) -> Array:
        """Change of all reactions for a unit move of every seat (s, s), by the work of strains.

        What a move does not strain then answers with nothing, whatever the rounding.
        """
        moves = self.moves
        result = np.zeros((moves.shape[1], moves.shape[1]))
        for stick in (s for sticks in self.parts.sticks.values() for s in sticks):
            bent, inner = stick.strained(moves)
            result += bent.T @ inner @ bent
        for held, along, k in self._springs():
            stretch = along @ moves[held]
            result += k * np.outer(stretch, stretch)
        for j, at, row, k in self._footing():
            stretch = row @ moves[at]
            stretch[j] -= 1.0
            result += k * np.outer(stretch, stretch)
        for strained, stiff in more:
            result += strained.T @ stiff @ strained
        return result

    def _footing(self) -> Iterable[tuple[int, Array, Array, float]]:
        """Yield number, unknowns, coefficients and stiffness of every elastic seat."""
        for j, (at, row, k) in enumerate(self.feet):
            yield j, at, row, k

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
        for line in self.model.member_loads:
            if line.end is None:
                self._push(right, line.member, line.start, line.values)
                continue
            # the piece of a line load between its end and the nearest cut
            for end, sign in ((line.start, 1.0), (line.end, -1.0)):
                cut = self.parts.cut_at(line.member, end)
                beyond = sign * (cut - end) * line.values
                self._push(right, line.member, 0.5 * (cut + end), beyond)

    def _push(self, right: Array, member: str, at: float, force: Array) -> None:
        """Put a force on a member at a place, by the nearest cut and its arm."""
        if not force.any():
            return
        first = self.parts.place(member, at)
        sticks = self.parts.sticks[member]
        start, end = (self.parts.positions[n // 6] for n in (sticks[0].first, sticks[-1].last))
        where = start + at / sticks[-1].ends * (end - start)
        right[first : first + 3, 0] += force
        right[first + 3 : first + 6, 0] += np.cross(where - self.parts.positions[first // 6], force)

    def _stand(self) -> None:
        """Say how the structure stands as surveyed: reactions and openings, measured or not."""
        job, names = self.job, list(self.job.seats)
        stated = [self.model.seats.get(n) for n in names]
        self.one_way = self._one_way()
        high = np.array([0.0 if t is None else t.setting for t in stated])
        self.start = carry(self.q + self.R @ high, self.R, self.one_way)
        self.present = self.q + self.R @ (high + self.start)
        self._require(1.0, high + self.start, self.present)
        for i, (name, own) in enumerate(zip(names, stated, strict=True)):
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
            stated = self.model.seats.get(name)
            pushing = seat.reaction_least >= 0.0 and seat.pushes != "shorten"
            result.append(pushing if stated is None else stated.one_way)
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

    def heated(
        self, growth: Sequence[tuple[Stick, Array]], x: Array, warmer: Mapping[str, float]
    ) -> Array:
        """Return the motions (6 n,) from the surveyed state as sticks grow.

        Parameters
        ----------
        growth : sequence of (Stick, Array (6,))
            How far the free end of each would go, in its own axes [m, rad].
        x : Array (s,)
            Moves of the seats to which the growth comes [m].
        warmer : mapping of str to float
            Cables, by name [K]; a frame solved here has none.
        """
        load = np.zeros(6 * len(self.parts.positions))
        for stick, end in growth:
            at = [*range(stick.first, stick.first + 6), *range(stick.last, stick.last + 6)]
            push = stick.stiff @ np.concatenate([np.zeros(6), end])
            load[at] += (push.reshape(4, 3) @ stick.axes).ravel()
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
        moved: Array = x + carry(q, self.R, self.one_way) - self.start
        self._require(0.0, moved, self.R @ moved)
        return moved

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

        Parameters
        ----------
        check, motions
        place : callable, optional
            Where points are (3,) [m], if not only the motions bring them there.
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
        before = min(sticks, key=lambda s: abs(s.ends - place.at))
        if abs(before.ends - place.at) <= place.at:
            own = before.forces(motions, loaded=True)[6:]
        else:
            own = -sticks[0].forces(motions, loaded=True)[:6]
        return self._read(place, own)

    def _read(self, place: Place, own: Array) -> float:
        """Return what is watched at a place from the forces (6,) on the ahead face of its cut."""
        member = self.model.members[place.member]
        if place.quantity == "stress":
            at_height = own[4] / member.Iy * place.z
            return float(own[0] / member.A + at_height - own[5] / member.Iz * place.y)
        index, sign = {"axial": (0, 1), "shear": (2, 1), "moment": (4, -1), "torsion": (3, 1)}[
            place.quantity
        ]
        return float(sign * own[index])
