"""Units: there and back, one scale for all, and nothing lost on paper beyond the last digit."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.units import DISPLAY, FACTORS, TEMPERATURES, from_si, suffixes, to_si

CASES = settings(max_examples=60, deadline=None, derandomize=True)
PLACES = [
    *((d, s) for d in FACTORS for s in FACTORS[d]),
    *(("temperature", s) for s in TEMPERATURES),
]
numbers = st.floats(-1e9, 1e9)


@CASES
@given(numbers)
@pytest.mark.parametrize(("dimension", "suffix"), PLACES)
def test_there_and_back(dimension: str, suffix: str, value: float) -> None:
    back = from_si(to_si(value, dimension, suffix), dimension, suffix)
    assert back == pytest.approx(
        value, rel=1e-12, abs=1e-12 if dimension != "temperature" else 1e-6
    )


@CASES
@given(numbers, numbers)
@pytest.mark.parametrize(("dimension", "suffix"), PLACES)
def test_differences_have_one_scale(
    dimension: str, suffix: str, first: float, second: float
) -> None:
    step = "temperature_step" if dimension == "temperature" else dimension
    difference = to_si(first, dimension, suffix) - to_si(second, dimension, suffix)
    expected = to_si(first - second, step, suffix)
    assert difference == pytest.approx(expected, rel=1e-9, abs=1e-6 * to_si(1.0, step, suffix))


@pytest.mark.parametrize("dimension", [*FACTORS, "temperature"])
def test_first_unit_is_si_but_for_temperature_and_time(dimension: str) -> None:
    first = suffixes(dimension)[0]
    if dimension == "time":
        assert to_si(1.0, "time", "h") == 60.0 * to_si(1.0, "time", "min") == 3600.0
    elif dimension == "temperature":
        assert to_si(0.0, "temperature", first) == 273.15
    else:
        assert to_si(1.0, dimension, first) == 1.0
    with pytest.raises(KeyError):
        to_si(1.0, dimension, "furlong")


SHOWN = [
    (system, name)
    for system in DISPLAY
    for name in ("coordinate", "move", "plate", "force", "pressure", "slope", "temperature")
]


@CASES
@given(st.floats(-1e6, 1e6))
@pytest.mark.parametrize(("system", "name"), SHOWN)
def test_a_printed_number_is_within_half_a_step(system: str, name: str, value: float) -> None:
    shown = getattr(DISPLAY[system], name)
    error = abs(shown.back(shown.number(value)) - value)
    assert error <= shown.half_step * (1.0 + 1e-6) + 1e-12 * abs(value) + 1e-9
    assert not shown.text(value, unit=False).startswith("-0.0 ")
    assert float(shown.text(value, unit=False)) == pytest.approx(shown.number(value), abs=1e-12)
