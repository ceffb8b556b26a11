"""What one table says of another: names that must exist, faces, jacks, loads, stock."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import numpy as np

from fitup.errors import Problem
from fitup.jobfolder.circuits import check_circuits
from fitup.jobfolder.made_to import check_made_to
from fitup.jobfolder.passage import check_bolts, check_bores
from fitup.jobfolder.staging import check_staging
from fitup.jobfolder.table import Row
from fitup.jobfolder.wheel_paths import check_wheel_paths
from fitup.model import Job, Seat

#: how far a pair's design points may miss the nominal opening, or be out of line, by design
FACE_FIT = 0.005


def cross_check(job: Job, tables: Mapping[str, list[Row]], problems: list[Problem]) -> None:
    """Find everything that is wrong between tables.

    Parameters
    ----------
    job : Job
    tables : mapping of str to list of Row
        By file name; tables that may be left out may be missing.
    problems : list of Problem
        Those already in it tell which tables are broken; what is wrong is added.
    """
    # what failed to read in its own table has been reported there already
    broken = frozenset(p.file for p in problems)
    _names(job, tables, broken, problems)
    _joints(job, tables["joints.csv"], broken, problems)
    _pairs(job, tables["pairs.csv"], problems)
    _seats(job, tables["seats.csv"], broken, problems)
    _plates(job, tables["seats.csv"], broken, problems)
    _kept_back(tables["plates.csv"], problems)
    check_made_to(tables["plates.csv"], problems)
    _limits(job, tables.get("limits.csv", []), broken, problems)
    _thermometers(job, tables.get("temperatures.csv", []), problems)
    _control(job, tables.get("control.csv", []), broken, problems)
    check_wheel_paths(job, tables.get("ride.csv", []), broken, problems)
    check_bores(job, tables.get("bores.csv", []), problems)
    check_bolts(job, tables.get("bolts.csv", []), problems)
    _excluded(job, broken, problems)
    _other_names(job, broken, problems)
    _left_alone(job, broken, problems)
    check_staging(job, tables, broken, problems)
    check_circuits(job, tables["jacks.csv"], broken, problems)


def _control(job: Job, rows: list[Row], broken: frozenset[str], problems: list[Problem]) -> None:
    for row in rows:
        if row["id"] in job.points and "points.csv" not in broken:
            problems.append(
                row.problem(
                    "id",
                    f"'{row['id']}', which is a point of the deck",
                    "points beside the deck",
                    "the deck is not control: delete the row",
                )
            )
    observed = any(e.observed for e in job.epochs)
    if observed and not job.instruments and "instruments.csv" not in broken:
        problems.append(
            Problem(
                "instruments.csv",
                "no instrument",
                "one row for each instrument of the observations",
                "add it: nothing says how well they were measured",
            )
        )


def _names(
    job: Job, tables: Mapping[str, list[Row]], broken: frozenset[str], problems: list[Problem]
) -> None:
    references = [
        ("points.csv", "segment", job.segments, "segments.csv"),
        ("joints.csv", "back", job.segments, "segments.csv"),
        ("joints.csv", "ahead", job.segments, "segments.csv"),
        ("pairs.csv", "joint", job.joints, "joints.csv"),
        ("pairs.csv", "back_point", job.points, "points.csv"),
        ("pairs.csv", "ahead_point", job.points, "points.csv"),
        ("seats.csv", "segment", job.segments, "segments.csv"),
        ("jacks.csv", "seat", job.seats, "seats.csv"),
        ("aims.csv", "joint", job.joints, "joints.csv"),
        ("aims.csv", "pair", job.pairs, "pairs.csv"),
        ("readings.csv", "pair", job.pairs, "pairs.csv"),
        ("temperatures.csv", "segment", job.segments, "segments.csv"),
        ("ride.csv", "joint", job.joints, "joints.csv"),
        ("bores.csv", "joint", job.joints, "joints.csv"),
        ("bolts.csv", "joint", job.joints, "joints.csv"),
    ]
    for table, column, known, home in references:
        for row in tables.get(table, []):
            name = row[column]
            if name is not None and name not in known and home not in broken:
                problems.append(
                    row.problem(
                        column, f"'{name}'", f"an id of {home}", "correct it or add it there"
                    )
                )


def _joints(job: Job, rows: list[Row], broken: frozenset[str], problems: list[Problem]) -> None:
    used = Counter(p.joint for p in job.pairs.values())
    for row in rows:
        joint = job.joints.get(row["id"])
        if joint is None:
            continue
        if joint.back == joint.ahead:
            problems.append(
                row.problem("ahead", "the back segment again", "another segment", "correct it")
            )
        if used[joint.id] == 0 and "pairs.csv" not in broken:
            problems.append(
                row.problem(
                    "id", "a joint without pairs", "at least one pair", "add rows to pairs.csv"
                )
            )


def _pairs(job: Job, rows: list[Row], problems: list[Problem]) -> None:
    for row in rows:
        joint = job.joints.get(row["joint"])
        back, ahead = job.points.get(row["back_point"]), job.points.get(row["ahead_point"])
        if joint is None or back is None or ahead is None:
            continue
        if back.id == ahead.id:
            problems.append(
                row.problem(
                    "ahead_point",
                    "the back point again: a pair with one point",
                    "a point on the ahead face",
                    "name the other point",
                )
            )
            continue
        if back.segment == joint.ahead and ahead.segment == joint.back:
            problems.append(
                row.problem(
                    "back_point",
                    f"a point of {back.segment}, which is the ahead segment: faces swapped",
                    f"a point of {joint.back}",
                    "exchange back_point and ahead_point, or back and ahead in joints.csv",
                )
            )
            continue
        for column, point, segment in (
            ("back_point", back, joint.back),
            ("ahead_point", ahead, joint.ahead),
        ):
            if point.segment != segment:
                problems.append(
                    row.problem(
                        column,
                        f"'{point.id}' of segment {point.segment}",
                        f"a point of {segment}",
                        "correct it",
                    )
                )
        _face(row, joint.axes_in_grid @ (ahead.design - back.design), problems)


def _face(row: Row, across: np.ndarray, problems: list[Problem]) -> None:
    gap, sideways, up = (float(v) for v in across)
    opening = row["opening"]
    if gap < -0.001 and opening > 0.001:
        problems.append(
            row.problem(
                "ahead_point",
                f"an ahead point {-gap:.3f} m behind its back point (faces or azimuth turned)",
                "an ahead point ahead of its back point",
                "check the points and the azimuth in joints.csv",
            )
        )
    elif abs(gap - opening) > FACE_FIT:
        problems.append(
            row.problem(
                "opening",
                f"{opening:.3f} m, but the design points are {gap:.3f} m apart along the joint",
                f"within {FACE_FIT} m of each other",
                "check opening, points and azimuth",
            )
        )
    elif max(abs(sideways), abs(up)) > FACE_FIT:
        problems.append(
            row.problem(
                "ahead_point",
                f"design points {abs(sideways):.3f} m sideways and {abs(up):.3f} m in height apart",
                f"within {FACE_FIT} m of each other",
                "pair the points that must meet",
            )
        )


def _seats(job: Job, rows: list[Row], broken: frozenset[str], problems: list[Problem]) -> None:
    served = {j.seat for j in job.jacks.values()}
    for row in rows:
        seat = job.seats.get(row["id"])
        if seat is None:
            continue
        if seat.id not in served and not seat.hold and "jacks.csv" not in broken:
            problems.append(
                row.problem(
                    "id",
                    f"seat {seat.id} without a jack",
                    "a jack in jacks.csv, or hold = yes",
                    "add the jack or hold the seat",
                )
            )
        _present_load(job, seat, row, problems)


def _present_load(job: Job, seat: Seat, row: Row, problems: list[Problem]) -> None:
    now = seat.reaction_now
    if now is None:
        return
    capacity = sum(j.capacity for j in job.jacks_at(seat.id))
    if capacity and now > capacity:
        problems.append(
            row.problem(
                "reaction_now",
                f"{now / 1e3:.0f} kN on jacks of {capacity / 1e3:.0f} kN in all",
                "a present load below the jacks' capacity",
                "more or larger jacks at this seat",
            )
        )
    if not seat.reaction_least <= now <= seat.reaction_most:
        problems.append(
            row.problem(
                "reaction_now",
                f"{now / 1e3:.0f} kN, outside the seat's own limits",
                f"{seat.reaction_least / 1e3:.0f} to {seat.reaction_most / 1e3:.0f} kN",
                "check the reading and the limits",
            )
        )


def _kept_back(rows: list[Row], problems: list[Problem]) -> None:
    for row in rows:
        if row["kept_back"] > row["count"]:
            problems.append(
                row.problem(
                    "kept_back",
                    f"{row['kept_back']} of {row['count']} loose ones",
                    "no more than are loose",
                    "count the store and correct count or kept_back",
                )
            )


def _plates(job: Job, rows: list[Row], broken: frozenset[str], problems: list[Problem]) -> None:
    on_packs = any(seat.held_by == "packs" for seat in job.seats.values())
    if on_packs and not job.plates and "plates.csv" not in broken:
        allowed, do = "a row for each kind of plate", "write down what is in store and in packs"
        problems.append(Problem("plates.csv", "no plate", allowed, do))
    for row in rows:
        seat = job.seats.get(row["id"])
        if seat is None or seat.held_by == "nut":
            continue
        missing = [m for m in seat.pack if m not in job.plates]
        for mark in dict.fromkeys(missing if "plates.csv" not in broken else []):
            problems.append(
                row.problem(
                    "pack",
                    f"plate '{mark}'",
                    "marks of plates.csv",
                    "add the mark there (count 0 if none is loose)",
                )
            )
        if missing:
            continue
        if seat.thinnest > seat.thickest:
            problems.append(
                row.problem(
                    "thickest",
                    f"{seat.thickest * 1e3:g} mm, but thinnest is {seat.thinnest * 1e3:g} mm",
                    "thinnest or more",
                    "correct one of them",
                )
            )
        elif (
            job.plates
            and "plates.csv" not in broken
            and not any(map(seat.may_hold, job.plates.values()))
        ):
            problems.append(_no_such_plate(job, row))
        if len(seat.pack) > seat.most_plates:
            problems.append(
                row.problem(
                    "pack", f"{len(seat.pack)} plates", f"at most {seat.most_plates}", "correct one"
                )
            )
        height = job.pack_height(seat.pack)
        orderly = seat.pack_least <= seat.pack_most
        if orderly and not seat.pack_least - 1e-9 <= height <= seat.pack_most + 1e-9:
            problems.append(
                row.problem(
                    "pack",
                    f"a pack of {height * 1e3:.2f} mm",
                    f"{seat.pack_least * 1e3:.2f} to {seat.pack_most * 1e3:.2f} mm",
                    "check the plates and the pack limits",
                )
            )


def _no_such_plate(job: Job, row: Row) -> Problem:
    """Tell of a range of thickness without a plate: most often a slip of the unit."""
    column = "thinnest" if row["thinnest"] > 0.0 else "thickest"
    thick = [p.nominal * 1e3 for p in job.plates.values()]
    return row.problem(
        column,
        f"{row[column] * 1e3:g} mm, which leaves no plate for a new pack",
        f"plates.csv has {min(thick):g} to {max(thick):g} mm",
        "correct thinnest and thickest; to keep the pack as it is, name the seat in leave_alone",
    )


def _limits(job: Job, rows: list[Row], broken: frozenset[str], problems: list[Problem]) -> None:
    for row in rows:
        limit = job.limits.get(row["id"])
        if limit is None:
            continue
        wanted = 2 if limit.kind == "difference" else 4
        if len(set(limit.seats)) != wanted or len(limit.seats) != wanted:
            problems.append(
                row.problem(
                    "seats", f"'{' '.join(limit.seats)}'", f"{wanted} different seats", "correct it"
                )
            )
        for name in limit.seats:
            if name not in job.seats and "seats.csv" not in broken:
                problems.append(
                    row.problem(
                        "seats", f"'{name}'", "ids of seats.csv", "correct it or add it there"
                    )
                )


def _left_alone(job: Job, broken: frozenset[str], problems: list[Problem]) -> None:
    if "seats.csv" in broken:
        return
    for name in job.objectives.leave_alone:
        if name not in job.seats:
            allowed, do = "an id of seats.csv", "correct it, or take it out"
            problems.append(
                Problem("job.toml", f"'{name}'", allowed, do, column="objectives.leave_alone")
            )


def _excluded(job: Job, broken: frozenset[str], problems: list[Problem]) -> None:
    if broken & {"points.csv", "readings.csv"}:
        return
    known = set(job.points) | {r.id for r in job.readings} | set(job.control)
    observed = any(e.observed for e in job.epochs)
    for name in job.excluded:
        # SETUP/TARGET/... is an observation: the network knows whether it is there
        if name not in known and not (observed and "/" in name):
            problems.append(
                Problem(
                    "job.toml",
                    f"'{name}'",
                    "an id of points.csv or readings.csv",
                    "correct it; a name that is not there excludes nothing",
                    column=f"exclude.{name}",
                )
            )


def _other_names(job: Job, broken: frozenset[str], problems: list[Problem]) -> None:
    """Another name must mean a point, and no point that has it for its own."""
    if broken & {"points.csv", "control.csv"}:
        return
    known = set(job.points) | set(job.control)
    for name, id_ in job.names.items():
        if id_ not in known:
            found, allowed = f"'{id_}'", "an id of points.csv or control.csv"
            do = "correct it"
        elif name in known:
            found, allowed = f"'{name}', itself the id of a point", "a name that no point has"
            do = "take it out: a point goes by its own id"
        else:
            continue
        problems.append(Problem("job.toml", found, allowed, do, column=f"names.{name}"))


def _thermometers(job: Job, rows: list[Row], problems: list[Problem]) -> None:
    """A reading counts only where the segment says what temperature does to it."""
    for row in rows:
        segment = job.segments.get(row["segment"])
        if segment is None:
            continue
        if segment.expansion is None:
            problems.append(
                row.problem(
                    "segment",
                    f"a thermometer on {segment.id}, which has no expansion",
                    "segments with expansion and fixed point",
                    "fill them in in segments.csv, or delete the row",
                )
            )
        elif row["place"] != "middle" and segment.depth is None:
            problems.append(
                row.problem(
                    "place",
                    f"'{row['place']}' on {segment.id}, which has no depth",
                    "middle, or a segment with depth",
                    "give the depth between the thermometers in segments.csv",
                )
            )
