"""``fitup stations``: points between stations and the grid, and the elements of an alignment."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import click
import numpy as np

from fitup.alignment import Alignment, DesignFile, read_design
from fitup.alignment.crossfall import Crossfall, in_words
from fitup.alignment.write import Converted, points_csv, points_landxml, side_of
from fitup.cli.text import json_option, say_json, text_table
from fitup.errors import InputError, Problem
from fitup.jobfolder.axis import place_of
from fitup.jobfolder.table import Row, read_table, unique
from fitup.model.column import Column
from fitup.units import from_si

_POINTS = (
    Column("id", "id", "the name of the point"),
    Column("station", "text", "its station, where E and N are empty", required=False),
    Column("offset", "length", "its distance from the axis", required=False, least=0.0),
    Column("side", "word", "the side", required=False, words=("left", "right", "axis")),
    Column("E", "length", "its easting", required=False),
    Column("N", "length", "its northing", required=False),
    Column("H", "length", "its height", required=False),
)


@click.command("stations")
@click.argument("alignment", type=click.Path(path_type=Path, readable=False))
@click.option(
    "--points",
    type=click.Path(path_type=Path, readable=False),
    help="CSV with id and E, N or station, offset, side, each with its unit; or LandXML points.",
)
@click.option("--name", help="Which alignment, where the file has several.")
@click.option("--surface", help="Which surface of LandXML cross-sections is the deck.")
@click.option(
    "--to", "target", type=click.Path(path_type=Path), help="Write the points: .csv or .xml."
)
@json_option
def command(
    alignment: Path,
    points: Path | None,
    name: str | None,
    surface: str | None,
    target: Path | None,
    as_json: bool,
) -> None:
    """Convert points between station, offset, height and the grid.

    ALIGNMENT is LandXML, or IFC 4.3. Without points, its elements are listed. The sides are LEFT
    and RIGHT of someone who looks ahead, to higher stations.

    \b
    Examples:
      fitup stations axis.xml
      fitup stations axis.xml --points deck.csv --to deck.xml
    """
    file = read_design(alignment, str(alignment), name, surface)
    axis = file.alignment
    if axis is None:
        raise InputError(
            [Problem(str(alignment), "no alignment", "one alignment", "is this the right file?")]
        )
    if points is None and target is not None:
        raise InputError([Problem("--to", "no points", "--points FILE", "name the points")])
    found = () if points is None else _converted(points, axis)
    if target is not None:
        _write(target, axis, found, file.made)
    if as_json:
        say_json(as_json_result(file, axis, found))
        return
    _show_alignment(file, axis) if points is None else _show_points(axis, found)
    if target is not None:
        click.echo(f"wrote {target}")


def _converted(path: Path, axis: Alignment) -> tuple[Converted, ...]:
    """Return the points of a file both ways.

    Raises
    ------
    InputError
        With every point that is given twice, neither way, both ways, or lies beside no part of
        the axis.
    """
    problems: list[Problem] = []
    result: list[Converted] = []
    if path.suffix.lower() in (".xml", ".landxml"):
        for point in read_design(path, str(path)).points:
            place = axis.from_grid(float(point.position[0]), float(point.position[1]))
            if place is None:
                problems.append(_nowhere(str(path), point.id, None))
            else:
                result.append(Converted(point.id, point.position, place))
    else:
        rows = read_table(path, str(path), _POINTS, problems)
        result += unique(rows, problems, lambda row: _of_row(row, axis, problems)).values()
    if not problems and not result:
        problems.append(Problem(str(path), "no points", "one or more", "add rows"))
    if problems:
        raise InputError(problems)
    return tuple(result)


def _of_row(row: Row, axis: Alignment, problems: list[Problem]) -> Converted | None:
    grid, height = [row["E"], row["N"]], math.nan if row["H"] is None else row["H"]
    if None not in grid and not row["station"]:
        place = axis.from_grid(*grid)
        if place is None:
            problems.append(_nowhere(row.file, row["id"], row.number))
            return None
        return Converted(row["id"], np.array([*grid, height]), place)
    if not row["station"] or grid != [None, None]:
        problems.append(
            row.problem(
                "station",
                "both ways" if row["station"] else "neither way",
                "E and N, or station, offset and side",
                "give one of the two",
            )
        )
        return None
    place = place_of(row, axis, problems)
    if place is None:
        return None
    return Converted(row["id"], np.array([*axis.to_grid(place), height]), place)


def _nowhere(file: str, name: str, row: int | None) -> Problem:
    return Problem(
        file,
        f"'{name}', beside no part of the alignment",
        "a point whose cross-section meets it",
        "is it the right alignment, unit and order of E and N?",
        row=row,
    )


def _write(target: Path, axis: Alignment, found: tuple[Converted, ...], made: str) -> None:
    kind = target.suffix.lower()
    if kind not in (".csv", ".xml"):
        raise InputError(
            [Problem("--to", f"'{target.name}'", "a name that ends in .csv or .xml", "rename it")]
        )
    if kind == ".csv":
        text = points_csv(axis, found)
    else:
        text = points_landxml(axis.unit, [(p.id, p.grid) for p in found], made)
    try:
        with target.open("x", encoding="utf-8", newline="\n") as out:
            out.write(text)
    except FileExistsError:
        raise InputError(
            [Problem("--to", f"'{target}', which is there", "a new file", "name another")]
        ) from None


def _show_points(axis: Alignment, found: tuple[Converted, ...]) -> None:
    rows = []
    for point in found:
        size, side = side_of(point.place.left, 4, axis.unit)
        grid = ["-" if math.isnan(v) else f"{_in(axis, float(v)):.4f}" for v in point.grid]
        station = axis.stations.text(point.place.station, 4)
        rows.append([point.id, station, f"{size:.4f}", side, *grid])
    unit = axis.unit
    header = ["point", "station", f"offset {unit}", "side", f"E {unit}", f"N {unit}", f"H {unit}"]
    click.echo(f"alignment '{axis.name}', sides as seen looking ahead")
    click.echo(text_table(header, rows, right=[1, 2, 4, 5, 6]))


def _in(axis: Alignment, value: float) -> float:
    return from_si(value, "length", axis.unit)


def _show_alignment(file: DesignFile, axis: Alignment) -> None:
    text = axis.stations.text
    click.echo(f"alignment '{axis.name}' from {text(axis.start)} to {text(axis.end)}")
    for note in file.notes:
        click.echo(f"note: {note}")
    unit, rows = axis.unit, []
    for k, (curve, begin) in enumerate(zip(axis.curves, axis.begins, strict=False), 1):
        radii = _radii(axis, curve.bend_in, curve.bend_out)
        side = curve.bend_in + curve.bend_out
        way = "" if side == 0.0 else ("LEFT" if side > 0.0 else "RIGHT")
        azimuth = f"{math.degrees(curve.azimuth) % 360.0:.5f}"
        rows.append(
            [str(k), curve.kind, text(begin), f"{_in(axis, curve.length):.3f}", azimuth, radii, way]
        )
    header = ["", "element", "from", f"length {unit}", "azimuth deg", f"radius {unit}", "bends"]
    click.echo(text_table(header, rows, right=[0, 2, 3, 4, 5]))
    _show_profile(axis)
    _show_crossfall(axis)


def _show_profile(axis: Alignment) -> None:
    if axis.profile is None:
        click.echo("no profile")
        return
    text, unit = axis.stations.text, axis.unit
    rows = [
        [
            piece.kind,
            text(piece.station),
            f"{_in(axis, piece.height):.3f}",
            f"{_in(axis, piece.length):.3f}",
            _grade(piece.grade_in),
            _grade(piece.grade_out),
        ]
        for piece in axis.profile.pieces
    ]
    header = ["profile", "from", f"height {unit}", f"length {unit}", "grade in", "grade out"]
    click.echo("\n" + text_table(header, rows, right=[1, 2, 3]))


def _show_crossfall(axis: Alignment) -> None:
    fall = axis.crossfall
    if fall is None:
        click.echo("no crossfall")
        return
    rows = [
        [axis.stations.text(s), in_words(left), in_words(right)]
        for s, left, right in zip(fall.stations, fall.left, fall.right, strict=True)
    ]
    click.echo(f"\ncrossfall from {fall.source}, straight between stations")
    for begin, end in fall.gaps:
        text = axis.stations.text
        click.echo(f"not known between {text(begin)} and {text(end)}")
    click.echo(text_table(["station", "left of the axis", "right of the axis"], rows, right=[0]))


def _radii(axis: Alignment, first: float, last: float) -> str:
    if first == last == 0.0:
        return ""
    ends = ["straight" if b == 0.0 else f"{_in(axis, 1.0 / abs(b)):.3f}" for b in (first, last)]
    return ends[0] if first == last else " to ".join(ends)


def _grade(grade: float) -> str:
    """Return a grade in words.

    Examples
    --------
    >>> _grade(-0.0125), _grade(0.0)
    ('falls 1.2500 %', 'level')
    """
    size = f"{abs(grade) * 100.0:.4f} %"
    return "level" if abs(grade) < 5e-7 else f"{'rises' if grade > 0.0 else 'falls'} {size}"


def as_json_result(
    file: DesignFile, axis: Alignment, found: tuple[Converted, ...]
) -> dict[str, Any]:
    """Return the alignment and its points with documented keys (docs/json.md), in SI."""
    return {
        "alignment": axis.name,
        "unit": axis.unit,
        "start_m": axis.start,
        "end_m": axis.end,
        "notes": [str(n) for n in file.notes],
        "elements": [
            {
                "kind": c.kind,
                "station_m": begin,
                "length_m": c.length,
                "east_m": c.east,
                "north_m": c.north,
                "azimuth_rad": c.azimuth % math.tau,
                "bend_left_in_per_m": c.bend_in,
                "bend_left_out_per_m": c.bend_out,
            }
            for c, begin in zip(axis.curves, axis.begins, strict=False)
        ],
        "profile": [
            {
                "kind": p.kind,
                "station_m": p.station,
                "length_m": p.length,
                "height_m": p.height,
                "grade_in": p.grade_in,
                "grade_out": p.grade_out,
            }
            for p in (() if axis.profile is None else axis.profile.pieces)
        ],
        **_crossfall_json(axis.crossfall),
        "points": [_point_json(axis, p) for p in found],
    }


def _crossfall_json(fall: Crossfall | None) -> dict[str, Any]:
    fall = fall or Crossfall((), (), ())
    return {
        "crossfall_source": fall.source,
        "crossfall": [
            {"station_m": s, "rises_left_on_left": left, "rises_left_on_right": right}
            for s, left, right in zip(fall.stations, fall.left, fall.right, strict=True)
        ],
        "crossfall_gaps": [{"begin_m": begin, "end_m": end} for begin, end in fall.gaps],
        "crossfall_reach_m": [r for r in fall.reach if math.isfinite(r)],
    }


def _point_json(axis: Alignment, point: Converted) -> dict[str, Any]:
    size, side = side_of(point.place.left, 9, "m")
    east, north, height = (float(v) for v in point.grid)
    place, fall = (point.place.station, point.place.left), axis.crossfall
    return {
        "id": point.id,
        "station": axis.stations.text(point.place.station, 5),
        "station_m": point.place.station,
        "offset_m": size,
        "side": side.lower(),
        "east_m": east,
        "north_m": north,
        "height_m": None if math.isnan(height) else height,
        "azimuth_rad": axis.azimuth(point.place.station),
        "grade": axis.grade(point.place.station),
        "profile_height_m": axis.level(point.place.station),
        "crossfall_rising_left": None if fall is None else fall.at(*place),
    }
