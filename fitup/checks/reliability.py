"""What an error that nobody would have noticed does to a joint: external reliability.

An observation may be off by its smallest detectable error without standing out. What that does
to every check, direct readings combined in, is computed for all observations at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitup.checks.readings import read_rows, reading_gain, used_readings
from fitup.checks.state import surveyed_checks
from fitup.frames import Array
from fitup.model import Check, CheckState, Job
from fitup.network.reliability import unseen_effects
from fitup.network.report import reach_of
from fitup.network.solve import Solved
from fitup.survey.points import Survey


@dataclass(frozen=True, slots=True)
class Unseen:
    """The worst unseen error for one check: an observation, how large, and what it does."""

    check: Check
    observation: str
    kind: str
    at_target: float
    """Smallest error that is found, as a length at the target [m]."""
    effect: float
    """What it would do to the check [m or m/m]."""


def unseen_at_joints(job: Job, survey: Survey, state: CheckState) -> tuple[Unseen, ...]:
    """Return the worst unseen error for every check, in the order of the checks.

    Checks that no observed epoch touches are left out.

    Parameters
    ----------
    job, survey, state
    """
    _, jacobian = surveyed_checks(job, survey, state.checks)
    readings = used_readings(job)
    if readings:
        rows = read_rows(job, state.checks, readings)
        u = np.array([r.uncertainty for r in readings])
        _, keep = reading_gain(jacobian @ survey.covariance @ jacobian.T, rows, u)
        jacobian = keep @ jacobian
    found: dict[int, Unseen] = {}
    for epoch, solved in survey.solved.items():
        effects = np.nan_to_num(_effects(solved, survey, jacobian, epoch))
        for i, check in enumerate(state.checks):
            worst = int(np.abs(effects[:, i]).argmax())
            effect = float(effects[worst, i])
            if effect == 0.0 or (i in found and abs(found[i].effect) >= abs(effect)):
                continue
            observation = solved.network.observations[worst]
            size = float(solved.outcome.tested.detectable[worst]) * reach_of(solved, worst)
            found[i] = Unseen(check, observation.id, observation.kind, size, effect)
    return tuple(found[i] for i in sorted(found))


def _effects(solved: Solved, survey: Survey, jacobian: Array, epoch: int) -> Array:
    """Effects (m, q) of the unseen errors of one epoch on the checks."""
    network = solved.network
    functions = np.zeros((len(jacobian), network.unknowns))
    for i, (name, point) in enumerate(survey.points.items()):
        if point.epoch != epoch:
            continue
        columns = network.columns[network.index(name)]
        free = columns >= 0
        functions[:, columns[free]] += jacobian[:, 3 * i : 3 * i + 3][:, free]
    return unseen_effects(solved.outcome.adjusted, solved.outcome.tested, functions)
