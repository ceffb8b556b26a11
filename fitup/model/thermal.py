"""How a frame answers to the steel of its segments: where points go, how faces turn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fitup.frames import Array


@dataclass(frozen=True, eq=False)
class ThermalResponse:
    """What one kelvin does, segment by segment, with every bearing as it is in the frame.

    Columns: the mean temperature of each of the s segments in the order of the job, then the top
    less bottom temperature of each. A member of no segment is as warm as the segments it is built
    together with; what no segment is built together with, cables first of all, as warm as all
    segments on the mean. Both have their part in the columns of means.

    Parameters
    ----------
    expansion : Array (s,)
        Coefficients of the segments it was computed with [1/K]; zero: without.
    points : mapping of str to Array (3, 2 s)
        Check point -> [m/K].
    faces : mapping of (str, str) to Array (3, 2 s)
        Joint and segment -> turn of the segment's face there, right-handed [rad/K].
    reactions : Array (n, 2 s)
        Of every seat in the order of the job, those that carry as surveyed [N/K].
    apart : ThermalResponse, optional
        One column, for what no segment is built together with being one kelvin warmer.
    """

    expansion: Array
    points: Mapping[str, Array]
    faces: Mapping[tuple[str, str], Array]
    reactions: Array
    apart: ThermalResponse | None = None
