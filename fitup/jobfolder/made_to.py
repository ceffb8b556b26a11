"""Measured plates against the standard they were ordered to."""

from __future__ import annotations

from fitup.errors import Problem
from fitup.jobfolder.table import Row
from fitup.model.rules import PLATE_CLASSES, plate_limits


def check_made_to(rows: list[Row], problems: list[Problem]) -> None:
    """Hold measured plates against the standard they were ordered to, where one is named.

    Parameters
    ----------
    rows : list of Row
        Of plates.csv.
    problems : list of Problem
        Added to.
    """
    for row in rows:
        named = row["made_to"]
        if row["spread_by"] == "made_to":
            _by_class(row, problems)
        if named is None:
            continue
        if named not in PLATE_CLASSES:
            allowed = f"'{PLATE_CLASSES[0]}' to '{PLATE_CLASSES[-1]}', classes A to D"
            problems.append(row.problem("made_to", f"'{named}'", allowed, "correct or clear it"))
            continue
        limits = plate_limits(named, row["nominal"])
        if limits is None:
            found, allowed = f"a plate of {row['nominal'] * 1e3:g} mm", "3 to 250 mm"
            problems.append(row.problem("made_to", found, allowed, "clear it"))
        elif not limits.least - 1e-9 <= row["measured"] <= limits.most + 1e-9:
            problems.append(
                row.problem(
                    "measured",
                    f"{row['measured'] * 1e3:.2f} mm for a plate of {row['nominal'] * 1e3:g} mm",
                    f"{limits.least * 1e3:.2f} to {limits.most * 1e3:.2f} mm by {limits.source}",
                    "measure it again, or correct its mark, nominal thickness or made_to",
                )
            )


def _by_class(row: Row, problems: list[Problem]) -> None:
    """An uncertainty that comes from the standard needs one, and no other beside it."""
    if row["made_to"] is None:
        problems.append(
            row.problem(
                "spread_by",
                "made_to, but no standard is named",
                "made_to with a class of EN 10029, else measured",
                "name the standard in made_to, or clear spread_by",
            )
        )
    elif row["spread"] > 0.0:
        problems.append(
            row.problem(
                "spread",
                f"{row['spread'] * 1e3:g} mm beside spread_by made_to",
                "one of the two",
                "clear spread, or say spread_by measured",
            )
        )
