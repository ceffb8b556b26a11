"""Free expansion about the fixed point."""

from __future__ import annotations

import numpy as np
import pytest

from fitup.model import Segment
from fitup.survey.temperature import growth

FIXED = np.array([100.0, 200.0, 50.0])


def steel(alpha=12e-6, fixed=FIXED):
    return Segment("A1", 0.0, 1e6, np.zeros(3), frozenset(), alpha, fixed)


def test_a_cold_deck_is_short():
    # 320 m of steel 9 K below the reference is 34.56 mm short
    design = np.add(FIXED, [0.0, 320.0, 0.0])
    assert growth(design, steel(), -9.0) == pytest.approx([0.0, -0.03456, 0.0], abs=1e-12)


def test_the_fixed_point_does_not_move():
    assert np.array_equal(growth(FIXED, steel(), 36.85), np.zeros(3))


def test_expansion_in_every_direction():
    design = np.add(FIXED, [10.0, -20.0, 3.0])
    assert growth(design, steel(), 10.0) == pytest.approx([1.2e-3, -2.4e-3, 0.36e-3], abs=1e-9)


def test_without_a_model_nothing_moves():
    design = np.add(FIXED, [0.0, 320.0, 0.0])
    assert np.array_equal(growth(design, steel(None, None), 36.85), np.zeros(3))


def test_many_points_at_once_equal_one_by_one():
    design = FIXED + np.arange(12.0).reshape(4, 3)
    together = growth(design, steel(), 6.85)
    assert np.array_equal(together, np.array([growth(d, steel(), 6.85) for d in design]))
