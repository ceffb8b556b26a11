"""Stations as people write them, and station equations."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitup.alignment.stations import Equation, Stations

METRIC = Stations(0.0, 30e3)
FEET = Stations(0.0, 30e3, "ft")
#: back of 1+200 comes 5+000 (a gap in the numbers); back of 5+300 comes 5+100 (an overlap)
JUMPS = Stations(
    1000.0, 2000.0, "m", (Equation(1200.0, 1200.0, 5000.0), Equation(1500.0, 5300.0, 5100.0))
)


@pytest.mark.parametrize(
    ("stations", "text", "inside"),
    [
        (METRIC, "12+345.678", 12345.678),
        (METRIC, "km 0+000", 0.0),
        (METRIC, "  3+001.5 ", 3001.5),
        (FEET, "123+45.67", 12345.67 * 0.3048),
        (Stations(0.0, 9e3, "ftUS"), "1+00", 100 * 1200 / 3937),
        (Stations(-200.0, 9e3), "-0+153.100", -153.1),
        (Stations(-200.0, 9e3), "minus 0+153.100", -153.1),
        (JUMPS, "1+100.000", 1100.0),
        (JUMPS, "5+050.000", 1250.0),
        (JUMPS, "5+150.000 zone 2", 1350.0),
        (JUMPS, "5+150.000 zone 3", 1550.0),
    ],
)
def test_read(stations: Stations, text: str, inside: float):
    assert stations.inside(text) == pytest.approx(inside, abs=1e-9)


@pytest.mark.parametrize(
    ("stations", "text", "message"),
    [
        (
            METRIC,
            "123+45.67",
            "a station in metres with 3 digits after the plus, such as 12+345.678",
        ),
        (FEET, "12+345.6", "a station in feet with 2 digits after the plus, such as 123+45.67"),
        (METRIC, "12345", "a station in metres with 3 digits after the plus, such as 12+345.678"),
        (METRIC, "31+000.000", "a station of the alignment, 0+000.000 to 30+000.000"),
        (
            JUMPS,
            "3+000.000",
            "a station of the alignment, 1+000.000 to 1+200.000 in zone 1, 5+000.000 to 5+300.000 "
            "in zone 2, 5+100.000 to 5+600.000 in zone 3",
        ),
        (
            JUMPS,
            "5+150.000",
            "'5+150.000 zone 2' or '5+150.000 zone 3': the station occurs in more than one zone",
        ),
    ],
)
def test_refused(stations: Stations, text: str, message: str):
    with pytest.raises(ValueError) as refused:
        stations.inside(text)
    assert str(refused.value) == message


@given(st.floats(1000.0, 2000.0))
def test_written_and_read_again(inside: float):
    assert JUMPS.inside(JUMPS.text(inside, 6)) == pytest.approx(inside, abs=1e-6)


def test_a_station_rolls_over():
    assert METRIC.text(1999.99996, 4) == "2+000.0000"
    assert FEET.text(0.3048 * 199.999, 2) == "2+00.00"
