"""What a frame says of itself and of its seats: everything ``fitup structure`` prints and draws."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fitup.frames import Array
from fitup.model import Influence, Job
from fitup.structure.cable.report import HungReport, hung_report
from fitup.structure.frame.elements import ArmSpring
from fitup.structure.frame.expansion import expands, thermal_response_of
from fitup.structure.frame.influence import frame_of, lifting_of, solve_job
from fitup.structure.frame.lifting import Lifting
from fitup.structure.frame.release import Release, release_of
from fitup.structure.frame.sanity import Sanity, require_sane
from fitup.structure.frame.solved import SolvedFrame
from fitup.structure.table import influence_from_table

#: table and frame disagree where they differ by more than this share of the row's largest entry
DISAGREE = 0.05


@dataclass(frozen=True, slots=True)
class SeatReport:
    """How one seat stands in the surveyed state [N, m, N/m]."""

    seat: str
    reaction: float
    measured: bool
    opening: float
    one_way: bool
    carries: bool
    own: float
    """Change of its reaction for a unit move of itself [N/m]."""
    arm: float
    """How far it is from the member or node that carries it [m]."""


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A row of an imported influence table that the frame does not confirm.

    ``table`` and ``frame`` are the entries that are furthest apart, at ``seat``; ``share`` is
    their difference over the largest entry of the row in either.
    """

    row: str
    seat: str
    table: float
    frame: float
    share: float


@dataclass(frozen=True, eq=False)
class FrameReport:
    """A frame solved and held against what else is known.

    ``twist`` (n,) is the pattern of reactions for a warp of the seats of each segment that has
    four of them that lift: segment -> change of reaction by seat for one metre of warp [N/m].
    """

    job: Job
    solved: SolvedFrame
    sanity: Sanity
    lifting: Lifting
    influence: Influence
    seats: tuple[SeatReport, ...]
    loose: tuple[str, ...]
    twist: dict[str, dict[str, float]]
    table: str | None
    compared: int
    """Rows of the table that were compared."""
    disagreements: tuple[Disagreement, ...]
    release: Release | None = None
    """What taking everything temporary off does; None where nothing is temporary."""
    hung: HungReport | None = None
    """Cables and saddles; None where there are none."""


def report_of(job: Job, folder: Path) -> FrameReport:
    """Solve the frame of a job and report.

    Parameters
    ----------
    job : Job
    folder : Path
        Job folder, in which the influence table to compare with is looked for.

    Raises
    ------
    StructureError
        If there is no frame, or it may not be used.
    InputError
        If the influence table it is to be compared with cannot be read.
    """
    model = frame_of(job)
    solved = solve_job(job)
    sanity = require_sane(job, solved)
    if expands(job):
        job = replace(job, thermal=thermal_response_of(job, solved))
    lifting = lifting_of(job, solved)
    still = np.zeros(len(job.seats))
    influence = lifting.about(still)
    _, touch = lifting.at(still)
    seats = tuple(
        SeatReport(
            name,
            float(touch.reactions[i]),
            job.load_measured(name),
            float(touch.openings[i]),
            bool(lifting.contact.one_way[i]),
            bool(touch.carries[i]),
            float(influence.R[i, i]),
            _arm(solved, i, name),
        )
        for i, name in enumerate(lifting.contact.seats)
    )
    rows = len(influence.checks) + len(influence.seats)
    table = job.influence_table
    return FrameReport(
        job,
        solved,
        sanity,
        lifting,
        influence,
        seats,
        touch.loose,
        twist_of(job, influence),
        table,
        0 if table is None else rows,
        () if table is None else _compare(job, influence, folder / table, table),
        release_of(job),
        hung_report(job, model, solved, influence) if model.cables else None,
    )


def _arm(solved: SolvedFrame, i: int, name: str) -> float:
    """How far a seat is from what carries it [m]; a cable's or saddle's bears on it directly."""
    if not isinstance(solved.seats[i], ArmSpring):
        return 0.0
    return float(np.linalg.norm(solved.mesh.attached[f"seat/{name}"].arm))


def twist_of(job: Job, influence: Influence) -> dict[str, dict[str, float]]:
    """Reactions of a segment on four lifting seats when one leaves the plane of the other three.

    Loads go up on one pair of opposite corners and down on the other; the first seat is the high
    one.

    Parameters
    ----------
    job : Job
    influence : Influence
        About the surveyed state.

    Returns
    -------
    dict of str to dict of str to float
        Segment -> change of reaction by seat for one metre of warp [N/m]; segments without just
        four lifting seats are left out.
    """
    result = {}
    for segment in job.segments:
        own = [s for s in job.seats_of(segment) if s.lifts]
        if len(own) != 4:
            continue
        plan = np.array([[1.0, *(s.position[:2] - own[0].position[:2])] for s in own])
        warp = np.linalg.svd(plan.T)[2][-1]
        warp = warp / np.abs(warp).max() * np.sign(warp[0])
        at = [influence.seats.index(s.id) for s in own]
        pattern: Array = influence.R[np.ix_(at, at)] @ (warp / (warp @ warp))
        result[segment] = dict(zip((s.id for s in own), pattern.tolist(), strict=True))
    return result


def _compare(job: Job, frame: Influence, path: Path, shown: str) -> tuple[Disagreement, ...]:
    """Rows of the engineer's table that the frame does not confirm, the worst first."""
    table = influence_from_table(path, shown, job)
    names = [*frame.checks, *(f"reaction/{s}" for s in frame.seats)]
    rows = zip(names, np.vstack([table.A, table.R]), np.vstack([frame.A, frame.R]), strict=True)
    found = []
    for name, stated, own in rows:
        largest = max(float(np.abs(stated).max()), float(np.abs(own).max()))
        worst = int(np.abs(stated - own).argmax())
        share = 0.0 if largest == 0.0 else float(np.abs(stated - own)[worst]) / largest
        if share > DISAGREE:
            seat = frame.seats[worst]
            found.append(Disagreement(name, seat, float(stated[worst]), float(own[worst]), share))
    return tuple(sorted(found, key=lambda d: -d.share))
