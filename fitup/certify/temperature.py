"""What temperature does to checks, again: free segments on true arcs, or the frame solved.

In a frame every stick is lengthened and bent as a cantilever would be, held back to its ends and
let go with the constraints of the whole; seats may leave the deck and come back to it, cables find
their rest anew. Nothing here uses code of ``structure`` or ``joints``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np

from fitup.certify.frame import FrameStates
from fitup.certify.hung import HungStates
from fitup.certify.recompute import bending_of, expansion_of
from fitup.certify.sticks import Stick, free_end
from fitup.frames import Array
from fitup.model import Check, Job
from fitup.survey.points import Survey, SurveyedPoint
from fitup.survey.steel import Steel


class ThermalPath(Protocol):
    """What steel away from the reference temperature does."""

    near: float
    """How far this and what is linear in temperature may be apart [m or rad]."""
    look: str
    """Why they may be further apart, for messages."""

    def change(
        self, checks: Sequence[Check], warmer: Mapping[str, float], bent: Mapping[str, float]
    ) -> Array:
        """Return what it does to checks (m,) [m or rad].

        Parameters
        ----------
        checks : sequence of Check
        warmer : mapping of str to float
            Steel of each segment, less the reference temperature [K].
        bent : mapping of str to float
            Top less bottom of each segment [K].
        """


def second_thermal_path(job: Job, survey: Survey, states: object = None) -> ThermalPath:
    """Return the second path of a job to what temperature does.

    Parameters
    ----------
    job, survey
    states : FrameStates, optional
        Those of the job's frame, to save solving it again; anything else is ignored.
    """
    if job.thermal is None:
        return FreeExpansion(job)
    if not isinstance(states, FrameStates):
        hung = job.frame is not None and job.frame.cables
        states = HungStates(job, survey) if hung else FrameStates(job, survey)
    return FrameExpansion(job, states)


def as_designed(job: Job) -> Survey:
    """Return a survey that found every check point where the design has it."""
    points = {p.id: SurveyedPoint(p.id, p.design, np.zeros(3), 0, 0) for p in job.points.values()}
    return Survey(points, {}, {}, {}, ())


def steel_apart(job: Job, steel: Mapping[str, Steel]) -> tuple[dict[str, float], dict[str, float]]:
    """Return by segment how much warmer than the reference it is, and its top than its bottom.

    Parameters
    ----------
    job : Job
    steel : mapping of str to Steel
        As surveyed, by segment.

    Returns
    -------
    tuple of two dicts of str to float
        Mean less the reference temperature, and top less bottom [K].
    """
    warmer = {name: own.mean - job.reference_temperature for name, own in steel.items()}
    return warmer, {name: own.difference for name, own in steel.items()}


class FreeExpansion:
    """Segments that expand about their fixed points and bend on their seats."""

    #: second order of bending
    near = 2e-6
    look = ""

    def __init__(self, job: Job) -> None:
        self.job = job

    def change(
        self, checks: Sequence[Check], warmer: Mapping[str, float], bent: Mapping[str, float]
    ) -> Array:
        """Return what temperature does to checks (m,) [m or rad].

        Parameters
        ----------
        checks : sequence of Check
        warmer : mapping of str to float
            Steel of each segment, less the reference temperature [K].
        bent : mapping of str to float
            Top less bottom of each segment [K].
        """
        return np.array(
            [expansion_of(self.job, c, warmer) + bending_of(self.job, c, bent) for c in checks]
        )


class FrameExpansion:
    """Segments that expand and bend as their frame lets them."""

    #: turns and cables of second order; a seat that lifts off goes further
    near = 1e-4
    look = "; at that steel other seats may carry, or a cable be slack"

    def __init__(self, job: Job, states: FrameStates) -> None:
        self.job, self.states = job, states

    def change(
        self, checks: Sequence[Check], warmer: Mapping[str, float], bent: Mapping[str, float]
    ) -> Array:
        """Return what temperature does to checks (m,) [m or rad].

        Parameters
        ----------
        checks : sequence of Check
        warmer : mapping of str to float
            Steel of each segment, less the reference temperature [K]; a member of no segment is
            as warm as the segments it is joined to, on average.
        bent : mapping of str to float
            Top less bottom of each segment [K].
        """
        own = [s.id for s in self.job.segments.values() if s.expansion is not None]
        about = sum(warmer[name] for name in own) / len(own)
        growth = list(self._growth(warmer, bent, about))
        cables = dict.fromkeys(self.states.model.cables, about)
        grown = {n: (self.job.segments[n].expansion or 0.0) * warmer[n] for n in self.job.segments}
        motions = self.states.heated(growth, self._raised(grown), cables)
        spots, points = self.states.spots, self.job.points
        moved = self.states.placer(motions)

        def place(name: str) -> Array:
            return moved(name) + grown[points[name].segment] * spots[f"point/{name}"].arm

        still = np.zeros_like(motions)
        after = [self.states.check(c, motions, place) for c in checks]
        return np.array(after) - [self.states.check(c, still) for c in checks]

    def _raised(self, grown: Mapping[str, float]) -> Array:
        """Moves (n,) of seats that the growth of their arms amounts to [m]."""
        result = np.zeros(len(self.job.seats))
        hung = {c.seat for c in self.states.model.cables.values()}
        hung |= {s.seat for s in self.states.model.saddles.values() if s.on is not None}
        for i, seat in enumerate(self.job.seats.values()):
            if seat.id not in hung:
                arm = self.states.spots[f"seat/{seat.id}"].arm
                result[i] = -grown[seat.segment] * float(arm @ seat.direction)
        return result

    def _growth(
        self, warmer: Mapping[str, float], bent: Mapping[str, float], about: float
    ) -> Iterator[tuple[Stick, Array]]:
        """Yield how far the free end (6,) of every stick would go."""
        learned = self._learned()
        for name, sticks in self.states.parts.sticks.items():
            member = self.states.model.members[name]
            warm = (self._beside(name, warmer, about), 0.0, 0.0)
            member = replace(member, expansion=member.expansion * learned)
            if member.segment:
                segment = self.job.segments[member.segment]
                if segment.expansion is None:
                    continue
                if segment.depth is not None:
                    member = replace(member, depth=segment.depth)
                member = replace(member, expansion=member.expansion or segment.expansion)
                through = 0.0 if segment.depth is None else bent[member.segment]
                warm = (warmer[member.segment], through, 0.0)
            for stick in sticks:
                yield stick, free_end(member, stick.ends - stick.begins, np.zeros(3), warm)

    def _beside(self, name: str, warmer: Mapping[str, float], about: float) -> float:
        """How warm a member of no segment is: as those it can be reached from over members."""
        model = self.states.model
        links = [{m.i, m.j} for m in model.members.values()]
        links += [set(b.nodes) for b in model.bodies.values()]
        near = {model.members[name].i}
        while True:
            more = near.union(*(link for link in links if link & near))
            if more == near:
                break
            near = more
        own = {
            m.segment
            for m in model.members.values()
            if m.i in near and m.segment and self.job.segments[m.segment].expansion is not None
        }
        return sum(warmer[n] for n in sorted(own)) / len(own) if own else about

    def _learned(self) -> float:
        """By how much more or less than its materials say the steel grows."""
        assert self.job.thermal is not None
        both = zip(self.job.segments.values(), self.job.thermal.expansion.tolist(), strict=True)
        factor = next(s.expansion / stated for s, stated in both if s.expansion and stated)
        for one in self.job.learned:
            factor *= one.value if one.what == "expansion" else 1.0
        return factor
