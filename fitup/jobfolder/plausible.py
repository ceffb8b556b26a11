"""Findings about a job that can hardly be meant: one part of it contradicts another.

Each has a name, such as ``azimuth W7``. It stops the job until it is corrected, or waived in
writing: by that name and with the reason under ``[waive]`` in job.toml. What is waived then stands
with its reason among the cautions of every sheet.

The bounds are wide (common practice, no source): what lies beyond is a slip of a unit, a column or
a sign, or an unusual structure that its engineer can say is meant.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.errors import Problem
from fitup.frames import Array, heading
from fitup.jobfolder.table import Row
from fitup.model import Job, Joint, Segment

#: an azimuth may be so far off the middle line of the segment's points [rad], looked at over more
#: than this length [m]
_TURNED, _SHORTEST = np.radians(30.0), 2.0
#: a crossfall or grade may be so far off that of the points; both ways by more than this are two
#: sides [ratio]; points must spread so far [m]
_SLOPE_OFF, _LEVEL, _WIDE = 0.03, 0.005, 2.0
#: points of a segment this far apart along a joint's azimuth show its grade [m]
_ALONG: Final = 5.0
#: what belongs to a segment lies within this beyond its points [m]
_BESIDE: Final = 100.0
#: no segment is longer [m]
_LONGEST: Final = 2000.0


@dataclass(frozen=True, slots=True)
class Finding:
    """What can hardly be meant.

    Parameters
    ----------
    name : str
        By which it is waived.
    table, id, column : str
        Where it stands.
    found, allowed, do : str
        As for :class:`~fitup.errors.Problem`.
    """

    name: str
    table: str
    id: str
    column: str
    found: str
    allowed: str
    do: str


def judged(
    job: Job,
    waived: Mapping[str, str],
    tables: Mapping[str, list[Row]],
    problems: list[Problem],
) -> Job:
    """Return the job with what was waived; what was not is added to ``problems``.

    Parameters
    ----------
    job : Job
    waived : mapping of str to str
        Name of a finding -> the reason.
    tables : mapping of str to list of Row
        As read, for the rows of messages.
    problems : list of Problem
        Where it holds any already, tables are not held against one another.
    """
    if problems:
        return job
    found = {one.name: one for one in _findings(job)}
    for name in waived.keys() - found.keys():
        allowed = "the name of something found: " + (", ".join(found) or "nothing is")
        problems.append(
            Problem("job.toml", f"'{name}'", allowed, "take it out", column=f"waive.{name}")
        )
    for name, one in found.items():
        if name not in waived:
            rows = (r for r in tables.get(one.table, []) if r["id"] == one.id)
            do = f'{one.do}; if it is meant, job.toml: [waive] "{name}" = "reason, who"'
            row = next(rows, None)
            problems.append(
                Problem(one.table, one.found, one.allowed, do, column=one.column)
                if row is None
                else row.problem(one.column, one.found, one.allowed, do)
            )
    stated = [f"{found[n].found} ({n}): waived, {waived[n]}" for n in found if n in waived]
    return replace(job, waived=tuple(stated))


def _findings(job: Job) -> Iterator[Finding]:
    for segment in job.segments.values():
        own = {n: p.design for n, p in job.points.items() if p.segment == segment.id}
        if own:
            yield from _places(job, segment, own)
            yield from _azimuth(job, segment, own)
    for joint in job.joints.values():
        yield from _slopes(job, joint)
        yield from _grade(job, joint)
        yield from _sides(job, joint)


def _places(job: Job, segment: Segment, own: Mapping[str, Array]) -> Iterator[Finding]:
    """Find points far from the others of a segment, and its seats and centre far from them."""
    middle = np.median(np.array(list(own.values())), axis=0)
    reach = 0.0
    for name, place in own.items():
        apart = float(np.linalg.norm(place - middle))
        if apart > _LONGEST:
            found = f"{apart:.0f} m from the other points of {segment.id}"
            yield _far(f"point {name}", "points.csv", name, "E", found, _LONGEST)
        else:
            reach = max(reach, apart)
    parts = [("seat", "seats.csv", s.id, "E", s.position) for s in job.seats_of(segment.id)]
    parts.append(("centre", "segments.csv", segment.id, "centre_E", segment.centre))
    for kind, table, name, column, place in parts:
        apart = float(np.linalg.norm(place - middle))
        if apart > reach + _BESIDE:
            found = f"a {kind} {apart:.0f} m from the middle of the points of {segment.id}"
            yield _far(f"{kind} {name}", table, name, column, found, reach + _BESIDE)


def _far(name: str, table: str, own: str, column: str, found: str, most: float) -> Finding:
    do = "correct easting, northing or height, or the unit"
    return Finding(name, table, own, column, found, f"within {most:.0f} m", do)


def _azimuth(job: Job, segment: Segment, own: Mapping[str, Array]) -> Iterator[Finding]:
    """Hold an azimuth against the line from the back face of a segment to its ahead face."""
    back = {p.ahead_point for p in job.pairs.values() if job.joints[p.joint].ahead == segment.id}
    ahead = {p.back_point for p in job.pairs.values() if job.joints[p.joint].back == segment.id}
    rest = own.keys() - back - ahead
    ends = [[own[n] for n in sorted(face or rest)] for face in (back, ahead)]
    if not all(ends) or not (back or ahead):
        return
    line = (np.mean(ends[1], axis=0) - np.mean(ends[0], axis=0))[:2]
    length = float(np.linalg.norm(line))
    if length < _SHORTEST:
        return
    off = float(np.arccos(np.clip(line @ heading(segment.azimuth)[:2] / length, -1.0, 1.0)))
    if off > _TURNED:
        found = f"an azimuth {np.degrees(off):.0f} degrees off the points of {segment.id}"
        allowed = f"within {np.degrees(_TURNED):.0f} degrees of the line from face to face"
        do = "correct it, or the points"
        yield Finding(
            f"azimuth {segment.id}", "segments.csv", segment.id, "azimuth", found, allowed, do
        )


def _slopes(job: Job, joint: Joint) -> Iterator[Finding]:
    """Hold the crossfall of a joint against the points of its faces, and the side it falls to."""
    along, left, _ = joint.axes_in_grid
    across = np.array([-along[1], along[0], 0.0]) / max(float(np.hypot(*along[:2])), 1e-9)
    wanted = float(left[2] / max(float(left @ across), 1e-9))
    pairs = [p for p in job.pairs.values() if p.joint == joint.id]
    for names in ([p.back_point for p in pairs], [p.ahead_point for p in pairs]):
        points = np.array([job.points[n].design for n in names])
        y = points @ across
        if np.ptp(y) < _WIDE:
            continue
        own = float(np.polyfit(y - y.mean(), points[:, 2], 1)[0])
        sides = min(abs(own), abs(wanted)) > _LEVEL and own * wanted < 0.0
        if abs(own - wanted) > _SLOPE_OFF or sides:
            found = f"a crossfall {_falls(wanted)}, but its points fall {_falls(own)}"
            allowed = f"within {_SLOPE_OFF:.0%} of its points, to the same side"
            do = "correct crossfall and falls_to, or the points"
            name = f"crossfall {joint.id}"
            yield Finding(name, "joints.csv", joint.id, "crossfall", found, allowed, do)
            return


def _grade(job: Job, joint: Joint) -> Iterator[Finding]:
    """Hold the grade of a joint against lines from its faces to other points of its segments.

    Points may lie on deck and soffit, and a crest bends the line: only where no such line of either
    segment agrees the grade is found wrong.
    """
    along, _, _ = joint.axes_in_grid
    flat = float(np.hypot(*along[:2]))
    wanted, ahead = float(along[2]) / flat, along[:2] / flat
    own = [
        slope
        for segment, faces in (
            (joint.back, {p.back_point for p in job.pairs.values() if p.joint == joint.id}),
            (joint.ahead, {p.ahead_point for p in job.pairs.values() if p.joint == joint.id}),
        )
        for slope in _rises(job, segment, faces, ahead)
    ]
    agree = [s for s in own if abs(s - wanted) <= _SLOPE_OFF]
    sides = [s for s in agree if min(abs(s), abs(wanted)) <= _LEVEL or s * wanted > 0.0]
    if own and not sides:
        nearest = min(own, key=lambda s: abs(s - wanted))
        found = f"a grade {_climbs(wanted)}, but its points lie {_climbs(nearest)}"
        allowed = f"within {_SLOPE_OFF:.0%} of its points, up or down like them"
        do = "correct it (rising ahead is more than 0), or the points"
        yield Finding(f"grade {joint.id}", "joints.csv", joint.id, "grade", found, allowed, do)


def _rises(job: Job, segment: str, faces: set[str], ahead: Array) -> Iterator[float]:
    """Yield how much each line from a face to another point of a segment rises ahead."""
    own = {n: p.design for n, p in job.points.items() if p.segment == segment}
    for start in (own[n] for n in faces if n in own):
        for place in (place for n, place in own.items() if n not in faces):
            far = float((place - start)[:2] @ ahead)
            if abs(far) > _ALONG:
                yield float(place[2] - start[2]) / far


def _sides(job: Job, joint: Joint) -> Iterator[Finding]:
    """Find a place that is called left and lies right of one that is called right."""
    _, left, _ = joint.axes_in_grid
    called: dict[str, list[tuple[float, str]]] = {"left": [], "right": []}
    for pair in job.pairs.values():
        words = pair.place.casefold().split()
        side = [s for s in called if s in words]
        if pair.joint == joint.id and len(side) == 1:
            called[side[0]].append((float(job.points[pair.back_point].design @ left), pair.id))
    if all(called.values()):
        (y, name), (other, against) = min(called["left"]), max(called["right"])
        if y < other:
            found = f"a place called left that lies right of {against}, which is called right"
            allowed = f"left and right as seen looking ahead along {joint.id}"
            do = "exchange the words, the points, or back and ahead"
            yield Finding(f"sides {joint.id}", "pairs.csv", name, "place", found, allowed, do)


def _climbs(ahead: float) -> str:
    if abs(ahead) < 0.0005:
        return "level"
    return f"{abs(ahead):.1%} {'up' if ahead > 0.0 else 'down'} ahead"


def _falls(up_to_left: float) -> str:
    side = "right" if up_to_left > 0.0 else "left"
    return f"{abs(up_to_left):.1%} to the {side}"
