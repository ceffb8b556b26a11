"""Many cables at once pull as each does alone, taut, slack or plumb, wherever they hung before."""

from __future__ import annotations

import numpy as np
import pytest

from fitup.structure.cable.catenary import Cable
from fitup.structure.cable.element import CableElement
from fitup.structure.cable.many import Cables


def cables(seed: int) -> list[CableElement]:
    rng = np.random.default_rng(seed)
    result = []
    for k in range(12):
        ends = rng.uniform(-50.0, 50.0, (2, 3))
        if k == 3:
            # on one plumb line
            ends[1, :2] = ends[0, :2]
        chord = float(np.linalg.norm(ends[1] - ends[0]))
        form = "straight" if k % 3 == 2 else "catenary"
        cable = Cable(f"C{k}", chord * rng.uniform(0.998, 1.2), 1e9, 2e3, 1e-4)
        result.append(CableElement(cable, form, ("i", "j"), ends, pushes=k == 5))
    return [e.moved(0.2) if k == 4 else e for k, e in enumerate(result)]


@pytest.mark.parametrize("seed", range(6))
def test_as_each_alone(seed: int) -> None:
    own = cables(seed)
    together = Cables(own)
    rng = np.random.default_rng(seed)
    # far moves one after the other: each begins from where the last ended
    for size in (0.0, 5.0, 0.1, 20.0):
        u = rng.normal(size=(len(own), 6)) * size
        forces, tangents = together.resist(u)
        for k, element in enumerate(own):
            alone, tangent = element.forces_and_tangent(u[k])
            assert forces[k] == pytest.approx(alone, rel=1e-8, abs=1e-8 * np.abs(alone).max())
            assert tangents[k] == pytest.approx(tangent, rel=1e-6, abs=1e-6 * np.abs(tangent).max())
