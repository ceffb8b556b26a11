"""``fitup structure``: is the frame to be believed, what carries, and what a move does."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

import click
import numpy as np

from fitup.checks import checks_of
from fitup.checks.thermal import segment_rates
from fitup.cli.text import job_argument, json_option, say_json, text_table
from fitup.errors import InputError, Problem
from fitup.frames import Array
from fitup.jobfolder import read_job
from fitup.model import Check, ForceRow
from fitup.plainfile import write_whole
from fitup.sheets.words import NAMES, move_words, plain_value, shown_for
from fitup.structure.cable.report import HungReport
from fitup.structure.frame.report import DISAGREE, FrameReport, SeatReport, report_of
from fitup.units import DISPLAY, DisplayUnits, Shown, to_si


@click.command("structure")
@job_argument
@click.option(
    "--out",
    type=click.Path(path_type=Path, readable=False),
    help="Folder for the figures; none are drawn when not given.",
)
@click.option("--seat", help="Seat whose influence is drawn; the first when not given.")
@json_option
def command(job: Path, out: Path | None, seat: str | None, as_json: bool) -> None:
    """Check the frame of a job and show what carries and what its seats do.

    Weight against reactions, condition, deflection; the present reaction of every seat and which
    of them carry; watched forces; what a move of each seat does to the reactions; and where an
    imported influence table and the frame disagree. No survey is needed.

    \b
    Example:
      fitup structure closure-k1 --out figures
    """
    report = report_of(read_job(job), job)
    chosen = next(iter(report.job.seats)) if seat is None else seat
    if chosen not in report.job.seats:
        allowed = ", ".join(report.job.seats)
        raise InputError([Problem("--seat", f"'{chosen}'", allowed, "name one of them")])
    written = () if out is None else _draw(report, chosen, out)
    if as_json:
        say_json(as_json_result(report))
    else:
        show(report)
        for path in written:
            click.echo(f"wrote {path}")


def _draw(report: FrameReport, seat: str, folder: Path) -> tuple[Path, ...]:
    """Write the figures, each in one step."""
    from fitup.sheets.figure_structure import structure_figures
    from fitup.sheets.write import file_names

    drawn = structure_figures(report, seat)
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, plain in file_names("", tuple(drawn)).items():
        path = folder / f"{plain}.svg"
        write_whole(path, drawn[name])
        written.append(path)
    return tuple(written)


def show(report: FrameReport) -> None:
    """Print a frame: sanity, seats, watched forces, moves, warp, and how a table compares."""
    units = DISPLAY[report.job.units]
    _show_sanity(report, units)
    click.echo("\nSeats")
    click.echo(_seat_table(report, units))
    if report.loose:
        click.echo(
            "The openings of " + ", ".join(report.loose) + " are not settled by the stiffness: "
            "the structure can rock on the seats that carry."
        )
    if report.hung is not None:
        _show_hung(report.hung, units)
    if _placed(report):
        click.echo("\nWatched forces, with the present loads")
        click.echo(_force_table(report, units))
    step = units.move.text(_per_move(units))
    click.echo(f"\nWhat a move of {step} does to the loads")
    for i, seat in enumerate(report.influence.seats):
        click.echo(f"  {_move(report, seat, report.influence.R[:, i], units)}")
    for segment, pattern in report.twist.items():
        changes = _changes(list(pattern.items()), _per_move(units), units)
        click.echo(f"  segment {segment} warped by {step}: {changes}")
    _show_thermal(report, units)
    _show_release(report, units)
    _show_table(report)
    click.echo("\nan aid to a competent engineer, not approved for work")


def _show_sanity(report: FrameReport, units: DisplayUnits) -> None:
    sanity, frame, force = report.sanity, report.job.frame, units.force
    assert frame is not None
    click.echo(
        f"{report.job.name}: a frame of {len(frame.nodes)} nodes, {len(frame.members)} members, "
        f"{len(frame.springs)} springs and {len(frame.bodies)} rigid bodies, "
        f"{sanity.motions} free motions."
    )
    click.echo("Is it to be believed?")
    click.echo(
        f"  weighs {force.text(sanity.weight)}; seats carry {force.text(sanity.seats)}, the ground "
        f"{force.text(sanity.ground)}: nothing is left over"
    )
    click.echo(
        f"  moves by at most {units.move.text(sanity.sag)} under its own loads, most of it "
        f"{sanity.sag_way}, at {sanity.sag_at}"
    )
    click.echo("  every node is held; the stiffness is symmetric")
    for own in sanity.segments:
        click.echo(
            f"  segment {own.segment}: {force.text(own.frame)} in the frame, "
            f"{force.text(own.stated)} in segments.csv"
        )
    for line in sanity.warnings:
        click.echo(f"  LOOK: {line}")


def _seat_table(report: FrameReport, units: DisplayUnits) -> str:
    rows = []
    for seat in report.seats:
        state = "carries" if seat.carries else f"OPEN by {units.move.text(seat.opening)}"
        rows.append(
            [
                seat.seat,
                state,
                units.force.text(seat.reaction),
                "measured" if seat.measured else "computed",
                _ways(report, seat),
                units.coordinate.text(seat.arm),
            ]
        )
    header = ["seat", "now", "load", "which is", "it", "arm to the frame"]
    return text_table(header, rows, right=[2, 5])


def _ways(report: FrameReport, seat: SeatReport) -> str:
    if report.job.seats[seat.seat].pushes == "shorten":
        return "pulls its cable"
    return "pushes only" if seat.one_way else "pushes and pulls"


def _show_hung(hung: HungReport, units: DisplayUnits) -> None:
    force = units.force
    click.echo("\nCables, at the end that is adjusted")
    rows = [
        [
            c.cable,
            force.text(c.pulls),
            "-" if c.measured is None else force.text(c.measured),
            f"{force.text(c.least, unit=False)} to "
            + ("no limit" if np.isinf(c.most) else force.text(c.most)),
            "-" if c.form == "straight" else units.coordinate.text(c.sag),
            "-"
            if c.firm is None
            else f"{c.seat} +{force.text(c.firm * _per_move(units))} for {_one_move(units)}",
        ]
        for c in hung.cables
    ]
    header = ["cable", "pulls", "measured", "may pull", "sag", "shortened by"]
    click.echo(text_table(header, rows, right=[1, 2, 4]))
    for s in hung.saddles:
        click.echo(
            f"Saddle {s.saddle}: {force.text(s.back)} back, {force.text(s.ahead)} ahead, 1 to "
            f"{s.ratio:.3f}; friction over {np.degrees(s.turn):.1f} degrees holds 1 to "
            f"{s.holds:.3f}"
        )
        if s.carries is not None and s.goes_back is not None and s.keeps is not None:
            click.echo(
                f"  its pack carries {force.text(s.carries)}; jacks that hold as much and let go "
                f"onto a new pack lose {units.move.text(s.goes_back)}, {force.text(s.keeps)} stay"
            )
    click.echo(
        f"At rest the structure is at most {units.move.text(hung.moved)} from where the tables put "
        f"it, at {hung.moved_at}"
    )


def _one_move(units: DisplayUnits) -> str:
    return units.move.text(_per_move(units))


def _force_table(report: FrameReport, units: DisplayUnits) -> str:
    frame = report.job.frame
    assert frame is not None
    rows = []
    for force in _placed(report):
        place, shown = frame.places[force.id], _shown(force.kind, units)
        rows.append(
            [
                force.id,
                f"{place.quantity} in {place.member} at {units.coordinate.text(place.at)}",
                _worded(force.now, force.words, shown),
                "-" if np.isinf(force.least) else _worded(force.least, force.words, shown),
                "-" if np.isinf(force.most) else _worded(force.most, force.words, shown),
            ]
        )
    return text_table(["place", "what", "now", "limit", "limit"], rows, right=[2, 3, 4])


def _placed(report: FrameReport) -> list[ForceRow]:
    """Return the forces watched at places of members; those of cables are stated with them."""
    frame = report.job.frame
    assert frame is not None
    return [f for f in report.influence.forces if f.id in frame.places]


def _shown(kind: str, units: DisplayUnits) -> Shown:
    return {"force": units.force, "moment": units.moment, "stress": units.stress}[kind]


def _worded(value: float, words: tuple[str, str], shown: Shown) -> str:
    """Say a force with its side in a word."""
    size = shown.text(abs(value))
    return size if shown.number(value) == 0.0 else f"{words[0 if value > 0.0 else 1]} {size}"


def _per_move(units: DisplayUnits) -> float:
    """Return a move such as crews make [m]: one millimetre or a tenth of an inch."""
    return units.move.back(1.0 if units.name == "metric" else 0.1)


def _move(report: FrameReport, seat: str, change: Array, units: DisplayUnits) -> str:
    word = move_words(report.job.seats[seat].pushes, _per_move(units), units).side
    pairs = list(zip(report.influence.seats, change.tolist(), strict=True))
    return f"{word} at {seat}: {_changes(pairs, _per_move(units), units)}"


def _changes(pairs: list[tuple[str, float]], move: float, units: DisplayUnits) -> str:
    """Say which loads grow and which shrink, those that count, the largest first."""
    largest = max(abs(v) for _, v in pairs)
    parts = []
    for word, sign in (("more on", 1.0), ("less on", -1.0)):
        own = sorted((p for p in pairs if sign * p[1] > 0.05 * largest), key=lambda p: -abs(p[1]))
        if own:
            stated = ", ".join(f"{n} by {units.force.text(abs(v) * move)}" for n, v in own)
            parts.append(f"{word} {stated}")
    return "; ".join(parts) if parts else "no load changes"


def _show_thermal(report: FrameReport, units: DisplayUnits) -> None:
    job = report.job
    if job.thermal is None:
        return
    # a step such as people think in: 10 of either degree
    step = to_si(10.0, "temperature_step", units.temperature.suffix)
    click.echo(f"\nWhat steel 10 {units.temperature.word} warmer does")
    checks = tuple(c for c in checks_of(job) if c.joint and c.point is None)
    for words, rates, rows in zip(
        ("all of {}", "top of {} against its bottom"),
        segment_rates(job, checks),
        np.split(job.thermal.reactions, 2, axis=1),
        strict=True,
    ):
        for k, name in enumerate(job.segments):
            if not (np.any(rates[:, k]) or np.any(rows[:, k])):
                continue
            loads = [
                (seat, change)
                for seat, change in zip(job.seats, rows[:, k].tolist(), strict=True)
                if units.force.number(change * step)
            ]
            stated = _most_changed(checks, rates[:, k] * step, units)
            stated += [_changes(loads, step, units)] if loads else []
            click.echo(f"  {words.format(name)}: {'; '.join(stated) or 'nothing that shows'}")
    if job.thermal.apart is not None and job.thermal.apart.reactions.any():
        click.echo("  cables, and what stands apart, go with the mean of all segments in this")


def _most_changed(checks: tuple[Check, ...], change: Array, units: DisplayUnits) -> list[str]:
    """Say of each joint and quantity the check that changes most, those that show."""
    most: dict[tuple[str, str], tuple[Check, float]] = {}
    for check, value in zip(checks, change.tolist(), strict=True):
        key = check.joint, check.quantity
        if shown_for(check.quantity, units).number(value) and (
            key not in most or abs(value) > abs(most[key][1])
        ):
            most[key] = check, value
    return [
        f"{c.joint} {NAMES[c.quantity].lower()} {plain_value(c.quantity, v, units).words}"
        for c, v in most.values()
    ]


def _show_release(report: FrameReport, units: DisplayUnits) -> None:
    release = report.release
    if release is None:
        return
    click.echo(f"\nAfter taking off {', '.join(release.taken_off)}")
    checks = zip(checks_of(report.job), release.change.tolist(), strict=True)
    moved = [(c, v) for c, v in checks if c.joint and shown_for(c.quantity, units).number(v)]
    rows = [[c.id, plain_value(c.quantity, v, units).words] for c, v in moved if c.point is None]
    click.echo(text_table(["check", "goes on by"], rows) if rows else "  no joint moves")
    loads = ", ".join(f"{n} {units.force.text(r)}" for n, r in release.reactions.items())
    click.echo(f"  then carry: {loads}")
    click.echo("  targets of a plan allow for this: it aims so that the joint comes right then")


def _show_table(report: FrameReport) -> None:
    if report.table is None:
        return
    click.echo(f"\nThe table {report.table} against the frame")
    if not report.disagreements:
        click.echo(
            f"  all {report.compared} rows agree within {DISAGREE:.0%} of their largest entry"
        )
        return
    click.echo(
        f"  {len(report.disagreements)} of {report.compared} rows disagree, the worst first:"
    )
    for found in report.disagreements[:20]:
        click.echo(
            f"  {found.row}: at seat {found.seat} off by {found.share:.0%} of the row's largest"
            " entry"
        )


def as_json_result(report: FrameReport) -> dict[str, Any]:
    """Return the report with documented keys (docs/json.md), in SI."""
    sanity = {k: v for k, v in asdict(report.sanity).items() if k != "faults"}
    return {
        "job": report.job.name,
        "sanity": sanity | {"unbalanced": report.sanity.unbalanced},
        "seats": [asdict(s) for s in report.seats],
        "loose": list(report.loose),
        "forces": [
            {"id": f.id, "kind": f.kind, "now": f.now, "side": f.words[0 if f.now >= 0.0 else 1]}
            for f in report.influence.forces
        ],
        "influence": {
            "seats": list(report.influence.seats),
            "checks": list(report.influence.checks),
            "A": report.influence.A.tolist(),
            "R": report.influence.R.tolist(),
        },
        "twist": [
            {"segment": s, "seat": n, "change": v}
            for s, p in report.twist.items()
            for n, v in p.items()
        ],
        "thermal": None
        if report.job.thermal is None
        else {
            "segments": list(report.job.segments),
            "checks": np.hstack(segment_rates(report.job, checks_of(report.job))).tolist(),
            "reactions": report.job.thermal.reactions.tolist(),
        },
        "release": None
        if report.release is None
        else {
            "taken_off": list(report.release.taken_off),
            "change": report.release.change.tolist(),
            "reactions": list(report.release.reactions.items()),
        },
        "table": report.table,
        "compared": report.compared,
        "disagreements": [asdict(d) for d in report.disagreements],
        "hung": None if report.hung is None else _hung(report.hung),
    }


def _hung(hung: HungReport) -> dict[str, Any]:
    """Return cables and saddles; no limit is null, not a number."""
    result = asdict(hung)
    for cable in result["cables"]:
        cable["most"] = None if np.isinf(cable["most"]) else cable["most"]
    return result
