"""A frame with cables once more: every state brought to rest anew, where it then stands.

The cables are those of :mod:`fitup.certify.lines`, the way to rest that of
:mod:`fitup.certify.standing`. Loads measured at the survey stay what they are: what they leave
over there is kept in every other state. After each rest the forces and moments on every part are
added up where it stands.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import copy

import numpy as np
from scipy.sparse import csc_array

from fitup.certify.balance import Sums
from fitup.certify.frame import WHOLE, FrameStates
from fitup.certify.lines import Lines, Pulls
from fitup.certify.recompute import Outcome
from fitup.certify.standing import (
    Bearing,
    Bearings,
    CableActions,
    FrameAtRest,
    FrameState,
    StandingFactor,
    come_to_rest,
    gathered,
)
from fitup.certify.sticks import Stick
from fitup.certify.turned import Sticks
from fitup.frames import Array
from fitup.model import Check
from fitup.model.actions import Place

#: nuts draw along the cables as they hang; that is settled in so many turns
_TURNS, _REST = 20, 1e-12
#: what guides a saddle across is so much stiffer than its pack: as the structure is modelled
_GUIDE = 100.0


class HungStates(FrameStates):
    """Checks, reactions, tensions and watched forces of a frame with cables."""

    def _solve(self) -> None:
        """Find the surveyed state, and what a unit move of every seat does there."""
        names = self.parts.names
        self.lines = Lines(self.model.cables.values(), dict(self.model.nodes))
        ends = [(names[c.i], names[c.j]) for c in self.lines.cables]
        self.ends = np.array([[*range(i, i + 3), *range(j, j + 3)] for i, j in ends])
        self.seat_of = {c.seat: n for n, c in enumerate(self.lines.cables) if c.seat}
        self.one_way = self._one_way()
        self._put_up()
        stated = [self.model.seats.get(n) for n in self.job.seats]
        high = np.array([0.0 if t is None else t.setting for t in stated])
        self.axes = np.zeros((len(ends), 3))
        begin = np.zeros(self.standing.size), np.zeros(self.standing.count)
        left = np.zeros(self.standing.size)
        for _ in range(_TURNS):
            found = come_to_rest(
                self.standing, self.lines, self._drawn(high), self._packs(high), begin, left
            )
            before, self.axes = self.axes, _units(found.state.pulls.at_j)
            begin = found.u, found.m
            if not high.any() or np.abs(self.axes - before).max(initial=0.0) <= _REST:
                break
        self.found, self.hung = found, found.u
        self._answer(high)

    def _put_up(self) -> None:
        """Gather everything that acts."""
        parts, size = self.parts, 6 * len(self.parts.positions)
        own = [s for sticks in parts.sticks.values() for s in sticks]
        self.stick_of = {id(s): n for n, s in enumerate(own)}
        held = [(s.held.reshape(4, 3) @ s.axes).ravel() for s in own]
        self.bearing_of: dict[int, int] = {}
        bearings: list[Bearing] = []
        for j, seat in enumerate(self.job.seats.values()):
            if seat.id not in self.seat_of:
                self.bearing_of[j] = len(bearings)
                bearings.append(self._bears(seat.id, bool(self.one_way[j])))
        bearings += self._guides()
        gone = Bearings(bearings).gone(np.zeros(size))
        firm = gathered([(gone.at, gone.rows[:, :, None] * gone.rows[:, None, :])], size)
        self._hold_idle(csc_array(self._structure()[0] + firm))
        loads = np.zeros((size, 1))
        self._loads(loads)
        self.standing = CableActions(
            size, Sticks(own, held, [s.grown for s in own]), self.ends, bearings,
            self._springs(), parts.constraints, parts.links, loads[:, 0],
        )  # fmt: skip

    def _answer(self, high: Array) -> None:
        """Find what a unit move of every seat does about the surveyed state, all seats two-way."""
        standing, u, pulls = self.standing, self.found.u, self.found.state.pulls
        seats = len(self.job.seats)
        by, tension = self._cables(pulls, standing.size)
        gone = standing.bearings.gone(u)
        self.far, stiffness = gone.far, standing.bearings.stiffness
        opened, loads = np.zeros(seats), tension
        for j, b in self.bearing_of.items():
            np.add.at(by[:, j], gone.at[b], -stiffness[b] * gone.rows[b])
            loads[j] = self.found.state.carried[b]
            opened[j] = max(0.0, self.far[b] - high[j]) if self.one_way[j] else 0.0
        touching = np.ones(len(standing.bearings), dtype=bool)
        state = standing.state(u, self._packs(high + opened), pulls, self.found.m, touching)
        none = np.zeros((standing.count, seats))
        self.moves = StandingFactor(state).solve(-by, none)[0]
        self.R = self._work(state)
        self.q = loads - self.R @ (high + opened)
        self.still = u - self.moves @ (high + opened)
        self.at_survey = high + opened

    def _work(self, state: FrameState) -> Array:
        """Change of all reactions for a unit move of every seat (s, s), by the work of strains."""
        moves, standing = self.moves, self.standing
        bent = state.bent.slope @ moves[standing.sticks.numbers]
        result = np.einsum("nis,nij,njt->st", bent, standing.sticks.inner, bent, optimize=True)
        result = result + moves.T @ (state.turning @ moves)
        for held, along, k in self._springs():
            stretch = along @ moves[held]
            result = result + k * np.outer(stretch, stretch)
        seat_of = {b: j for j, b in self.bearing_of.items()}
        gone = standing.bearings.gone(self.hung)
        for b, stiffness in enumerate(standing.bearings.stiffness):
            stretch = gone.rows[b] @ moves[gone.at[b]]
            if b in seat_of:
                stretch[seat_of[b]] -= 1.0
            result = result + stiffness * np.outer(stretch, stretch)
        drawn = {n: list(self.job.seats).index(seat) for seat, n in self.seat_of.items()}
        for n, own in enumerate(self.ends):
            apart = moves[own[3:]] - moves[own[:3]]
            if n in drawn:
                apart[:, drawn[n]] += self.axes[n]
            result = result + apart.T @ state.pulls.stiffness[n] @ apart
        both: Array = 0.5 * (result + result.T)
        return both

    def _stand(self) -> None:
        """Say how the structure stands as surveyed, and what loads as measured leave over."""
        super()._stand()
        self.set_now = self._packs(np.zeros(len(self.job.seats)))
        for j, b in self.bearing_of.items():
            k = self.standing.bearings.stiffness[b]
            self.set_now[b] = self.far[b] + self.present[j] / k - self.start[j]
        found = self.found
        state = self.standing.state(found.u, self.set_now, found.state.pulls, found.m)
        self.left = state.forces + state.rows.T @ found.m
        self._balance(found)
        self.known = [(np.zeros(len(self.job.seats)), found)]
        """Rests found so far, and the moves of seats (s,) they belong to [m]."""

    def _packs(self, settings: Array) -> Array:
        """Settings (b,) of the bearings for those of the seats (s,); guides stay."""
        result = np.zeros(len(self.standing.bearings))
        for j, b in self.bearing_of.items():
            result[b] = settings[j]
        return result

    def _drawn(self, settings: Array) -> Array:
        """How far the ends of each cable are apart as drawn, and drawn out by its nut (c, 3)."""
        apart: Array = self.lines.apart.copy()
        for j, name in enumerate(self.job.seats):
            if name in self.seat_of:
                n = self.seat_of[name]
                apart[n] += settings[j] * self.axes[n]
        return apart

    def _bears(self, seat: str, one_way: bool) -> Bearing:
        """Return what a seat bears: a place of the frame, or a saddle along its slide."""
        own = self.job.seats[seat]
        for saddle in self.model.saddles.values():
            if saddle.seat == seat and saddle.on is not None:
                return self._slide(saddle.node, saddle.on, own.direction, own.stiffness, one_way)
        spot = self.spots[f"seat/{seat}"]
        return Bearing(spot.first, None, spot.arm, own.direction, own.stiffness, one_way)

    def _slide(self, node: str, on: str, way: Array, stiffness: float, one_way: bool) -> Bearing:
        first, base = self.parts.names[node], self.parts.names[on]
        arm = self.parts.positions[first // 6] - self.parts.positions[base // 6]
        return Bearing(first, base, arm, way, stiffness, one_way)

    def _guides(self) -> list[Bearing]:
        """Return what holds each saddle across its slide."""
        guides = []
        for saddle in self.model.saddles.values():
            if saddle.seat is None or saddle.on is None:
                continue
            seat = self.job.seats[saddle.seat]
            for axis in np.linalg.svd(seat.direction[None, :])[2][1:]:
                stiffness = _GUIDE * seat.stiffness
                guides.append(self._slide(saddle.node, saddle.on, axis, stiffness, False))
        return guides

    def _hold_idle(self, K: csc_array) -> None:
        """Hold turns that nothing works on: a cable resists none."""
        busy = np.abs(K).sum(axis=0) > 0.0
        for row in self.parts.constraints:
            busy[list(row)] = True
        for first in self.parts.names.values():
            self.parts.constraints += [{first + k: 1.0} for k in (3, 4, 5) if not busy[first + k]]

    def _cables(self, pulls: Pulls, size: int) -> tuple[Array, Array]:
        """Return forces (6 n, s) of drawing each cable by its seat, and its tension now (s,)."""
        count = len(self.job.seats)
        by, tension = np.zeros((size, count)), np.zeros(count)
        for j, name in enumerate(self.job.seats):
            n = self.seat_of.get(name)
            if n is None:
                continue
            gain = pulls.stiffness[n] @ self.axes[n]
            np.add.at(by[:, j], self.ends[n], np.concatenate([-gain, gain]))
            tension[j] = self.axes[n] @ self._nut(pulls, n)
        return by, tension

    def _nut(self, pulls: Pulls, n: int) -> Array:
        """Pull (3,) at the adjusted end of a cable: of a straight one without its lumped weight."""
        own: Array = pulls.at_j[n] - self._lump(n)
        return own

    def _far(self, pulls: Pulls, n: int) -> Array:
        own: Array = pulls.at_i[n] + self._lump(n)
        return own

    def _lump(self, n: int) -> Array:
        half = 0.5 * self.lines.weight[n] * self.lines.length[n] if self.lines.straight[n] else 0.0
        return np.array([0.0, 0.0, half])

    def _require(self, still: float, moved: Array, reactions: Array) -> None:
        """Forces of cables are not linear in the moves."""

    def at(self, settings: Mapping[str, float], checks: Sequence[Check]) -> Outcome:
        """Return the change of every check, all reactions and forces.

        Parameters
        ----------
        settings : mapping of str to float
            Of all seats, from the survey [m].
        checks : sequence of Check

        Raises
        ------
        CertificateRefused
            If no rest is found there, or forces and moments do not balance in it.
        """
        found = self._rest_at(np.array([settings[name] for name in self.job.seats]))
        pulls, before = found.state.pulls, self.found.state.pulls
        motions = found.u - self.hung
        zero = np.zeros_like(motions)
        change = np.array([self.check(c, motions) - self.check(c, zero) for c in checks])
        tension = {c.id: n for n, c in enumerate(self.lines.cables)}
        for k, check in enumerate(checks):
            if check.quantity == "tension" and check.subject in tension:
                n = tension[check.subject]
                change[k] = self._pull_of(pulls, n) - self._pull_of(before, n)
        forces = {p.id: self._watched(p, found) for p in self.model.places.values()}
        forces |= self._hung_forces(pulls)
        named = dict(zip(self.job.seats, self._reactions(found).tolist(), strict=True))
        return Outcome(change, named, forces)

    def _reactions(self, found: FrameAtRest) -> Array:
        """Reactions of all seats (s,) [N]: of a nut what it has gained on the surveyed state."""
        result: Array = self.present.copy()
        for j, name in enumerate(self.job.seats):
            if j in self.bearing_of:
                result[j] = found.state.carried[self.bearing_of[j]]
            else:
                n = self.seat_of[name]
                gained = self._nut(found.state.pulls, n) - self._nut(self.found.state.pulls, n)
                result[j] += self.axes[n] @ gained
        return result

    def bends(self, stick: Stick) -> Array:
        """Return how motions of its nodes bend and stretch a stick (6, 12), as surveyed."""
        slope: Array = self.found.state.bent.slope[self.stick_of[id(stick)]]
        return slope

    def _watched(self, place: Place, found: FrameAtRest) -> float:
        """Return a force that is watched [N, N m or Pa], loads measured at seats counted."""
        sticks = self.parts.sticks[place.member]
        nearest = min(sticks, key=lambda s: abs(s.ends - place.at))
        ahead = abs(nearest.ends - place.at) <= place.at
        own = nearest if ahead else sticks[0]
        n = self.stick_of[id(own)]
        built = self.moves @ (self.built - self.at_survey)
        more = found.state.bent.slope[n] @ built[self.standing.sticks.numbers[n]]
        ends = own.bends.T @ (found.state.bent.local[n] + own.inner @ more) + own.held
        return self._read(place, ends[6:] if ahead else -ends[:6])

    def placed(self, settings: Mapping[str, float]) -> Callable[[str], Array]:
        """Return where every check point is (3,) for settings by seat [m], as a function."""
        x = np.array([settings[name] for name in self.job.seats])
        return self.placer(self._rest_at(x).u - self.hung)

    def heated(
        self, growth: Sequence[tuple[Stick, Array]], x: Array, warmer: Mapping[str, float]
    ) -> Array:
        """Return the motions (6 n,) from the surveyed state as sticks grow and cables warm.

        Parameters
        ----------
        growth : sequence of (Stick, Array (6,))
            How far the free end of each stick would go, in its own axes [m, rad].
        x : Array (s,)
            Moves of the seats to which the growth comes [m].
        warmer : mapping of str to float
            How much warmer each cable is, by name [K].

        Raises
        ------
        CertificateRefused
            If no rest is found there, or forces and moments do not balance in it.
        """
        lines = copy(self.lines)
        lines.warm = lines.warm + [c.expansion * warmer[c.id] for c in lines.cables]
        standing = copy(self.standing)
        standing.sticks = copy(standing.sticks)
        standing.sticks.grown = standing.sticks.grown.copy()
        for stick, end in growth:
            standing.sticks.grown[self.stick_of[id(stick)]] += end
        return self._rest(standing, lines, x).u - self.hung

    def _rest_at(self, x: Array) -> FrameAtRest:
        """Return the structure at rest with its seats moved by x (s,) from the survey [m]."""
        at, near = min(self.known, key=lambda known: float(np.abs(known[0] - x).max()))
        if (at == x).all():
            return near
        found = self._rest(self.standing, self.lines, x, (at, near))
        self.known.append((x.copy(), found))
        return found

    def _rest(
        self,
        standing: CableActions,
        lines: Lines,
        x: Array,
        near: tuple[Array, FrameAtRest] | None = None,
    ) -> FrameAtRest:
        """Find the rest with sticks and cables as warm as stated, from one nearby if any."""
        stated = [self.model.seats.get(n) for n in self.job.seats]
        high = np.array([0.0 if t is None else t.setting for t in stated])
        at, start = near or self.known[0]
        begin = start.u + self.moves @ (x - at), start.m
        found = come_to_rest(
            standing, lines, self._drawn(high + x), self.set_now + self._packs(x), begin,
            self.left, start.factor,
        )  # fmt: skip
        self._balance(found, self.left)
        return found

    def _balance(self, found: FrameAtRest, left: Array | None = None) -> None:
        """Refuse a state in which forces and moments on a part, where it stands, do not add up."""
        standing, inside = self.standing, np.zeros(self.standing.size)
        np.add.at(inside, standing.sticks.numbers, found.state.bent.forces - standing.sticks.loads)
        single = np.diff(standing.rows.tocsr().indptr) == 1
        ground = standing.rows.T @ np.where(single, found.m, 0.0)
        outside = found.state.forces - inside + ground - (0.0 if left is None else left)
        places = np.array(self.parts.positions) + found.u.reshape(-1, 6)[:, :3]
        groups = [part for part in self._groups() if part.name != WHOLE]
        sums = Sums(list(places), groups)
        by_node = np.abs(outside.reshape(-1, 6)[:, :3]).sum(axis=1)
        acting = np.array([by_node[part.nodes].sum() for part in groups])
        sums.require(sums.of(outside[:, None])[:, :, 0], acting)

    def _pull_of(self, pulls: Pulls, n: int) -> float:
        return float(np.linalg.norm(self._nut(pulls, n)))

    def _hung_forces(self, pulls: Pulls) -> dict[str, float]:
        """Tensions at the adjusted ends, and what friction still holds at saddles [N]."""
        forces = {f"cable/{c.id}": self._pull_of(pulls, n)
                  for n, c in enumerate(self.lines.cables)}  # fmt: skip
        number = {c.id: n for n, c in enumerate(self.lines.cables)}
        for saddle in self.model.saddles.values():
            away = []
            for name in (saddle.back, saddle.ahead):
                n = number[name]
                at_j = self.lines.cables[n].j == saddle.node
                away.append(-self._nut(pulls, n) if at_j else self._far(pulls, n))
            size = [float(np.linalg.norm(a)) for a in away]
            straight_on = np.arccos(np.clip(away[0] @ away[1] / (size[0] * size[1]), -1.0, 1.0))
            holds = float(np.exp(saddle.friction * (np.pi - straight_on)))
            forces[f"saddle/{saddle.id}/back"] = holds * size[1] - size[0]
            forces[f"saddle/{saddle.id}/ahead"] = holds * size[0] - size[1]
        return forces


def _units(pulls: Array) -> Array:
    size = np.linalg.norm(pulls, axis=1)[:, None]
    units: Array = pulls / np.maximum(size, 1e-300)
    return units
