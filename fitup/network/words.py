"""A network in plain lines: what was measured, corrected, tested and left out."""

from __future__ import annotations

import math

import numpy as np

from fitup.frames import Array
from fitup.model import Job
from fitup.network.congruency import Change
from fitup.network.solve import Solved
from fitup.units import DISPLAY


def network_lines(solved: Solved, units: str) -> tuple[str, ...]:
    """Return the story of a network for the list of what was understood.

    Parameters
    ----------
    solved : Solved
    units : str
        Display units of the job, a key of ``DISPLAY``.
    """
    return (
        *solved.read.understood,
        *corrections_lines(solved, units),
        datum_lines(solved),
        tests_lines(solved),
        *exclusions_lines(solved),
    )


def corrections_lines(solved: Solved, units: str) -> tuple[str, ...]:
    """Say which corrections were made and the most each came to.

    Parameters
    ----------
    solved : Solved
    units : str
        Display units of the job, a key of ``DISPLAY``.
    """
    move = DISPLAY[units].move
    return tuple(
        f"{solved.epoch.file}: {c.name} "
        + (
            f"corrected ({c.says}{f', at most {move.text(c.greatest)}' if c.greatest else ''})"
            if c.on
            else "not corrected"
        )
        for c in solved.corrections
    )


def datum_lines(solved: Solved) -> str:
    """Say what holds the network."""
    if solved.datum:
        names = ", ".join(solved.datum)
        return f"{solved.epoch.file}: free network, laid onto {names} with the least changes"
    held = [n for n, c in solved.control.items() if c.use == "held"]
    weighted = [n for n, c in solved.control.items() if c.use == "weighted"]
    parts = []
    if weighted:
        parts.append(f"{', '.join(weighted)} by their uncertainty")
    if held:
        parts.append(f"{', '.join(held)} held")
    return f"{solved.epoch.file}: control {' and '.join(parts)}"


def tests_lines(solved: Solved) -> str:
    """Say how the residuals compare with what was stated."""
    tested = solved.outcome.tested
    if tested.freedom <= 0:
        return f"{solved.epoch.file}: no redundancy: nothing checks these observations"
    ratio = math.sqrt(tested.factor)
    counted = int(solved.outcome.adjusted.used.sum())
    verdict = "passed" if tested.squares <= tested.limit else "FAILED"
    odd = len(solved.outcome.odd)
    aside = f" ({odd} that {'does' if odd == 1 else 'do'} not fit set aside)" if odd else ""
    return (
        f"{solved.epoch.file}: {counted} observations{aside}, {tested.freedom} more than needed; "
        f"residuals {ratio:.2f} times as large as stated (at most "
        f"{math.sqrt(tested.limit / tested.freedom):.2f}): global test {verdict}"
    )


def exclusions_lines(solved: Solved) -> tuple[str, ...]:
    """Say which observations the engineer left out, and why."""
    by_reason: dict[str, list[str]] = {}
    for name, reason in solved.excluded.items():
        by_reason.setdefault(reason, []).append(name)
    return tuple(
        f"{solved.epoch.file}: {', '.join(names)} left out: {reason}"
        for reason, names in by_reason.items()
    )


def way_words(job: Job, change: Change, shift: Array | None = None) -> str:
    """Say how far a point lies from where it was, each way with its standard uncertainty.

    Parameters
    ----------
    job : Job
    change : Change
    shift : Array (3,), optional
        Told instead of that of the change [m].
    """
    stated = change.shift if shift is None else shift
    move = DISPLAY[job.units].move
    ways = (("east", "west"), ("north", "south"), ("up", "down"))
    parts = [
        f"{move.text(abs(value))} {way[value < 0.0]} (u {move.text(float(u))})"
        for value, u, way in zip(
            stated.tolist(), np.sqrt(np.diag(change.covariance)), ways, strict=True
        )
        if move.number(value) != 0.0
    ]
    return ", ".join(parts)
