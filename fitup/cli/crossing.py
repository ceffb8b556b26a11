"""Tables of what crosses a joint, as surveyed and as planned: ride, bores, bolts."""

from __future__ import annotations

from collections.abc import Iterator

from fitup.certify import Certificate
from fitup.checks.bolts import bolts_as_surveyed
from fitup.checks.bores import bores_as_surveyed
from fitup.checks.ride import ride_as_surveyed
from fitup.cli.text import text_table
from fitup.model import Job
from fitup.sheets.numbers import rounded
from fitup.sheets.passage import room_words
from fitup.sheets.ride import edge_words
from fitup.survey import Survey
from fitup.units import DISPLAY


def as_surveyed(job: Job, survey: Survey) -> Iterator[tuple[str, str]]:
    """Yield a title and a table for each kind of thing that crosses the joints of a job."""
    units = DISPLAY[job.units]
    rows = []
    for ride in ride_as_surveyed(job, survey):
        path = job.ride_paths[ride.path]
        gap, rough = units.move.text(ride.gap), units.roughness.text(ride.roughness)
        rows.append([path.joint, f"{path.id} {path.place}", gap, rough])
    if rows:
        header = ["joint", "where", f"gap under {edge_words(job)}", "IRI of 100 m"]
        yield "Ride over the joints, as surveyed", text_table(header, rows, right=[2, 3])
    rows = []
    for reading in bores_as_surveyed(job, survey):
        bore = job.bores[reading.bore]
        round_ = max(float(c.off.max()) for c in reading.circles)
        room = room_words(rounded(reading.room, units.move))
        known = [u for u in reading.centre_u if u is not None]
        u = units.move.text(max(known)) if len(known) == len(reading.centre_u) else "carried"
        rows.append([bore.joint, f"{bore.id} {bore.place}", room, units.move.text(round_), u])
    if rows:
        header = ["joint", "where", "room all round", "points off circles by", "u of centres"]
        yield "Bores, as surveyed", text_table(header, rows, right=[3, 4])
    rows = []
    for match in bolts_as_surveyed(job, survey):
        group = job.bolts[match.group]
        passing = f"{match.passing} of {match.holes}"
        worst, fitted = units.move.text(match.worst), units.move.text(match.fitted)
        where = f"{group.id} {group.place}"
        rows.append([group.joint, where, passing, units.move.text(group.clearance), worst, fitted])
    if rows:
        header = ["joint", "where", "bolts pass", "clearance", "worst hole", "after best fit"]
        yield "Bolt holes, as surveyed", text_table(header, rows, right=[2, 3, 4, 5])


def before_and_after(job: Job, certificate: Certificate) -> Iterator[tuple[str, str]]:
    """Yield a title and a table for each kind of thing that crosses the joints of a plan."""
    units = DISPLAY[job.units]
    move, rough = units.move.text, units.roughness.text
    rides = [
        [
            *(f.joint, f"{f.path} {f.place}", move(f.gap_before), move(f.gap_after)),
            *(rough(f.roughness_before), rough(f.roughness_after)),
        ]
        for f in certificate.ride
    ]
    if rides:
        header = ["joint", "where", "gap before", "gap after", "IRI before", "IRI after"]
        yield "Ride over the joints", text_table(header, rides, right=[2, 3, 4, 5])
    bores = [
        [
            *(b.joint, f"{b.bore} {b.place}"),
            *(room_words(rounded(v, units.move)) for v in (b.room_before, b.room_after)),
        ]
        for b in certificate.bores
    ]
    if bores:
        yield "Bores: room all round", text_table(["joint", "where", "before", "after"], bores)
    bolts = [
        [
            *(g.joint, f"{g.group} {g.place}", f"{g.passing_before} of {g.holes}"),
            *(f"{g.passing_after} of {g.holes}", move(g.worst_before), move(g.worst_after)),
            move(g.fitted_after),
        ]
        for g in certificate.bolts
    ]
    if bolts:
        header = ["joint", "where", "pass before", "pass after"]
        header += ["worst before", "worst after", "best fit"]
        yield "Bolt holes", text_table(header, bolts, right=[2, 3, 4, 5, 6])
