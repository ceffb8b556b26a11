"""Before going out: how sure planned set-ups would make every check, and what they would miss.

Uncertainty and reliability of a network hang on its shape and its instruments, not on what will be
read: exact readings from the design stand for those to come (F. R. Helmert's design of networks;
W. Baarda 1968 for what is found).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.checks.reliability import Unseen, unseen_at_joints
from fitup.checks.state import joint_state
from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.model import CheckState, Epoch, Job, NetworkRules
from fitup.network.congruency import control_changes
from fitup.network.planned import PlannedSetup, exact_readings, places_of
from fitup.network.solve import Solved, solve
from fitup.survey.observed import adjusted_list
from fitup.survey.reduce import reduce_survey

#: no more single sights are tried, in the order of the tables
MOST_TRIED: Final = 150


@dataclass(frozen=True, eq=False)
class Preanalysis:
    """What planned set-ups would give."""

    state: CheckState
    """Every check with its covariance; its values are those of the design."""
    unseen: tuple[Unseen, ...]
    control: Mapping[str, float]
    """Control point -> greatest movement that would pass unseen [m]; empty: none can be tested."""
    untested: tuple[str, ...]
    """Control points sighted whose movement nothing would show."""
    unchecked: tuple[str, ...]
    """Targets of the deck of which a reading could be off by any amount without being found."""

    @property
    def u(self) -> Array:
        """Standard uncertainty (m,) of every check [m or m/m]."""
        return np.sqrt(np.clip(np.diag(self.state.covariance), 0.0, None))

    @property
    def effects(self) -> Array:
        """What the worst error that is just not found does to every check (m,) [m or m/m]."""
        found = {one.check.id: abs(one.effect) for one in self.unseen}
        return np.array([found.get(check.id, 0.0) for check in self.state.checks])

    @property
    def score(self) -> float:
        """Squares of uncertainty and unseen effect over the tolerance, summed over the checks."""
        tolerance = np.array([c.tolerance or np.inf for c in self.state.checks])
        return float(((self.u**2 + self.effects**2) / tolerance**2).sum())


@dataclass(frozen=True, slots=True)
class SightTried:
    """One sight more or less: what it makes of the plan."""

    setup: str
    target: str
    gain: float
    """Share by which the score falls; below zero it rises."""
    worse: float
    """Most that uncertainty or unseen effect of a check rises, in shares of its tolerance; infinite
    where a reading is left that nothing checks."""
    u: float
    """Greatest uncertainty of a check over its tolerance with it."""
    effect: float
    """Greatest unseen effect over a tolerance with it."""


def preanalysis(job: Job, planned: Sequence[PlannedSetup]) -> Preanalysis:
    """Return what planned set-ups would give at the joints.

    Parameters
    ----------
    job : Job
        With its response to temperature, where it has a frame.
    planned : sequence of PlannedSetup

    Raises
    ------
    SurveyRefused
        If they would not determine the points of every segment.
    """
    bare = _bare(job)
    solved = solve(bare, bare.epochs[0], exact_readings(bare, planned))
    survey = replace(reduce_survey(bare, [adjusted_list(bare, solved, 0)]), solved={0: solved})
    state = joint_state(bare, survey)
    control, untested = _control(solved)
    unseen = unseen_at_joints(bare, survey, state)
    return Preanalysis(state, unseen, control, untested, _unchecked(bare, solved))


def _bare(job: Job) -> Job:
    """The job without what was measured before: readings, temperatures, surveys."""
    epoch = Epoch(
        "planned", "2000-01-01T00:00", job.reference_temperature, 0.0, None, None, None, None, True
    )
    known = {**job.points, **job.control}
    return replace(
        job,
        epochs=(epoch,),
        readings=(),
        thermometers=(),
        excluded={n: why for n, why in job.excluded.items() if n in known},
        network=NetworkRules(datum=job.network.datum, air=False, prism=False, curvature=False),
    )


def _control(solved: Solved) -> tuple[dict[str, float], tuple[str, ...]]:
    sighted = [n for n, c in solved.control.items() if c.given.any()]
    found = control_changes(solved)
    tested = {} if found is None else {c.id: c.unseen for c in found.changes}
    seen = {n: size for n, size in tested.items() if np.isfinite(size)}
    return seen, tuple(n for n in sighted if n not in seen)


def _unchecked(job: Job, solved: Solved) -> tuple[str, ...]:
    network, found = solved.network, np.isfinite(solved.outcome.tested.detectable)
    names = (o.to for o, ok in zip(network.observations, found, strict=True) if not ok)
    return tuple(dict.fromkeys(n for n in names if n in job.points))


def sights_to_add(job: Job, planned: Sequence[PlannedSetup]) -> tuple[SightTried, ...]:
    """Return sights that are not planned, the most useful first.

    Parameters
    ----------
    job, planned
        As for :func:`preanalysis`.
    """
    names = places_of(job)
    tries = [
        (setup, name, replace(setup, targets=(*setup.targets, name)))
        for setup in planned
        for name in names
        if name not in (*setup.targets, setup.over)
    ]
    return tuple(sorted(_tried(job, planned, tries[:MOST_TRIED]), key=lambda s: -s.gain))


def sights_to_leave_out(job: Job, planned: Sequence[PlannedSetup]) -> tuple[SightTried, ...]:
    """Return planned sights to the deck that it could stand without, the least needed first.

    Those to control stay: they alone show whether control has moved.

    Parameters
    ----------
    job, planned
        As for :func:`preanalysis`.
    """
    sighted = Counter(name for setup in planned for name in setup.targets)
    tries = [
        (setup, name, replace(setup, targets=tuple(n for n in setup.targets if n != name)))
        for setup in planned
        for name in setup.targets
        if name in job.points and sighted[name] > 1
    ]
    return tuple(sorted(_tried(job, planned, tries[:MOST_TRIED]), key=lambda s: s.worse))


def _tried(
    job: Job,
    planned: Sequence[PlannedSetup],
    tries: Sequence[tuple[PlannedSetup, str, PlannedSetup]],
) -> Iterator[SightTried]:
    before = preanalysis(job, planned)
    tolerance = np.array([c.tolerance or np.inf for c in before.state.checks])
    for setup, name, other in tries:
        try:
            one = preanalysis(job, [other if p is setup else p for p in planned])
        except SurveyRefused:
            continue
        rises = np.maximum(one.u - before.u, one.effects - before.effects) / tolerance
        alone = set(one.unchecked) - set(before.unchecked)
        yield SightTried(
            setup.id,
            name,
            1.0 - one.score / before.score,
            np.inf if alone else float(rises.max(initial=0.0)),
            float((one.u / tolerance).max()),
            float((one.effects / tolerance).max()),
        )
