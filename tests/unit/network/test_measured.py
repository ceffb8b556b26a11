"""What an observation's standard uncertainty is made of."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from fitup.model import Instrument
from fitup.network.measured import observations_of
from fitup.network.observations import Setup, Sight

EXACT = {"u_hz": 3e-6, "u_v": 4e-6, "u_sd": 0.001, "u_sd_share": 2e-6}
PLACES = {
    "set-up S": np.zeros(3),
    "M": np.array([0.0, 0.0, 0.0]),
    "T": np.array([0.0, 100.0, 0.0]),
}
#: 100 m level ahead, in the plane of the instrument
LEVEL = {"hz": 0.0, "v": math.pi / 2.0, "sd": 100.0}


def spreads(
    over: str | None = None, sets: int = 1, faces: int = 2, **more: Any
) -> dict[str, float]:
    height = more.pop("target_height", 0.0)
    instrument = Instrument("I", **{**EXACT, **more})
    setups = {"S": Setup("S", instrument, over, 1.5 if over else 0.0, 2)}
    sight = Sight("S", "T", 1, sets, *LEVEL.values(), faces, height, 0.0, 0.0, 2)
    return {o.kind: o.u for o in observations_of(setups, [sight], (), PLACES)}


def test_as_the_instrument_is_stated():
    assert spreads() == pytest.approx({"hz": 3e-6, "v": 4e-6, "sd": 0.0012})


def test_one_face_counts_with_the_root_of_two():
    found = spreads(faces=1)
    root = math.sqrt(2.0)
    assert found == pytest.approx({"hz": 3e-6 * root, "v": 4e-6 * root, "sd": 0.0012})


def test_the_prism_over_its_mark():
    # 0.4 mm at 100 m is 4e-6; across the sight and along it, not in height of a level sight
    found = spreads(target_centring=0.0004)
    assert found["hz"] == pytest.approx(5e-6)
    assert found["sd"] == pytest.approx(math.hypot(0.0012, 0.0004))
    assert found["v"] == pytest.approx(4e-6)


def test_the_prism_errs_alike_in_all_sets():
    """The mean of n sets has the centring once: u^2 / n plus its square."""
    found = spreads(target_centring=0.0004, sets=4)
    assert found["hz"] ** 2 / 4.0 == pytest.approx((3e-6) ** 2 / 4.0 + (4e-6) ** 2)


def test_the_instrument_over_its_mark():
    assert spreads(centring=0.0004)["hz"] == pytest.approx(3e-6)
    assert spreads(over="M", centring=0.0004)["hz"] == pytest.approx(5e-6)


def test_measured_heights():
    assert spreads(u_height=0.0003)["v"] == pytest.approx(4e-6)
    # 0.3 mm at 100 m is 3e-6
    assert spreads(u_height=0.0003, target_height=0.1)["v"] == pytest.approx(5e-6)
    both = spreads(over="M", u_height=0.0003, target_height=0.1)["v"]
    assert both == pytest.approx(math.sqrt(16.0 + 9.0 + 9.0) * 1e-6)
