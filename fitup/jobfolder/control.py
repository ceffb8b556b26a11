"""Rows of ``control.csv`` and ``instruments.csv`` as values."""

from __future__ import annotations

import math

import numpy as np

from fitup.errors import Problem
from fitup.jobfolder.table import Row, record_of
from fitup.model import ControlPoint, Instrument

_AXES = ("E", "N", "H")


def control(row: Row, problems: list[Problem]) -> ControlPoint | None:
    """Return a control point; None where its row contradicts itself.

    Parameters
    ----------
    row : Row
        Of ``control.csv``.
    problems : list of Problem
        What is wrong is added to it.
    """
    given = [row[a] is not None for a in _AXES]
    u = [row[f"u_{a}"] for a in _AXES]
    use = row["use"]
    before = len(problems)
    if given[0] != given[1]:
        problems.append(
            row.problem("E", "easting or northing alone", "both or none", "fill or clear both")
        )
    if use == "tie" and any(given):
        problems.append(
            row.problem(
                "use", "a tie with coordinates", "weighted or held", "clear them or correct"
            )
        )
    if use != "tie" and not any(given):
        problems.append(
            row.problem(
                "use",
                f"{use} without coordinates",
                "easting and northing, height, or all",
                "give them, or call it a tie",
            )
        )
    for axis, has, value in zip(_AXES, given, u, strict=True):
        if use == "weighted" and has and value is None:
            problems.append(
                row.problem(
                    f"u_{axis}",
                    "an empty cell",
                    "a number above 0",
                    "give the standard uncertainty, or call the point held",
                )
            )
        if value is not None and (use != "weighted" or not has):
            problems.append(
                row.problem(
                    f"u_{axis}",
                    "an uncertainty of nothing weighted",
                    "an empty cell",
                    "clear it or correct use",
                )
            )
    if len(problems) > before:
        return None
    spread = np.array([0.0 if value is None else value for value in u])
    en, eh, nh = row["r_EN"], row["r_EH"], row["r_NH"]
    correlation = np.array([[1.0, en, eh], [en, 1.0, nh], [eh, nh, 1.0]])
    if np.linalg.eigvalsh(correlation)[0] <= 0.0:
        problems.append(
            row.problem(
                "r_EN",
                "correlations that contradict each other",
                "a positive matrix",
                "correct them",
            )
        )
        return None
    position = np.array([math.nan if row[a] is None else row[a] for a in _AXES])
    covariance = correlation * np.outer(spread, spread)
    return record_of(ControlPoint, row, position=position, covariance=covariance)


def instrument(row: Row, problems: list[Problem]) -> Instrument | None:
    """Return an instrument; None where its row contradicts itself.

    Parameters
    ----------
    row : Row
        Of ``instruments.csv``.
    problems : list of Problem
        What is wrong is added to it.
    """
    wavelength, reference = row["wavelength_nm"], row["reference"]
    pressure = row["reference_pressure"]
    whole = [v is not None for v in (wavelength, reference, pressure)]
    if any(whole) and not all(whole):
        problems.append(
            row.problem(
                "wavelength_nm",
                "wavelength and reference air not both whole",
                "wavelength, reference temperature and pressure, or none of them",
                "fill or clear all three",
            )
        )
        return None
    air = None
    if reference is not None:
        air = (reference, pressure, row["reference_humidity_pct"] / 100.0)
    return record_of(
        Instrument,
        row,
        u_sd_share=row["u_sd_ppm"] * 1e-6,
        wavelength=None if wavelength is None else wavelength / 1000.0,
        reference=air,
    )
