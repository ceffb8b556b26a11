"""Cables once more, plainly: added up along each by Gauss points, all of them at once.

Nothing here uses code of ``structure``. With F the tension at end i as a vector along the cable and
w its weight, the tension at s is t = F + w s up, and the ends are apart by the integral of
t (1/EA + 1/|t|). Newton finds F, its matrix added up along the cable too.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fitup.errors import CertificateRefused
from fitup.frames import Array
from fitup.model.cables import FrameCable
from fitup.model.frame import Node

_UP = np.array([0.0, 0.0, 1.0])
_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(32)
_SHARES, _PARTS = 0.5 * (_POINTS + 1.0), 0.5 * _WEIGHTS
_STEPS = 200
#: a straight cable that is longer than its ends are apart by less than this share is nearly taut
_NEARLY = 2e-3


@dataclass(frozen=True, eq=False)
class Pulls:
    """Tension vectors at either end (n, 3) [N], towards end j, and their stiffness (n, 3, 3)."""

    at_i: Array
    at_j: Array
    stiffness: Array


class Lines:
    """All cables of a frame, cut to their lengths."""

    def __init__(self, cables: Iterable[FrameCable], nodes: dict[str, Node]) -> None:
        self.cables = tuple(cables)
        self.EA = np.array([c.EA for c in self.cables])
        self.weight = np.array([c.weight for c in self.cables])
        self.warm = np.array([1.0 + c.strain for c in self.cables])
        self.straight = np.array([c.form == "straight" for c in self.cables], dtype=bool)
        ends = [(nodes[c.i].position, nodes[c.j].position) for c in self.cables]
        self.apart = np.array([j - i for i, j in ends]).reshape(len(ends), 3)
        self.length = self._lengths()
        self._last: Array | None = None

    def _lengths(self) -> Array:
        """Unstressed lengths (n,) [m]: as given, or with which the wanted tension comes out."""
        chord = np.linalg.norm(self.apart, axis=1)
        given = np.array([np.nan if c.length is None else c.length for c in self.cables])
        wanted = np.array([np.nan if c.tension is None else c.tension for c in self.cables])
        light = chord / (1.0 + wanted / self.EA) / self.warm
        length = np.where(np.isnan(given), light, given)
        hung = np.flatnonzero(np.isnan(given) & ~self.straight)
        if len(hung):
            length[hung] = self._cut(hung, wanted[hung], light[hung])
        return length

    def _cut(self, own: Array, wanted: Array, length: Array) -> Array:
        """Lengths of catenaries that pull so much at end j: four equations for F and length."""
        apart = self.apart[own]
        chord = np.linalg.norm(apart, axis=1)[:, None]
        w, warm = self.weight[own], self.warm[own]
        F = wanted[:, None] * apart / chord - 0.5 * (w * length)[:, None] * _UP
        for _ in range(_STEPS):
            place, matrix = self._along(F, own, length)
            end = F + (w * length)[:, None] * _UP
            size = np.linalg.norm(end, axis=1)
            whole = np.zeros((len(own), 4, 4))
            whole[:, :3, :3] = matrix
            whole[:, :3, 3] = end * ((1.0 / self.EA[own] + 1.0 / size) * warm)[:, None]
            whole[:, 3, :3] = end / size[:, None]
            whole[:, 3, 3] = end[:, 2] / size * w
            off = np.column_stack([apart - place, wanted - size])
            step = np.linalg.solve(whole, off[..., None])[..., 0]
            F, length = F + step[:, :3], length + step[:, 3]
            if (np.abs(step[:, 3]) <= 1e-12 * length).all():
                return length
        raise CertificateRefused(["the length of a cable was not found a second time"])

    def _along(self, F: Array, own: Array, length: Array) -> tuple[Array, Array]:
        """Where end j is from end i (n, 3), and its change (n, 3, 3) with F."""
        s = (self.weight[own] * length)[:, None] * _SHARES
        t = F[:, None, :] + s[:, :, None] * _UP
        size = np.linalg.norm(t, axis=2)
        part = (length * self.warm[own])[:, None] * _PARTS
        place = np.einsum("nq,nqk->nk", part * (1.0 / self.EA[own][:, None] + 1.0 / size), t)
        unit = t / size[..., None]
        outer = np.einsum("nq,nqk,nql->nkl", part / size, unit, unit)
        round_ = (part * (1.0 / self.EA[own][:, None] + 1.0 / size)).sum(axis=1)
        return place, round_[:, None, None] * np.eye(3) - outer

    def pulls(self, apart: Array, taut_soon: bool = False) -> Pulls:
        """Return how all cables pull.

        Parameters
        ----------
        apart : Array (n, 3)
            From end i to end j of each cable [m].
        taut_soon : bool
            Straight cables that are nearly taut are as stiff as taut ones, without a pull, so that
            a search finds the way back to them.

        Raises
        ------
        CertificateRefused
            If a tension is not found.
        """
        at_i, at_j = np.zeros_like(apart), np.zeros_like(apart)
        stiffness = np.zeros((len(apart), 3, 3))
        taut, hung = np.flatnonzero(self.straight), np.flatnonzero(~self.straight)
        chord = np.linalg.norm(apart[taut], axis=1)
        length = self.length[taut] * self.warm[taut]
        force = np.maximum(self.EA[taut] * (chord / length - 1.0), 0.0)
        along = apart[taut] / chord[:, None]
        lines = along[:, :, None] * along[:, None, :]
        near = chord > (1.0 - _NEARLY) * length if taut_soon else force > 0.0
        firm = np.where(near, self.EA[taut] / length, 0.0)[:, None, None]
        stiffness[taut] = firm * lines + (force / chord)[:, None, None] * (np.eye(3) - lines)
        half = (0.5 * self.weight[taut] * self.length[taut])[:, None] * _UP
        at_i[taut], at_j[taut] = force[:, None] * along - half, force[:, None] * along + half
        F, flexible = self._hang(apart[hung], hung)
        at_i[hung] = F
        at_j[hung] = F + (self.weight[hung] * self.length[hung])[:, None] * _UP
        stiffness[hung] = np.linalg.inv(flexible)
        return Pulls(at_i, at_j, stiffness)

    def _hang(self, apart: Array, own: Array) -> tuple[Array, Array]:
        if len(own) == 0:
            return np.zeros((0, 3)), np.zeros((0, 3, 3))
        length = self.length[own]
        F = self._guess(apart, own) if self._last is None else self._last.copy()
        place, matrix = self._along(F, own, length)
        off = apart - place
        for _ in range(_STEPS):
            step = np.linalg.solve(matrix, off[..., None])[..., 0]
            share = np.ones(len(own))
            for _ in range(40):
                place, matrix = self._along(F + share[:, None] * step, own, length)
                worse = np.linalg.norm(apart - place, axis=1) > np.linalg.norm(off, axis=1) + 1e-12
                if not worse.any():
                    break
                share[worse] *= 0.5
            F, off = F + share[:, None] * step, apart - place
            if (np.abs(off).max(axis=1) <= 1e-11 * length).all():
                self._last = F
                return F, matrix
        raise CertificateRefused(["the tension of a cable was not found a second time"])

    def _guess(self, apart: Array, own: Array) -> Array:
        """Stretched straight, or a parabola with the sag that its spare length makes."""
        chord = np.linalg.norm(apart, axis=1)
        length = self.length[own] * self.warm[own]
        spare = np.maximum(length - chord, 1e-6 * chord)
        parabola = self.weight[own] * chord / (8.0 * np.sqrt(0.375 * spare / chord))
        force = np.maximum(self.EA[own] * (chord / length - 1.0), parabola)
        half = 0.5 * self.weight[own] * self.length[own]
        return force[:, None] * apart / chord[:, None] - half[:, None] * _UP
