"""A frame with cables once more: its own Newton, and every state at rest anew.

The cables are those of :mod:`fitup.certify.lines`, everything else that of
:mod:`fitup.certify.frame`. The surveyed state is found by whole Newton steps on one system with
multipliers. Any other state is found from there: what the cables do beyond their tangent is put on
the structure as a load, again and again until nothing changes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from copy import copy

import numpy as np
from scipy.sparse import coo_array, csc_array

from fitup.certify.bound import Bound
from fitup.certify.carry import carry
from fitup.certify.frame import FrameStates
from fitup.certify.lines import Lines, Pulls
from fitup.certify.recompute import Outcome
from fitup.errors import CertificateRefused
from fitup.frames import Array
from fitup.model import Check

_STEPS = 60
#: motions that change by less are at rest [m]
_REST = 1e-10
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
        K, right = self._structure()
        self.firm, self.by = np.zeros(len(self.job.seats)), np.zeros_like(right[:, 1:])
        self.bearing: list[tuple[int, Array, Array, float]] = []
        for j, seat in enumerate(self.job.seats.values()):
            if seat.id in self.seat_of:
                continue
            at, row = self._bears(seat.id)
            K[np.ix_(at, at)] += seat.stiffness * np.outer(row, row)
            np.add.at(self.by[:, j], at, -seat.stiffness * row)
            self.firm[j] = seat.stiffness
            self.bearing.append((j, at, row, seat.stiffness))
        plain, self.load = csc_array(K), right[:, 0]
        self._hold_idle(plain)
        self._rest_as_surveyed(plain)

    def _bears(self, seat: str) -> tuple[Array, Array]:
        """Unknowns that work on a seat, and how far each moves what it pushes along its way."""
        own = self.job.seats[seat]
        for saddle in self.model.saddles.values():
            if saddle.seat == seat and saddle.on is not None:
                return self._slides(saddle.node, saddle.on, own.direction)
        return self.spots[f"seat/{seat}"].row(own.direction)

    def _slides(self, node: str, on: str, along: Array) -> tuple[Array, Array]:
        first, base = self.parts.names[node], self.parts.names[on]
        arm = self.parts.positions[first // 6] - self.parts.positions[base // 6]
        at = np.array([*range(first, first + 3), *range(base, base + 6)])
        return at, np.concatenate([along, -along, -np.cross(arm, along)])

    def _footing(self) -> Iterable[tuple[int, Array, Array, float]]:
        return self.bearing

    def _beside(self, pulls: Pulls) -> Iterable[tuple[Array, Array]]:
        """Yield what a unit move of every seat strains cables and guides (e, s), and stiffness."""
        drawn = {n: list(self.job.seats).index(seat) for seat, n in self.seat_of.items()}
        for n, own in enumerate(self.ends):
            apart = self.moves[own[3:]] - self.moves[own[:3]]
            if n in drawn:
                apart[:, drawn[n]] += self.axes[n]
            yield apart, pulls.stiffness[n]
        for at, row, k in self._guided():
            yield (row @ self.moves[at])[None, :], np.array([[k]])

    def _guided(self) -> Iterable[tuple[Array, Array, float]]:
        """Yield unknowns, coefficients and stiffness of what holds each saddle across its slide."""
        for saddle in self.model.saddles.values():
            if saddle.seat is None or saddle.on is None:
                continue
            seat = self.job.seats[saddle.seat]
            for axis in np.linalg.svd(seat.direction[None, :])[2][1:]:
                yield *self._slides(saddle.node, saddle.on, axis), _GUIDE * seat.stiffness

    def _guides(self, K: csc_array) -> csc_array:
        """Add what holds each saddle across its slide."""
        total = K
        for at, row, k in self._guided():
            block = k * np.outer(row, row)
            total = total + _spread(at[None, :], block[None, :, :], K.shape[0])
        return csc_array(total)

    def _hold_idle(self, K: csc_array) -> None:
        """Hold turns that nothing works on: a cable resists none."""
        busy = np.abs(K).sum(axis=0) > 0.0
        for row in self.parts.constraints:
            busy[list(row)] = True
        for first in self.parts.names.values():
            self.parts.constraints += [{first + k: 1.0} for k in (3, 4, 5) if not busy[first + k]]

    def _rest_as_surveyed(self, plain: csc_array) -> None:
        size, seats = plain.shape[0], list(self.job.seats)
        plain = self._guides(plain)
        told = [self.model.seats.get(n) for n in seats]
        one_way = self._one_way()
        high = np.array([0.0 if t is None else t.setting for t in told])
        u, e = np.zeros(size), high.copy()
        for _ in range(_STEPS):
            pulls = self.lines.pulls(self._apart(u, None))
            self.axes = pulls.at_j / np.linalg.norm(pulls.at_j, axis=1)[:, None]
            cables, forces, by, firm, tension = self._cables(pulls, size)
            bound = Bound(csc_array(plain + cables), self.parts.constraints)
            load = self.load - forces + cables @ u + by @ e
            both = self.by + by
            motions = bound.solve(np.column_stack([load, -both]))
            self.still, self.moves = motions[:, 0], motions[:, 1:]
            self.R = self._by_work(self._beside(pulls))
            self.q = both.T @ self.still + tension - by.T @ u - firm * e
            after = high + carry(self.q + self.R @ high, self.R, one_way)
            step = self.still + self.moves @ after - u
            change = max(np.abs(step).max(), np.abs(after - e).max(initial=0.0))
            u, e = u + self._share(plain, u, step, after) * step, after
            if change <= _REST:
                self.bound, self.all_by = bound, both
                self.hung, self.at_survey = u, e
                self.tangent = cables, forces, by, firm, tension
                return
        raise CertificateRefused(["the surveyed state of the cables was not found a second time"])

    def _share(self, plain: csc_array, u: Array, step: Array, e: Array) -> float:
        """Halve a step until the work of what is out of balance along it falls."""

        def work(share: float) -> float:
            there = u + share * step
            pulls = self.lines.pulls(self._apart(there, None))
            own = np.concatenate([-pulls.at_i, pulls.at_j], axis=1)
            total = float(np.sum(own * step[self.ends]))
            return total + float(step @ (plain @ there + self.by @ e - self.load))

        first, share = work(0.0), 1.0
        for _ in range(20):
            now = work(share)
            if now * first >= 0.0 or abs(now) <= 0.9 * abs(first):
                break
            share *= 0.5
        return share

    def _apart(self, u: Array, drawn: Array | None) -> Array:
        """How far the ends of each cable are apart (n, 3), end j drawn out by (n,) [m]."""
        own = u[self.ends]
        apart = self.lines.apart + own[:, 3:] - own[:, :3]
        return apart if drawn is None else apart + drawn[:, None] * self.axes

    def _cables(self, pulls: Pulls, size: int) -> tuple[csc_array, Array, Array, Array, Array]:
        """Stiffness, forces, and for each seat what drawing its cable does."""
        k = pulls.stiffness
        blocks = np.block([[k, -k], [-k, k]])
        stiffness = _spread(self.ends, blocks, size)
        forces = np.zeros(size)
        np.add.at(forces, self.ends, np.concatenate([-pulls.at_i, pulls.at_j], axis=1))
        count = len(self.job.seats)
        by, firm, tension = np.zeros((size, count)), np.zeros(count), np.zeros(count)
        for j, name in enumerate(self.job.seats):
            n = self.seat_of.get(name)
            if n is None:
                continue
            gain = k[n] @ self.axes[n]
            np.add.at(by[:, j], self.ends[n], np.concatenate([-gain, gain]))
            firm[j] = self.axes[n] @ gain
            tension[j] = self.axes[n] @ self._nut(pulls, n)
        return stiffness, forces, by, firm, tension

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
        """Return the change of every check, all reactions and forces, for settings by seat [m]."""
        x = np.array([settings[name] for name in self.job.seats])
        u, moved, pulls, extra = self._rest_at(x)
        motions = u - self.hung
        zero = np.zeros_like(motions)
        change = np.array([self.check(c, motions) - self.check(c, zero) for c in checks])
        before = self.lines.pulls(self._apart(self.hung, None))
        tension = {c.id: n for n, c in enumerate(self.lines.cables)}
        for k, check in enumerate(checks):
            if check.quantity == "tension" and check.subject in tension:
                n = tension[check.subject]
                change[k] = self._pull_of(pulls, n) - self._pull_of(before, n)
        reactions = self.present + self.R @ moved + extra
        under_load = (
            self.still + self.moves @ (self.built + moved) + (u - self.hung - self.moves @ moved)
        )
        forces = {p.id: self._force(p, under_load) for p in self.model.places.values()}
        forces |= self._hung_forces(pulls)
        named = dict(zip(self.job.seats, reactions.tolist(), strict=True))
        return Outcome(change, named, forces)

    def placed(self, settings: Mapping[str, float]) -> Callable[[str], Array]:
        """Return where every check point is (3,) for settings by seat [m], as a function."""
        x = np.array([settings[name] for name in self.job.seats])
        return self.placer(self._rest_at(x)[0] - self.hung)

    def heated(self, load: Array, x: Array, warmer: Mapping[str, float]) -> Array:
        """Return the motions (6 n,) from the surveyed state under a load of warmth (6 n,).

        ``x`` (n,) are the moves of seats to which it comes; cables ``warmer`` by name [K].
        """
        lines = copy(self.lines)
        lines.warm = lines.warm + [c.expansion * warmer[c.id] for c in lines.cables]
        return self._rest_at(x, load, lines)[0] - self.hung

    def _rest_at(
        self, x: Array, load: Array | None = None, lines: Lines | None = None
    ) -> tuple[Array, Array, Pulls, Array]:
        """Motions, effective moves, pulls, and what the reactions gain beyond their tangent.

        With a load (6 n,) added, and cables as warm as told.
        """
        lines = self.lines if lines is None else lines
        cables, forces, by, firm, tension = self.tangent
        size = len(self.load)
        shift, extra = np.zeros(size), np.zeros(len(x))
        u = self.hung
        for step in range(_STEPS):
            q = self.present + self.R @ (x - self.start) + extra
            moved = x + carry(q, self.R, self.one_way) - self.start
            after = self.hung + self.moves @ moved + shift
            drawn = np.zeros(len(self.lines.cables))
            for j, name in enumerate(self.job.seats):
                if name in self.seat_of:
                    drawn[self.seat_of[name]] = moved[j]
            pulls = lines.pulls(self._apart(after, drawn))
            _, now, _, _, pulled = self._cables(pulls, size)
            motion = after - self.hung
            beyond = now - forces - cables @ motion - by @ moved
            if load is not None:
                beyond = beyond - load
            shift = self.bound.solve(-beyond[:, None])[:, 0]
            extra = self.all_by.T @ shift + pulled - tension - by.T @ motion - firm * moved
            rest = step > 0 and np.abs(after - u).max() <= _REST
            u = after
            if rest:
                return u, moved, pulls, extra
        raise CertificateRefused(["a state of the cables was not found a second time"])

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


def _spread(numbers: Array, blocks: Array, size: int) -> csc_array:
    """Add square blocks (n, k, k) at numbers (n, k) into one sparse matrix."""
    rows = np.repeat(numbers, numbers.shape[1], axis=1).ravel()
    columns = np.tile(numbers, (1, numbers.shape[1])).ravel()
    return csc_array(coo_array((blocks.ravel(), (rows, columns)), shape=(size, size)))
