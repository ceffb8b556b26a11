"""The geometry wanted now: design points of one stage of the work, in place of the final ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitup.errors import Problem
from fitup.jobfolder.table import Row, record_of
from fitup.model import CheckPoint, Job
from fitup.model.deck import StagePoint

FILE = "targets.csv"


def at_stage(job: Job, stage: str, rows: list[Row], problems: list[Problem]) -> Job:
    """Return a job whose points are wanted where ``targets.csv`` has them at a stage.

    Parameters
    ----------
    job : Job
        With the design of ``points.csv``.
    stage : str
        Of ``job.toml``; empty: the design itself.
    rows : list of Row
        All stages.
    problems : list of Problem
        Filled with what is wrong.
    """
    broken = any(p.file == FILE for p in problems)
    _once(job, rows, problems)
    if not stage:
        if rows:
            problems.append(
                Problem(
                    "job.toml",
                    f"no stage, but targets for {_named(rows)}",
                    "one of the stages of targets.csv",
                    "say which geometry is wanted now",
                    column="stage",
                )
            )
        return job
    entries = [record_of(StagePoint, row) for row in rows]
    own = {one.point: one for one in entries if one.stage == stage}
    if not own and not broken:
        problems.append(
            Problem(
                "job.toml",
                f"'{stage}'",
                _named(rows) if rows else "a stage of targets.csv, which has none",
                "correct it or add its rows",
                column="stage",
            )
        )
    missing = [name for name in job.points if name not in own]
    if own and missing and not broken:
        problems.append(
            Problem(
                FILE,
                f"stage {stage} without {', '.join(missing)}",
                "a row for every point of points.csv",
                "add them, with the final height where it is wanted already",
                column="point",
            )
        )
    points = {n: _moved(p, own[n]) if n in own else p for n, p in job.points.items()}
    return replace(job, points=points, stage=stage)


def _moved(point: CheckPoint, entry: StagePoint) -> CheckPoint:
    wanted = [entry.E, entry.N, entry.H]
    design = [o if w is None else w for o, w in zip(point.design, wanted, strict=True)]
    return replace(point, design=np.array(design))


def _named(rows: list[Row]) -> str:
    return ", ".join(dict.fromkeys(row["stage"] for row in rows))


def _once(job: Job, rows: list[Row], problems: list[Problem]) -> None:
    first: dict[tuple[str, str], int] = {}
    for row in rows:
        key = row["stage"], row["point"]
        if first.setdefault(key, row.number) != row.number:
            found = f"'{key[1]}' at stage {key[0]} again (first in row {first[key]})"
            problems.append(row.problem("point", found, "each point once a stage", "delete one"))
        if row["point"] not in job.points and not any(p.file == "points.csv" for p in problems):
            problems.append(
                row.problem(
                    "point",
                    f"'{row['point']}'",
                    "an id of points.csv",
                    "correct it or add it there",
                )
            )
