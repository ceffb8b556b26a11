"""From sights and levelling to observations with their standard uncertainties.

A direction or zenith angle read in one face has the root of two times the uncertainty of both
faces. Where a target is sighted in n sets from one set-up, its centring is the same in all of
them: it enters each with n times its variance, so that the mean has it once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from fitup.frames import Array
from fitup.network.observations import (
    Kind,
    LevelledDifference,
    Observation,
    Setup,
    Sight,
    station,
)


def observations_of(
    setups: Mapping[str, Setup],
    sights: Sequence[Sight],
    levels: Sequence[LevelledDifference],
    places: Mapping[str, Array],
) -> tuple[Observation, ...]:
    """Return every observation, named ``setup/target/kind`` or ``level/start/end``.

    A second and later set carries its number at the end of the name.

    Parameters
    ----------
    setups : mapping of str to Setup
        By id.
    sights : sequence of Sight
        Corrected readings.
    levels : sequence of LevelledDifference
    places : mapping of str to Array (3,)
        Approximate place of every node, for what centring does to an angle [m].
    """
    result: list[Observation] = []
    for sight in sights:
        result += _of_sight(setups[sight.setup], sight, places)
    for run in levels:
        tail = f"/{run.number}" if run.number > 1 else ""
        result.append(
            Observation(
                f"level/{run.start}/{run.end}{tail}",
                "dh",
                run.start,
                run.end,
                run.difference,
                run.u,
                row=run.row,
            )
        )
    return tuple(result)


def _of_sight(setup: Setup, sight: Sight, places: Mapping[str, Array]) -> list[Observation]:
    """Direction, zenith angle and distance of one set, as far as they were read."""
    instrument, node = setup.instrument, station(setup)
    step = places[sight.target] - places[node]
    flat = max(float(np.hypot(step[0], step[1])), 0.1)
    if sight.sd is not None and sight.v is not None:
        flat = max(sight.sd * math.sin(sight.v), 0.1)
    length = flat if sight.v is None else flat / max(math.sin(sight.v), 1e-3)
    over = instrument.centring if setup.over is not None else 0.0
    marks = over**2 + sight.sets * instrument.target_centring**2
    faces = math.sqrt(2.0) if sight.faces == 1 else 1.0
    measured = (setup.over is not None) + (sight.target_height != 0.0)
    heights = sight.sets * measured * instrument.u_height**2
    across = math.cos(sight.v) if sight.v is not None else 0.0
    spreads: dict[Kind, float] = {
        "hz": math.hypot(instrument.u_hz * faces, math.sqrt(marks) / flat),
        "v": math.sqrt((instrument.u_v * faces) ** 2 + (heights + marks * across**2) / length**2),
        "sd": math.hypot(instrument.u_sd + instrument.u_sd_share * length, math.sqrt(marks)),
    }
    tail = f"/{sight.set}" if sight.set > 1 else ""
    read: tuple[tuple[Kind, float | None], ...] = (
        ("hz", sight.hz),
        ("v", sight.v),
        ("sd", sight.sd),
    )
    return [
        Observation(
            f"{sight.id}/{kind}{tail}",
            kind,
            node,
            sight.target,
            value,
            spreads[kind],
            setup.height if setup.over is not None else 0.0,
            sight.target_height,
            setup.id,
            sight.row,
        )
        for kind, value in read
        if value is not None
    ]
