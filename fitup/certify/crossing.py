"""What crosses the joints before and after a plan, held against the way of the joints."""

from __future__ import annotations

from collections.abc import Mapping

from fitup.certify import passage, ride
from fitup.certify.facts import BoltFact, BoreFact, RideFact
from fitup.certify.frame import FrameStates
from fitup.certify.learned import CorrectedStates
from fitup.certify.limits import Work
from fitup.certify.recompute import RigidStates
from fitup.checks.bolts import bolts_as_surveyed
from fitup.checks.bores import bores_as_surveyed
from fitup.checks.ride import ride_as_surveyed
from fitup.survey.points import Survey

Crossing = tuple[tuple[RideFact, ...], tuple[BoreFact, ...], tuple[BoltFact, ...]]


def crossing_facts(work: Work, survey: Survey, final: Mapping[str, float]) -> Crossing:
    """Return wheel paths, bores and bolt groups before and after, found by two ways.

    Where the two differ it is noted in ``work.wrong``. All empty with an influence table, which
    moves no points.

    Parameters
    ----------
    work, survey
    final : mapping of str to float
        Settings after the plan by seat [m]; seats not named stay as surveyed.
    """
    job = work.job
    before, after = _placed(work, {}), _placed(work, final)
    if before is None or after is None:
        return (), (), ()
    rides = ride.ride_facts(job, before, after)
    bores, bolts = passage.passage_facts(job, before, after)
    felt = {r.path: (r.gap, r.roughness) for r in ride_as_surveyed(job, survey)}
    rooms = {r.bore: r.room for r in bores_as_surveyed(job, survey)}
    matches = {r.group: (r.worst, r.fitted) for r in bolts_as_surveyed(job, survey)}
    work.wrong += ride.unlike(rides, felt)
    work.wrong += passage.unlike(bores, rooms, bolts, matches)
    return rides, bores, bolts


def _placed(work: Work, settings: Mapping[str, float]) -> ride.Place | None:
    """Return where every check point is for settings by seat; None where no points are moved."""
    states, values = work.states, work.settings(settings)
    if isinstance(states, CorrectedStates):
        values = states.really(values)
        states = states.base
    return states.placed(values) if isinstance(states, RigidStates | FrameStates) else None
