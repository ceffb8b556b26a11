"""What the frame says of the rest of a job: ties, held motions, and which model is asked for."""

from __future__ import annotations

from collections.abc import Mapping

from fitup.errors import Problem
from fitup.jobfolder.frame_loads import MEMBERS_NEED
from fitup.jobfolder.keys import FILE
from fitup.jobfolder.table import Row
from fitup.model import Job
from fitup.model.frame import FrameModel


def frame_check(
    job: Job, frame: FrameModel, tables: Mapping[str, list[Row]], problems: list[Problem]
) -> None:
    """Find what is wrong between the frame and the other tables.

    Parameters
    ----------
    job : Job
    frame : FrameModel
    tables : mapping of str to list of Row
        Those of the frame, by file name.
    problems : list of Problem
        What is wrong is added to it.
    """
    for row in tables.get("frame_ties.csv", []):
        if row["point"] not in job.points:
            problems.append(
                row.problem(
                    "point",
                    f"'{row['point']}'",
                    "an id of points.csv",
                    "correct it or add it there",
                )
            )
    if job.influence_by == "rigid":
        problems.append(
            Problem(
                FILE,
                "tables of a frame, but [influence] does not ask for it",
                'model = "frame"; or table = "FILE", and the frame is compared with it',
                "say which, or take the frame tables out of the folder",
                column="influence.model",
            )
        )
    if any(p.file in MEMBERS_NEED for p in problems):
        return
    _held(job, problems)
    _untied(job, frame, problems)


def _held(job: Job, problems: list[Problem]) -> None:
    for segment in job.segments.values():
        if segment.held and job.influence_by == "frame":
            problems.append(
                Problem(
                    "segments.csv",
                    f"segment {segment.id} held by friction or guides: "
                    + " ".join(sorted(segment.held)),
                    "empty where a frame is used",
                    "hold nodes in frame_nodes.csv, or add springs in frame_springs.csv",
                    column="held",
                )
            )


def _untied(job: Job, frame: FrameModel, problems: list[Problem]) -> None:
    """Every seat and point needs a tie of its own, or a member of its segment."""
    with_members = {m.segment for m in frame.members.values()}
    tied = {s.seat for s in frame.seats.values() if s.tie.node or s.tie.member}
    needs = [(s.segment, f"seat {s.id}") for s in job.seats.values() if s.id not in tied]
    needs += [(p.segment, f"point {p.id}") for p in job.points.values() if p.id not in frame.ties]
    for segment in job.segments:
        lost = [what for owner, what in needs if owner == segment]
        if lost and segment not in with_members:
            problems.append(
                Problem(
                    "frame_members.csv",
                    f"no member of segment {segment}, so {lost[0]} hangs in the air",
                    "a member with this segment, or a row in frame_seats.csv or frame_ties.csv",
                    "fill in the column segment",
                    column="segment",
                )
            )
