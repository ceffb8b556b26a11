"""What the structure does when strongbacks, ties and jacks are taken off.

Each of them holds a force; taking it off is the same force the other way on the structure without
it. Seats that stay may lift off or take up more, as anywhere else.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from fitup.checks import checks_of
from fitup.errors import StructureError
from fitup.frames import Array
from fitup.model import CheckState, Job
from fitup.model.actions import NodeLoad
from fitup.model.frame import FrameModel, Spring
from fitup.structure.contact import Contact, Touch
from fitup.structure.frame.balance import balance_of
from fitup.structure.frame.elements import ArmSpring
from fitup.structure.frame.influence import (
    follows,
    frame_of,
    lifting_of,
    seat_in_frame,
    solve_job,
    ties_of,
)
from fitup.structure.frame.solved import SolvedFrame, solve_frame


@dataclass(frozen=True, eq=False)
class Release:
    """The step from the surveyed state to the one without anything temporary.

    Parameters
    ----------
    taken_off : tuple of str
        Springs, then seats.
    change : Array (m,)
        Of every check [m or m/m].
    reactions : dict of str to float
        Afterwards, of the seats that stay [N].
    """

    taken_off: tuple[str, ...]
    change: Array
    reactions: dict[str, float]


def release_of(job: Job) -> Release | None:
    """Return what taking everything temporary off does; None where nothing is temporary.

    Raises
    ------
    StructureError
        If the structure cannot stand without it.
    """
    model = frame_of(job)
    if not model.temporary:
        return None
    if model.cables:
        raise StructureError(
            f"what is temporary, {', '.join(model.temporary)}, stands in a frame with cables: what "
            "springs back there is not computed; say temporary = no and preset the joint in "
            "aims.csv"
        )
    solved = solve_job(job)
    _, touch = lifting_of(job, solved).at(np.zeros(len(job.seats)))
    bare = replace(
        _weightless(model),
        node_loads=(*_let_go(model), *_taken_away(job, solved, touch)),
    )
    kept = [s for s in job.seats.values() if not seat_in_frame(job, s.id).temporary]
    try:
        without = solve_frame(bare, kept, ties_of(job))
        return _release(job, without, [s.id for s in kept], touch)
    except StructureError as error:
        named = ", ".join(model.temporary)
        raise StructureError(f"without {named}, which are taken off: {error}") from None


def _weightless(model: FrameModel) -> FrameModel:
    """The structure without loads and without what is temporary."""
    return replace(
        model,
        members={n: replace(m, weight=0.0) for n, m in model.members.items()},
        springs={n: s for n, s in model.springs.items() if not s.temporary},
        node_loads=(),
        member_loads=(),
        temperatures=(),
    )


def _let_go(model: FrameModel) -> Iterator[NodeLoad]:
    """Forces that undo those of the temporary springs."""
    for spring in model.springs.values():
        if spring.temporary and spring.holds:
            push = spring.holds * spring.axis / np.linalg.norm(spring.axis)
            yield NodeLoad(spring.id, spring.node, -np.concatenate([push, np.zeros(3)]))
            if spring.other is not None:
                yield NodeLoad(spring.id, spring.other, _on_other(model, spring, push))


def _on_other(model: FrameModel, spring: Spring, push: Array) -> Array:
    assert spring.other is not None
    arm = model.nodes[spring.node].position - model.nodes[spring.other].position
    return np.concatenate([push, np.cross(arm, push)])


def _taken_away(job: Job, solved: SolvedFrame, touch: Touch) -> Iterator[NodeLoad]:
    """Forces that undo those of the temporary seats."""
    for foot, reaction in zip(solved.seats, touch.reactions.tolist(), strict=True):
        # without cables every seat is a spring on an arm
        if isinstance(foot, ArmSpring) and seat_in_frame(job, foot.id).temporary:
            yield NodeLoad(foot.id, foot.node, -reaction * foot.row(np.zeros(6)))


def _release(job: Job, without: SolvedFrame, kept: list[str], touch: Touch) -> Release:
    q, R = without.reactions()
    own = [list(job.seats).index(name) for name in kept]
    one_way = np.array([seat_in_frame(job, name).one_way for name in kept], bool)
    opened = touch.openings[own]
    before = touch.reactions[own]
    balance = balance_of(without, frame_of(job)).since(before, opened, loaded=True)
    after = Contact(tuple(kept), one_way, before + q - R @ opened, R, balance)
    rest = after.at(np.zeros(len(kept)))
    motions = without.still + without.moves @ (rest.openings - opened)
    change = np.array([follows(job, without, check, motions) for check in checks_of(job)])
    named = dict(zip(kept, rest.reactions.tolist(), strict=True))
    return Release(frame_of(job).temporary, change, named)


def preset_for_release(job: Job, state: CheckState) -> CheckState:
    """Return the checks with targets that come right once everything temporary is taken off.

    Parameters
    ----------
    job : Job
    state : CheckState
        Comes back as it is where there is no frame, or nothing in it is temporary.

    Raises
    ------
    StructureError
        If the structure cannot stand without what is temporary, or has cables.
    """
    if job.frame is None or job.influence_by != "frame":
        return state
    release = release_of(job)
    if release is None:
        return state
    named = ", ".join(release.taken_off)
    checks = tuple(
        replace(
            check,
            target=check.target - float(change),
            reason="; ".join(filter(None, (check.reason, f"springs back without {named}"))),
        )
        for check, change in zip(state.checks, release.change, strict=True)
    )
    return replace(state, checks=checks)
