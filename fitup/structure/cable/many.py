"""Many cables at once: the same equations as one, over arrays, begun from where they last hung.

See :mod:`fitup.structure.cable.catenary` for the integrals and :mod:`fitup.structure.cable.hang`
for the search; a cable that does not come to an end here is hung alone, which says why.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitup.frames import Array
from fitup.structure.cable.catenary import LEAST_SPAN
from fitup.structure.cable.element import CableElement
from fitup.structure.cable.hang import first_tension, hang

_MOST_STEPS, _HALVES = 60, 30
_UP = np.array([0.0, 0.0, 1.0])


class Cables:
    """The cables among the elements of a structure."""

    def __init__(self, elements: Sequence[CableElement]) -> None:
        self.elements = tuple(elements)
        n = len(self.elements)
        ends = [e.ends for e in elements]
        self.apart = np.array([e[1] - e[0] for e in ends]).reshape(n, 3)
        drawn = [e.drawn * e.anchorage if e.drawn else np.zeros(3) for e in elements]
        self.apart = self.apart + np.array(drawn).reshape(n, 3)
        self.length = np.array([e.cable.warm_length for e in elements])
        self.EA = np.array([e.cable.EA for e in elements])
        self.weight = np.array([e.cable.warm_weight for e in elements])
        self.gain = np.array([e.cable.weight * e.cable.length for e in elements])
        straight = np.array([e.form == "straight" for e in elements], dtype=bool)
        self.pushes = np.array([e.pushes for e in elements], dtype=bool)
        self.taut, self.hung = np.flatnonzero(straight), np.flatnonzero(~straight)
        self._last: tuple[Array, Array] | None = None

    def resist(self, u: Array) -> tuple[Array, Array]:
        """Return forces (n, 6) that hold their ends at motions (n, 6), and tangents (n, 6, 6)."""
        apart = self.apart + u[:, 3:] - u[:, :3]
        at_i, stiffness = np.zeros_like(apart), np.zeros((len(apart), 3, 3))
        at_i[self.taut], stiffness[self.taut] = self._straight(apart[self.taut])
        at_i[self.hung], stiffness[self.hung] = self._catenary(apart[self.hung])
        at_j = at_i.copy()
        at_j[self.hung] += self.gain[self.hung, None] * _UP
        forces = np.concatenate([-at_i, at_j], axis=1)
        half = 0.5 * self.gain[self.taut]
        forces[self.taut, 2] += half
        forces[self.taut, 5] += half
        upper = np.concatenate([stiffness, -stiffness], axis=2)
        return forces, np.concatenate([upper, -upper], axis=1)

    def _straight(self, apart: Array) -> tuple[Array, Array]:
        own = self.taut
        chord = np.maximum(np.linalg.norm(apart, axis=1), 1e-300)
        tension = self.EA[own] * (chord / self.length[own] - 1.0)
        carries = (tension > 0.0) | self.pushes[own]
        tension = np.where(carries, tension, 0.0)
        along = apart / chord[:, None]
        line = along[:, :, None] * along[:, None, :]
        axial = np.where(carries, self.EA[own] / self.length[own], 0.0)[:, None, None]
        stiffness = axial * line + (tension / chord)[:, None, None] * (np.eye(3) - line)
        return tension[:, None] * along, stiffness

    def _catenary(self, apart: Array) -> tuple[Array, Array]:
        own = self.hung
        span = np.hypot(apart[:, 0], apart[:, 1])
        level = np.maximum(span, 1e-12)[:, None]
        towards = np.where(span[:, None] < 1e-12, [1.0, 0.0], apart[:, :2] / level)
        h, z = self._hang(np.maximum(span, LEAST_SPAN * self.length[own]), apart[:, 2])
        _, (fxx, fyy, fxy, aside) = _cable(h, z, self.length[own], self.weight[own], self.EA[own])[
            :2
        ]
        det = fxx * fyy - fxy * fxy
        x = np.column_stack([towards, np.zeros(len(own))])
        y = np.column_stack([-towards[:, 1], towards[:, 0], np.zeros(len(own))])

        def both(a: Array, b: Array) -> Array:
            return np.asarray(a[:, :, None] * b[:, None, :])

        up = np.broadcast_to(_UP, x.shape)
        stiffness = (fyy / det)[:, None, None] * both(x, x) + (fxx / det)[:, None, None] * both(
            up, up
        )
        stiffness -= (fxy / det)[:, None, None] * (both(x, up) + both(up, x))
        stiffness += (1.0 / aside)[:, None, None] * both(y, y)
        return h[:, None] * x + z[:, None] * _UP, stiffness

    def _hang(self, span: Array, rise: Array) -> tuple[Array, Array]:
        """Return the level and the upward part of the tension at end i (n,) [N]."""
        own = self.hung
        length, weight, EA = self.length[own], self.weight[own], self.EA[own]
        if self._last is None:
            first = [
                first_tension(self.elements[k].cable, s, r)
                for k, s, r in zip(own.tolist(), span.tolist(), rise.tolist(), strict=True)
            ]
            h, z = np.array(first).reshape(len(own), 2).T
        else:
            h, z = self._last
        scale = np.maximum(length, np.hypot(span, rise))
        open_ = np.ones(len(own), dtype=bool)
        for _ in range(_MOST_STEPS):
            (x, y), (fxx, fyy, fxy, _), around, _ = _cable(h, z, length, weight, EA)
            gx, gy = x - span, y - rise
            det = fxx * fyy - fxy * fxy
            dh, dz = -(fyy * gx - fxy * gy) / det, -(fxx * gy - fxy * gx) / det
            off, change = np.hypot(gx, gy), np.hypot(dh, dz)
            near = (off <= 2e-14 * scale) | ((off <= 1e-13 * scale) & (change <= 0.5e-9 * around))
            share = self._shares((h, z), (dh, dz), (gx, gy), (span, rise), open_ & ~near)
            h, z = h + np.where(open_, share, 0.0) * dh, z + np.where(open_, share, 0.0) * dz
            open_ = open_ & ~near
            if not open_.any():
                break
        h, z = h.copy(), z.copy()
        for k in np.flatnonzero(open_):
            alone = hang(self.elements[own[k]].cable, float(span[k]), float(rise[k]))
            h[k], z[k] = alone.level, alone.start
        self._last = h, z
        return h, z

    def _shares(
        self,
        at: tuple[Array, Array],
        way: tuple[Array, Array],
        off: tuple[Array, Array],
        apart: tuple[Array, Array],
        search: Array,
    ) -> Array:
        """Return shares of Newton steps that lower the complementary energy less t.d."""
        own = self.hung
        length, weight, EA = self.length[own], self.weight[own], self.EA[own]
        gain = weight * length

        def energy(h: Array, z: Array) -> tuple[Array, Array]:
            (x, y), _, _, work = _cable(h, z, length, weight, EA)
            middle = (h * h + (z + 0.5 * gain) ** 2 + gain * gain / 12.0) / (2.0 * EA)
            value = length * middle + work - h * apart[0] - z * apart[1]
            return value, (x - apart[0]) * way[0] + (y - apart[1]) * way[1]

        slope = off[0] * way[0] + off[1] * way[1]
        share = np.ones(len(own))
        # less than the energy can be told apart by needs no search
        wait = search & (-slope > 1e-13 * length * np.hypot(*at))
        if not wait.any():
            return share
        first = energy(*at)[0]
        for _ in range(_HALVES):
            value, now = energy(at[0] + share * way[0], at[1] + share * way[1])
            good = (value <= first + 1e-4 * share * slope) | (np.abs(now) <= 0.1 * np.abs(slope))
            wait = wait & ~good
            if not wait.any():
                break
            share = np.where(wait, 0.5 * share, share)
        return share


def _cable(
    h: Array, z1: Array, length: Array, weight: Array, EA: Array
) -> tuple[tuple[Array, Array], tuple[Array, Array, Array, Array], Array, Array]:
    """Return where ends are apart, flexibilities, T1 + T2 and the integral of T, over arrays."""
    gain = weight * length
    z2 = z1 + gain
    T1, T2 = np.hypot(h, z1), np.hypot(h, z2)
    around, product = T1 + T2, T1 * T2
    rest = _sum(h, T1, z1) + _sum(h, T2, -z2)
    inverse = 2.0 * length / around * _artanhc(gain / around, rest / around)
    both = z1 * z2
    alike = h * h * (h * h + z1 * z1 + z2 * z2) / np.where(both > 0.0, product + both, 1.0)
    across = np.where(both > 0.0, alike, product - both)
    squares = length * (h * h + across) / (around * product)
    mixed = length * h * (z1 + z2) / (around * product)
    work = 0.5 * (length * (z1 * (z1 + z2) / around + T2) + h * h * inverse)
    stretch = length / EA
    apart = (
        h * (stretch + inverse),
        length * (z1 + z2) * (0.5 / EA + 1.0 / around),
    )
    soft = (stretch + inverse - squares, stretch + squares, -mixed, stretch + inverse)
    return apart, soft, around, work


def _artanhc(u: Array, rest: Array) -> Array:
    """Return artanh(u) / u from u and 1 - u, also at zero."""
    safe = np.clip(u, 1e-4, 0.5)
    far = 0.5 * np.log((1.0 + u) / np.maximum(rest, 1e-300)) / np.maximum(u, 0.5)
    return np.where(u > 0.5, far, np.where(u > 1e-4, np.arctanh(safe) / safe, 1.0 + u * u / 3.0))


def _sum(h: Array, T: Array, z: Array) -> Array:
    """Return T + z for T^2 = h^2 + z^2, also where z is near -T."""
    return np.where(z >= 0.0, T + z, h * h / np.where(z >= 0.0, 1.0, T - z))
