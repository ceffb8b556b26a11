"""Read the tables of towers, tensions, cables and saddles."""

from __future__ import annotations

from collections.abc import Mapping

from fitup.errors import Problem
from fitup.jobfolder.table import Row
from fitup.model import CheckPoint
from fitup.model.cables import Lean, Tension


def lean_of(row: Row, problems: list[Problem]) -> Lean | None:
    """Return a tower's lean, its amount and side put together."""
    amount, side = row["amount"], row["side"]
    if (amount == 0.0) != (side == "plumb"):
        problems.append(
            row.problem(
                "side",
                f"'{side}' with {'no' if amount == 0.0 else 'an'} amount",
                "plumb with 0, else ahead or back",
                "correct one of them",
            )
        )
        return None
    target = -amount if side == "back" else amount
    return Lean(row["id"], row["head"], row["foot"], target, row["source"])


def tension_of(row: Row) -> Tension:
    """Return a measured tension."""
    return Tension(row["id"], row["tension"], row["u"], row["target"], row["how"])


def check_leans(
    rows: list[Row],
    points: Mapping[str, CheckPoint],
    problems: list[Problem],
) -> None:
    """Add to ``problems`` what the points of a tower do not allow."""
    for row in rows:
        known = True
        for column in ("head", "foot"):
            if row[column] not in points:
                known = False
                problems.append(
                    row.problem(
                        column,
                        f"'{row[column]}'",
                        "an id of points.csv",
                        "correct it or add it there",
                    )
                )
        if not known:
            continue
        head, foot = points[row["head"]], points[row["foot"]]
        if head.segment != foot.segment:
            problems.append(
                row.problem(
                    "foot",
                    f"'{foot.id}' of segment {foot.segment}",
                    f"a point of {head.segment}, as the head",
                    "name points of one tower",
                )
            )
        elif head.design[2] - foot.design[2] < 1.0:
            problems.append(
                row.problem(
                    "head",
                    f"'{head.id}', not 1 m above '{foot.id}'",
                    "a head above the foot",
                    "exchange them or correct their heights in points.csv",
                )
            )
