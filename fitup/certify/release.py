"""Taking strongbacks, ties and jacks off, once more: by the certificate's own frame.

A seat that is taken off is left in as a spring of almost no stiffness whose foot is pulled away
until it has lost its load; a spring's force is undone at its nodes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from fitup.certify.carry import carry
from fitup.certify.frame import FrameStates
from fitup.checks import checks_of
from fitup.frames import Array
from fitup.model import Check, Job
from fitup.model.actions import NodeLoad
from fitup.model.frame import FrameSeat
from fitup.survey.points import Survey

#: what is left of a seat that is taken off [N/m]
_FAINT = 1.0
#: a target may miss what springs back by this [m] or [rad]
_CLOSE, _CLOSE_TURN = 1e-4, 1e-5


def released_targets(
    job: Job,
    survey: Survey,
    states: FrameStates,
    checks: tuple[Check, ...],
    settings: Mapping[str, float],
) -> tuple[list[str], list[str]]:
    """Hold the targets of a plan against what springs back when everything temporary goes.

    Parameters
    ----------
    job, survey
    states : FrameStates
        The frame with everything temporary on.
    checks : tuple of Check
        With their targets as the plan has them.
    settings : mapping of str to float
        After the plan, of all seats, from the survey [m].

    Returns
    -------
    tuple of two lists of str
        What is wrong; and what is certain, in words, with how far the loads that the plan itself
        puts on what is taken off change it.
    """
    if not states.model.temporary:
        return [], []
    design = {check.id: check.target for check in checks_of(job)}
    allowed = np.array([design[check.id] - check.target for check in checks])
    still = dict.fromkeys(job.seats, 0.0)
    now = release_change(job, survey, checks, *states.stands(still))
    then = release_change(job, survey, checks, *states.stands(settings))
    wrong = [
        f"{check.id}: taking off what is temporary moves it by {a * 1e3:.3f}, its target allows "
        f"for {b * 1e3:.3f} (mm or mm/m)"
        for check, a, b in zip(checks, now, allowed, strict=True)
        if abs(a - b) > (_CLOSE if check.is_length else _CLOSE_TURN)
    ]
    length = np.array([check.is_length for check in checks])
    most, left = np.abs(allowed)[length].max(), np.abs(then - allowed)[length].max()
    named = ", ".join(states.model.temporary)
    return wrong, [
        f"taking off {named} moves checks by up to {most * 1e3:.1f} mm, which the targets allow "
        f"for; with the loads after the moves it is up to {left * 1e3:.1f} mm more or less"
    ]


def release_change(
    job: Job,
    survey: Survey,
    checks: tuple[Check, ...],
    reactions: Mapping[str, float],
    openings: Mapping[str, float],
) -> Array:
    """Return the change of every check (m,) when everything temporary is taken off.

    Parameters
    ----------
    reactions, openings : mapping of seat to float
        Before it [N], [m].
    """
    bare, gone = _bare(job)
    states = FrameStates(bare, survey)
    names = list(job.seats)
    pulled = np.array([-reactions[n] / _FAINT if n in gone else 0.0 for n in names])
    opened = np.array([0.0 if n in gone else openings[n] for n in names])
    stated = [job.frame.seats.get(n) if job.frame is not None else None for n in names]
    one_way = np.array(
        [
            n not in gone and (job.seats[n].reaction_least >= 0.0 if t is None else t.one_way)
            for n, t in zip(names, stated, strict=True)
        ]
    )
    before = np.array([reactions[n] for n in names])
    q = before + states.q + states.R @ (pulled - opened)
    moved = pulled + carry(q, states.R, one_way) - opened
    motions = states.still + states.moves @ moved
    still = np.zeros_like(motions)
    return np.array([states.check(c, motions) - states.check(c, still) for c in checks])


def _bare(job: Job) -> tuple[Job, frozenset[str]]:
    """The job's structure without loads, temporary springs, and all but a trace of such seats."""
    model = job.frame
    assert model is not None
    loads = []
    for spring in model.springs.values():
        if spring.temporary:
            size = float(np.linalg.norm(spring.axis))
            force = np.concatenate([spring.axis / size * spring.holds, np.zeros(3)])
            loads.append(NodeLoad(spring.id, spring.node, -force))
            if spring.other is not None:
                lever = model.nodes[spring.node].position - model.nodes[spring.other].position
                force[3:] = np.cross(lever, force[:3])
                loads.append(NodeLoad(spring.id, spring.other, force))
    seats = {}
    for name in job.seats:
        stated = model.seats.get(name)
        tie = FrameSeat(name, False).tie if stated is None else stated.tie
        seats[name] = FrameSeat(name, False, tie=tie)
    gone = frozenset(s.seat for s in model.seats.values() if s.temporary)
    bare = replace(
        model,
        members={n: replace(m, weight=0.0) for n, m in model.members.items()},
        springs={n: s for n, s in model.springs.items() if not s.temporary},
        node_loads=tuple(loads),
        member_loads=(),
        temperatures=(),
        seats=seats,
    )
    faint = {
        n: replace(s, stiffness=_FAINT, reaction_now=None) if n in gone else s
        for n, s in job.seats.items()
    }
    return replace(job, frame=bare, seats=faint), gone
