"""The columns of an observation file and of a levelling file (docs/survey.md)."""

from __future__ import annotations

from typing import Final

from fitup.model.column import Column
from fitup.model.control import COLDEST, DENSEST, HOTTEST, THINNEST

SHOTS: Final = (
    Column("setup", "id", "the name of the set-up, one for each standing of the instrument"),
    Column("target", "id", "the point sighted"),
    Column("face", "count", "1 or 2", required=False, default=1, least=1, most=2),
    Column("set", "count", "the number of the set", required=False, least=1, most=99),
    Column("hz", "circle", "the horizontal circle reading, clockwise", required=False),
    Column("v", "circle", "the zenith angle, 0 straight up", required=False),
    Column("sd", "length", "the slope distance as displayed", required=False, above=0.0),
    Column(
        "target_height",
        "length",
        "the height of the prism over its mark",
        required=False,
        default=0.0,
        least=-5.0,
        most=5.0,
    ),
    Column(
        "prism",
        "length",
        "the prism constant still to be added to the distance",
        required=False,
        default=0.0,
        least=-0.2,
        most=0.2,
    ),
    Column("instrument", "id", "the instrument, where instruments.csv has several", required=False),
    Column("over", "id", "the point the instrument stands over; empty: free", required=False),
    Column(
        "instrument_height",
        "length",
        "its height over that point",
        required=False,
        least=0.0,
        most=5.0,
    ),
    Column("time", "text", "when it was read, 04:10:35 or a date and time", required=False),
    Column(
        "temperature",
        "temperature",
        "the temperature of the air",
        required=False,
        least=COLDEST,
        most=HOTTEST,
    ),
    Column(
        "pressure",
        "air_pressure",
        "the pressure of the air at the instrument",
        required=False,
        least=THINNEST,
        most=DENSEST,
    ),
    Column(
        "humidity_pct",
        "number",
        "the relative humidity in percent",
        required=False,
        least=0.0,
        most=100.0,
    ),
)
LEVELS: Final = (
    Column("from", "id", "the point the run starts at"),
    Column("to", "id", "the point it ends at"),
    Column("difference", "length", "height of the end less height of the start"),
    Column("u", "length", "the standard uncertainty of the difference", above=0.0),
)
