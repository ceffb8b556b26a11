"""The plan as a film: the settings of all seats after every increment of every stage."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from fitup.certify.facts import Certificate
from fitup.model import Plan, Stage
from fitup.pages.review_facts import FilmStep
from fitup.sheets.words import joined


def film_of(plan: Plan, certificate: Certificate) -> tuple[FilmStep, ...]:
    """Return the states on the way, the surveyed one first.

    Stages of one number are worked by several crews that do not wait for each other; the film
    shows them in step.

    Parameters
    ----------
    plan, certificate

    Returns
    -------
    tuple of FilmStep
        One after every increment; settings in the order of ``plan.seats`` [m].
    """
    names = [seat.seat for seat in plan.seats]
    column = {name: i for i, name in enumerate(names)}
    number = {fact.id: i for i, fact in enumerate(certificate.checks)}
    at = [0.0] * len(names)
    steps = [FilmStep("As surveyed", tuple(at))]
    for stage_number, group in groupby(plan.stages, key=lambda stage: stage.number):
        crews = tuple(group)
        for label, states in _increments(crews):
            for stage, settings in zip(crews, states, strict=True):
                for seat, value in zip(stage.seats, settings, strict=True):
                    at[column[seat]] = value
            steps.append(FilmStep(f"Stage {stage_number}, {label}", tuple(at)))
        readings = {
            number[read.check]: read.expect
            for fact in certificate.stages
            if fact.number == stage_number
            for read in fact.expected
        }
        seats = joined(tuple(seat for stage in crews for seat in stage.seats))
        done = f"Stage {stage_number} done: {seats} on their new packs or nuts"
        steps[-1] = FilmStep(done, tuple(at), tuple(readings.items()))
    return tuple(steps)


def _increments(crews: tuple[Stage, ...]) -> Iterator[tuple[str, list[tuple[float, ...]]]]:
    """Yield label and settings of every crew after each increment, up and then down."""
    for word, way in (("on the way up", "up"), ("on the way down", "down")):
        rows: list[tuple[tuple[float, ...], ...]] = [getattr(stage, way) for stage in crews]
        most = max(len(own) for own in rows)
        for k in range(most):
            states = []
            for stage, own in zip(crews, rows, strict=True):
                before = stage.start if way == "up" or not stage.up else stage.up[-1]
                states.append(own[min(k, len(own) - 1)] if own else before)
            yield f"{word}, reading {k + 1} of {most}", states
