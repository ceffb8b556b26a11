"""Pieces of members once more: a cantilever's flexibility, carried to both ends by equilibrium."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.model.frame import Member


def cantilever(member: Member, length: float) -> Array:
    """Flexibility of the free end of a beam held at its start, in its own axes.

    Parameters
    ----------
    member : Member
    length : float
        Of the beam, which may be a piece of the member [m].

    Returns
    -------
    Array (6, 6)
        Shifts along and turns about x, y, z [m, rad] for unit forces and moments there [N, N m].
    """
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
    """How the free end of that cantilever goes under an even load and temperature.

    Parameters
    ----------
    member : Member
    length : float
        Of the cantilever [m].
    load : Array (3,)
        In its own axes [N/m].
    warm : tuple of three floats
        Temperatures [K]: even, through depth, through width.

    Returns
    -------
    Array (6,)
        Shifts along and turns about x, y, z [m, rad].
    """
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
class Stick:
    """One piece of a member: its place in the unknowns, and its stiffness in its own axes."""

    first: int
    last: int
    axes: Array
    begins: float
    ends: float
    bends: Array
    inner: Array
    held: Array
    grown: Array

    @property
    def rest(self) -> Array:
        """Forces (12,) on its ends where nothing has moved: of loads and of temperature."""
        result: Array = self.held - self.bends.T @ (self.inner @ self.grown)
        return result

    @property
    def stiff(self) -> Array:
        """Stiffness (12, 12) in its own axes."""
        result: Array = self.bends.T @ self.inner @ self.bends
        return result

    def forces(self, u: Array, loaded: bool) -> Array:
        """Forces (12,) on its ends in its own axes.

        Parameters
        ----------
        u : Array (6 n,)
            Motions of all nodes in the grid [m, rad].
        loaded : bool
            Count what loads and temperature do where nothing has moved, too.
        """
        own = np.concatenate([u[self.first : self.first + 6], u[self.last : self.last + 6]])
        local = (own.reshape(4, 3) @ self.axes.T).ravel()
        bent = self.bends @ local
        return self.bends.T @ (self.inner @ bent) + (self.rest if loaded else 0.0)

    def strained(self, moves: Array) -> tuple[Array, Array]:
        """How far motions (n, k) bend and stretch it (6, k), and its stiffness against that."""
        own = np.vstack([moves[self.first : self.first + 6], moves[self.last : self.last + 6]])
        turned = np.kron(np.eye(4), self.axes) @ own
        return self.bends @ turned, self.inner


def stick_between(
    member: Member, first: int, last: int, axes: Array, a: float, b: float, load: Array,
    warm: tuple[float, float, float],
) -> Stick:  # fmt: skip
    """Return the piece of a member from a to b along it, under an even load (3,) in its own axes.

    Parameters
    ----------
    member : Member
    first, last : int
        Its ends' places in the unknowns.
    axes : Array (3, 3)
        Its own axes, rows in the grid.
    a, b : float
        Where it begins and ends along the member [m].
    load : Array (3,)
        [N/m].
    warm : tuple of three floats
        Temperatures [K]: even, through depth, through width.
    """
    length = b - a
    inner = np.linalg.inv(cantilever(member, length))
    # forces at the start balance those at the end: the lever is the length along x
    lever = np.eye(6)
    lever[4, 2], lever[5, 1] = -length, length
    both = np.vstack([-lever, np.eye(6)])
    held = -both @ inner @ free_end(member, length, load, (0.0, 0.0, 0.0))
    own = np.concatenate([load, np.zeros(3)]) * length
    own[4], own[5] = -load[2] * length**2 / 2.0, load[1] * length**2 / 2.0
    held[:6] -= own
    grown = free_end(member, length, np.zeros(3), warm)
    return Stick(first, last, axes, a, b, both.T, inner, held, grown)
