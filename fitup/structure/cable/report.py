"""What ``fitup structure`` says of cables and saddles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitup.model import Influence, Job
from fitup.model.frame import FrameModel
from fitup.structure.cable.element import hanging
from fitup.structure.cable.forces import cables_by_id, grip_now
from fitup.structure.cable.saddle import released
from fitup.structure.frame.solved import SolvedFrame


@dataclass(frozen=True, slots=True)
class CableReport:
    """How one cable hangs in the surveyed state [N, m].

    ``pulls`` is the tension at its adjusted end, ``firm`` what a unit of shortening adds to it,
    the structure giving way [N/m]; None where no seat shortens it.
    """

    cable: str
    form: str
    pulls: float
    least: float
    most: float
    measured: float | None
    sag: float
    unstressed: float
    seat: str | None
    firm: float | None


@dataclass(frozen=True, slots=True)
class SaddleReport:
    """How one saddle stands [N, rad, m].

    ``carries`` is what its pack carries, ``goes_back`` how far it goes back when jacks that hold
    as much let go onto a new pack, and ``keeps`` what the pack carries then; None where it is
    fixed.
    """

    saddle: str
    back: float
    ahead: float
    turn: float
    ratio: float
    holds: float
    seat: str | None
    carries: float | None
    goes_back: float | None
    keeps: float | None


@dataclass(frozen=True, slots=True)
class HungReport:
    """Cables and saddles, and how far the structure at rest is from where the tables put it."""

    cables: tuple[CableReport, ...]
    saddles: tuple[SaddleReport, ...]
    moved: float
    moved_at: str


def hung_report(
    job: Job, model: FrameModel, solved: SolvedFrame, influence: Influence
) -> HungReport:
    """Return what is to be said of the cables of a frame.

    Parameters
    ----------
    job, model
    solved : SolvedFrame
        The frame in the surveyed state.
    influence : Influence
        About that state, with the tension of every cable among its forces.
    """
    system = solved.mesh.system
    elements = cables_by_id(solved)
    seats = list(influence.seats)
    forces = {f.id: f for f in influence.forces}
    cables = []
    for own in model.cables.values():
        element = elements[own.id]
        line = None
        if own.form == "catenary":
            line = hanging(element, solved.about[system.numbers(element)])
        at = None if own.seat is None else seats.index(own.seat)
        stated = job.tensions.get(own.id)
        cables.append(
            CableReport(
                own.id,
                own.form,
                forces[f"cable/{own.id}"].now,
                own.least,
                own.most,
                None if stated is None else stated.value,
                0.0 if line is None else line.sag,
                element.cable.length,
                own.seat,
                None if at is None else float(influence.R[at, at]),
            )
        )
    shifts = np.linalg.norm(solved.about.reshape(-1, 6)[:, :3], axis=1)
    far = int(shifts.argmax())
    return HungReport(
        tuple(cables),
        tuple(_saddle(job, model, solved, influence, name) for name in model.saddles),
        float(shifts[far]),
        list(system.nodes)[far],
    )


def _saddle(
    job: Job, model: FrameModel, solved: SolvedFrame, influence: Influence, name: str
) -> SaddleReport:
    saddle = model.saddles[name]
    grip = grip_now(solved, saddle)
    carries = goes_back = keeps = None
    if saddle.seat is not None:
        at, seat = influence.seats.index(saddle.seat), job.seats[saddle.seat]
        carries = float(influence.r0[at])
        # pack and cable in a row: what the cable resists alone
        both = float(influence.R[at, at])
        resists = both * seat.stiffness / (seat.stiffness - both)
        after = released(carries, resists, seat.stiffness, seat.bedding)
        goes_back, keeps = after.back, after.force
    return SaddleReport(
        name,
        grip.tensions[0],
        grip.tensions[1],
        grip.turn,
        grip.ratio,
        grip.most,
        saddle.seat,
        carries,
        goes_back,
        keeps,
    )
