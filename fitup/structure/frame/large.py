"""Beams that turn as they bend: second order of axial force, many at once.

A beam bends and stretches as seen from its own chord, which goes along with its ends. With D the
line between its flexible ends in its own axes as drawn, and p, q the turns of its two nodes as
rotation vectors, its strains are

    v = (l - L, -L n_iz, L n_iy, t, n_jy - n_iy, n_jz - n_iz)

where l = |D|, n_i and n_j are the turns of the ends against the chord and t the twist. To second
order in the turns (Baker, Campbell, Hausdorff: log(exp(-a) exp(b)) = b - a - a x b / 2), with P_z
and P_y the angles of the chord and m the mean twist,

    n_z = turn_z - P_z + m P_y / 2 - m turn_y / 2 + P_y turn_x / 2

and alike about y; a beam that bows is shorter along its chord, by
L (2 n_i^2 - n_i n_j + 2 n_j^2) / 30 in each plane, which is what its axial force does to its
bending [1]. The rest is linear and bilinear in y = (l, P_z, P_y, p, q), with plain derivatives.
In one plane they are exact however far the beam turns. Forces are the derivative of the
strain energy, the tangent their derivative: symmetric, and in balance where the beam now stands.

Where nothing has moved this is the linear beam [1].

[1] M. A. Crisfield, Non-linear Finite Element Analysis of Solids and Structures, volume 2, Wiley
    1997, chapter 17, for beams that go along with their chord. Cited from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from fitup.frames import Array

# places in y
_L, _PZ, _PY, _P, _Q = 0, 1, 2, 3, 6
_EYE = np.eye(3)


def _bilinear() -> Array:
    """Second derivatives (6, 9, 9) of the strains by y, arms of bending (second, third) per L."""
    Q = np.zeros((6, 9, 9))

    def add(row: int, a: int, b: int, value: float) -> None:
        Q[row, a, b] += value
        Q[row, b, a] += value

    def turned(row: int, sign: float, end: int, about: int) -> None:
        """Add the part of second order of an end's turn about y (1) or z (2) to a strain."""
        other = _PZ if about == 1 else _PY
        sense = sign if about == 2 else -sign
        for twist in (_P, _Q):
            # the mean twist, with the chord and with the end's other turn
            add(row, twist, other, 0.25 * sense)
            add(row, twist, end + 3 - about, -0.25 * sense)
        add(row, other, end, 0.5 * sense)

    turned(1, -1.0, _P, 2)
    turned(2, 1.0, _P, 1)
    turned(4, 1.0, _Q, 1)
    turned(4, -1.0, _P, 1)
    turned(5, 1.0, _Q, 2)
    turned(5, -1.0, _P, 2)
    for end, sign in ((_Q, -0.5), (_P, 0.5)):
        add(3, _PY, end + 2, sign)
        add(3, _PZ, end + 1, -sign)
    return Q


def _linear() -> Array:
    """First derivatives (6, 9) of the strains by y where nothing has moved, arms per L."""
    C = np.zeros((6, 9))
    C[0, _L] = 1.0
    C[1, _P + 2], C[1, _PZ] = -1.0, 1.0
    C[2, _P + 1], C[2, _PY] = 1.0, -1.0
    for k, row in ((0, 3), (1, 4), (2, 5)):
        C[row, _Q + k], C[row, _P + k] = 1.0, -1.0
    return C


_SECOND: Final = _bilinear()
_FIRST: Final = _linear()


@dataclass(frozen=True, eq=False)
class BentBeams:
    """What n beams do at some motions of their nodes.

    Parameters
    ----------
    strains : Array (n, 6)
    slope : Array (n, 6, 12)
        Change of the strains with the motions of both nodes.
    forces : Array (n, 6)
        That go with the strains [N, N m].
    turned : Array (n, 12, 12)
        Part of the tangent that comes of the forces turning along.
    """

    strains: Array
    slope: Array
    forces: Array
    turned: Array


def crossed(a: Array, b: Array) -> Array:
    """Return the cross products of vectors (n, 3), quicker than in general.

    Parameters
    ----------
    a, b : Array (n, 3)

    Returns
    -------
    Array (n, 3)
    """
    result = np.empty_like(b)
    result[:, 0] = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    result[:, 1] = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    result[:, 2] = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return result


def arm_after(turn: Array, arm: Array) -> Array:
    """Return how far the ends of rigid arms go as they turn, to second order.

    Parameters
    ----------
    turn : Array (n, 3)
        Rotation vectors [rad].
    arm : Array (n, 3)
        Before the turn, from the node outwards [m].

    Returns
    -------
    Array (n, 3)
        [m].
    """
    once = crossed(turn, arm)
    return once + 0.5 * crossed(turn, once)


def arm_slope(turn: Array, arm: Array) -> Array:
    """Return the change (n, 3, 3) of :func:`arm_after` with the turns.

    Parameters
    ----------
    turn : Array (n, 3)
        Rotation vectors [rad].
    arm : Array (n, 3)
        Before the turn, from the node outwards [m].

    Returns
    -------
    Array (n, 3, 3)
        Rows are the way of the end, columns the turn [m/rad].
    """
    inner = np.einsum("ni,ni->n", turn, arm)[:, None, None] * _EYE
    outer = turn[:, :, None] * arm[:, None, :]
    swung = arm[:, :, None] * turn[:, None, :]
    return -_skews(arm) + 0.5 * (inner + outer) - swung


def arm_bend(force: Array, arm: Array) -> Array:
    """Return the second derivative by the turns of forces times the ends' way.

    Parameters
    ----------
    force : Array (n, 3)
        At the end of each arm [N].
    arm : Array (n, 3)
        Before the turn, from the node outwards [m].

    Returns
    -------
    Array (n, 3, 3)
        Symmetric [N m/rad2].
    """
    both = force[:, :, None] * arm[:, None, :]
    inner = np.einsum("ni,ni->n", force, arm)[:, None, None] * _EYE
    return 0.5 * (both + both.transpose(0, 2, 1)) - inner


def _skews(v: Array) -> Array:
    result = np.zeros((len(v), 3, 3))
    result[:, 0, 1], result[:, 0, 2], result[:, 1, 2] = -v[:, 2], v[:, 1], -v[:, 0]
    result[:, 1, 0], result[:, 2, 0], result[:, 2, 1] = v[:, 2], -v[:, 1], v[:, 0]
    return result


@dataclass(frozen=True, eq=False)
class Beams:
    """Many beams.

    Parameters
    ----------
    axes : Array (n, 3, 3)
        Rows x, y, z in the grid.
    length : Array (n,)
        Flexible, as drawn [m].
    offsets : Array (n, 2, 3)
        Rigid lengths at both ends, in the grid [m].
    inner : Array (n, 6, 6)
        Stiffness against the strains.
    heat : Array (n, 6)
        Forces that go with no strain, of temperature.
    rest : Array (n, 12)
        Forces on the nodes of the loads on the beams.
    """

    axes: Array
    length: Array
    offsets: Array
    inner: Array
    heat: Array
    rest: Array

    def resist(self, u: Array) -> tuple[Array, Array]:
        """Return forces on the nodes (n, 12) at their motions (n, 12), and tangent (n, 12, 12)."""
        bent = self.bent(u)
        forces = np.einsum("nki,nk->ni", bent.slope, bent.forces) + self.rest
        tangent = bent.slope.transpose(0, 2, 1) @ self.inner @ bent.slope + bent.turned
        return forces, tangent

    def bent(self, u: Array) -> BentBeams:
        """Return what they do at motions of their nodes (n, 12)."""
        n = len(u)
        turns = u.reshape(n, 4, 3)[:, 1::2]
        line, by = self._line(u, turns)
        y, by_line, bends = _chord(line, self.length)
        local = np.einsum("nij,nkj->nki", self.axes, turns)
        y[:, _P:_Q], y[:, _Q:] = local[:, 0], local[:, 1]
        # y by the motions of the nodes
        J = np.zeros((n, 9, 12))
        J[:, :3] = by_line @ by
        J[:, _P:_Q, 3:6] = J[:, _Q:, 9:12] = self.axes
        arms = np.ones((n, 6))
        arms[:, 1] = arms[:, 2] = self.length
        once = _FIRST + 0.5 * np.einsum("kab,nb->nka", _SECOND, y)
        full = _FIRST + np.einsum("kab,nb->nka", _SECOND, y)
        strains = arms * np.einsum("nka,na->nk", once, y)
        slope = arms[:, :, None] * (full @ J)
        bowing = np.einsum("nij,nj->ni", self._bows, strains)
        strains[:, 0] += 0.5 * np.einsum("ni,ni->n", bowing, strains)
        forces = np.einsum("nij,nj->ni", self.inner, strains) + self.heat
        weighed = (forces + forces[:, :1] * bowing) * arms
        gained = np.einsum("nk,nka->na", weighed, full)
        pull = np.einsum("nji,nj->ni", self.axes, np.einsum("nma,nm->na", by_line, gained[:, :3]))
        turned = J.transpose(0, 2, 1) @ np.einsum("nk,kab->nab", weighed, _SECOND) @ J
        on_line = np.einsum("nm,nmab->nab", gained[:, :3], bends)
        turned += by.transpose(0, 2, 1) @ on_line @ by
        turned[:, 3:6, 3:6] -= arm_bend(pull, self.offsets[:, 0])
        turned[:, 9:12, 9:12] += arm_bend(pull, self.offsets[:, 1])
        turned += forces[:, :1, None] * (slope.transpose(0, 2, 1) @ self._bows @ slope)
        slope[:, 0] += np.einsum("ni,nij->nj", bowing, slope)
        # where nothing has moved this is the linear beam, whatever its temperature
        turned[~u.any(axis=1)] = 0.0
        return BentBeams(strains, slope, forces, turned)

    @cached_property
    def _bows(self) -> Array:
        """Second derivative (n, 6, 6), by the strains, of how much shorter bowing makes them."""
        result = np.zeros((len(self.length), 6, 6))
        for k, L in enumerate(self.length):
            for shift, turn, sign in ((1, 5, -1.0), (2, 4, 1.0)):
                ends = np.zeros((2, 6))
                ends[:, shift], ends[1, turn] = sign / L, 1.0
                result[k] += L / 30.0 * ends.T @ np.array([[4.0, -1.0], [-1.0, 4.0]]) @ ends
        return result

    def _line(self, u: Array, turns: Array) -> tuple[Array, Array]:
        """Return the line between the flexible ends (n, 3), in their own axes, and its change."""
        n = len(u)
        apart = u[:, 6:9] - u[:, :3]
        apart = apart + arm_after(turns[:, 1], self.offsets[:, 1])
        apart = apart - arm_after(turns[:, 0], self.offsets[:, 0])
        line = np.einsum("nij,nj->ni", self.axes, apart)
        by = np.zeros((n, 3, 12))
        by[:, :, :3], by[:, :, 6:9] = -_EYE, _EYE
        by[:, :, 3:6] = -arm_slope(turns[:, 0], self.offsets[:, 0])
        by[:, :, 9:12] = arm_slope(turns[:, 1], self.offsets[:, 1])
        return line, self.axes @ by


def _chord(apart: Array, length: Array) -> tuple[Array, Array, Array]:
    """Return y (n, 9) with stretch and angles of chords, their slopes (n, 3, 3) and bends.

    ``apart`` (n, 3) is how far the ends have come apart in their own axes; small beside the
    length, the stretch loses no digits.
    """
    n = len(apart)
    X, Y, Z = length + apart[:, 0], apart[:, 1], apart[:, 2]
    size = np.sqrt(X * X + Y * Y + Z * Z)
    y = np.zeros((n, 9))
    gain = apart[:, 0] * (length + X) + Y * Y + Z * Z
    y[:, _L] = gain / (size + length)
    unit = np.column_stack([X, Y, Z]) / size[:, None]
    slopes, bends = np.zeros((n, 3, 3)), np.zeros((n, 3, 3, 3))
    slopes[:, 0] = unit
    bends[:, 0] = (_EYE - unit[:, :, None] * unit[:, None, :]) / size[:, None, None]
    for row, up, sign in ((1, 1, 1.0), (2, 2, -1.0)):
        angle, slope, bend = _angle(X, (Y, Z)[up - 1], (Z, Y)[up - 1], size)
        order = [0, up, 3 - up]
        y[:, row] = sign * angle
        slopes[:, row, order] = sign * slope
        bends[:, row][:, np.ix_(order, order)[0], np.ix_(order, order)[1]] = sign * bend
    return y, slopes, bends


def _angle(X: Array, up: Array, aside: Array, size: Array) -> tuple[Array, Array, Array]:
    """Return atan2(up, r), r^2 = X^2 + aside^2, with slope (n, 3) and bend by X, up, aside."""
    r = np.sqrt(X * X + aside * aside)
    square = size * size
    by_r, by_up = -up / square, r / square
    rX, rA = X / r, aside / r
    slope = np.column_stack([by_r * rX, by_up, by_r * rA])
    rr, ru = 2.0 * up * r / square**2, (up * up - r * r) / square**2
    bend = np.empty((len(X), 3, 3))
    bend[:, 0, 0] = rr * rX * rX + by_r * rA * rA / r
    bend[:, 0, 2] = bend[:, 2, 0] = rr * rX * rA - by_r * rX * rA / r
    bend[:, 2, 2] = rr * rA * rA + by_r * rX * rX / r
    bend[:, 1, 1] = -rr
    bend[:, 0, 1] = bend[:, 1, 0] = ru * rX
    bend[:, 1, 2] = bend[:, 2, 1] = ru * rA
    return np.arctan2(up, r), slope, bend
