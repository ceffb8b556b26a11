"""Free expansion out, about the fixed point, and back again."""

from __future__ import annotations

import numpy as np
import pytest

from fitup.model import Segment
from fitup.survey.temperature import to_reference

FIXED = np.array([100.0, 200.0, 50.0])


def steel(alpha=12e-6, fixed=FIXED):
    return Segment("A1", 0.0, 1e6, np.zeros(3), frozenset(), alpha, fixed)


def test_a_warm_deck_is_brought_back():
    # 320 m of steel 9 K below the reference is 34.56 mm short
    design = np.add(FIXED, [0.0, 320.0, 0.0])
    found = to_reference(design - [0.0, 0.03456, 0.0], design, steel(), 284.15, 293.15)
    assert found == pytest.approx(design, abs=1e-12)


def test_the_fixed_point_does_not_move():
    assert np.array_equal(to_reference(FIXED, FIXED, steel(), 330.0, 293.15), FIXED)


def test_expansion_in_every_direction():
    design = np.add(FIXED, [10.0, -20.0, 3.0])
    found = to_reference(design, design, steel(), 303.15, 293.15)
    assert found - design == pytest.approx([-1.2e-3, 2.4e-3, -0.36e-3], abs=1e-9)


def test_without_a_model_nothing_is_changed():
    design = np.add(FIXED, [0.0, 320.0, 0.0])
    assert to_reference(design, design, steel(None, None), 330.0, 293.15) is design


def test_many_points_at_once_equal_one_by_one():
    design = FIXED + np.arange(12.0).reshape(4, 3)
    found = design + 0.01
    together = to_reference(found, design, steel(), 300.0, 293.15)
    single = [
        to_reference(f, d, steel(), 300.0, 293.15) for f, d in zip(found, design, strict=True)
    ]
    assert np.array_equal(together, np.array(single))
