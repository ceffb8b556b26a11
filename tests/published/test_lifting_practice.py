"""Figures of lifting practice, each marked as what it is.

* Jacks at least 1.5 times the calculated load, lifts that ran up to 1.6 times it: L. Van Lund,
  Seismic retrofit by bearing replacement, Transportation Research Record 1319 (1991), and a state
  DOT's bridge design memorandum of 2001. Read in excerpts, from memory.
* 80 % of capacity at the worst: common practice, no source.
* Load in 10, 25, 50, 75, 90 % and then creeping to lift-off: common practice, no source.
* Plates within 1/4 in (6 mm) of the load: a state DOT's standard specification for temporary
  supports, section 48. Read in excerpts.
"""

from __future__ import annotations

import pytest

from fitup.certify.jacks import SHARES
from fitup.model import Staging, Working


def test_defaults_are_the_published_ones():
    assert Working().jack_reserve == 1.5
    assert Working().follow_up == pytest.approx(0.25 * 0.0254, abs=0.0004)
    assert Staging().worst_reserve == pytest.approx(1.0 / 0.80)


def test_steps_of_the_lift_off():
    assert SHARES == (0.10, 0.25, 0.50, 0.75, 0.90, 1.00)


def test_a_reserve_of_one_and_a_half_does_not_cover_the_published_excess():
    """1.6 times the calculated load passes a jack sized at 1.5: the measured lift-off is needed."""
    calculated = 1.0
    capacity = Working().jack_reserve * calculated
    assert 1.22 * calculated <= capacity / Staging().worst_reserve * 1.02
    assert 1.6 * calculated > capacity
