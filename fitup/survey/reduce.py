"""Bring all coordinate lists of a job together into one survey that may be believed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from fitup.errors import InputError, Problem, SurveyRefused
from fitup.frames import heading, left_of, rotation_vector
from fitup.model import Job, Segment
from fitup.network.solve import Solved, solve_epochs
from fitup.survey.coordinates import read_coordinates
from fitup.survey.gates import gate_problems
from fitup.survey.grounds import network_grounds, reduced_grounds
from fitup.survey.hypotheses import Observed
from fitup.survey.observed import adjusted_list
from fitup.survey.points import (
    Carried,
    CoordinateList,
    Pose,
    Shared,
    Survey,
    SurveyedPoint,
)
from fitup.survey.pose import fit_pose, require_three
from fitup.survey.shape import USUAL, ShapeTest, judge_shape, with_scatter
from fitup.survey.steel import Steel, steel_of, steel_problems, thermal_shift
from fitup.survey.stretch import (
    Stretch,
    by_survey,
    other_scale,
    scale_finding,
    stretch_ground,
)
from fitup.survey.verdict import Ground, verdict_of
from fitup.units import DISPLAY, DisplayUnits, Shown, from_si


def read_survey(folder: Path, job: Job, solved: Mapping[int, Solved] | None = None) -> Survey:
    """Read the coordinate lists and observations of all epochs in a job folder and reduce them.

    Parameters
    ----------
    folder : Path
    job : Job
    solved : mapping, optional
        The networks, where they have been adjusted already.

    Raises
    ------
    InputError
        With every problem of every list.
    SurveyRefused
        With every finding, when the lists can be read but not believed.
    """
    lists, solved = read_lists(folder, job, solved)
    grounds = [ground for one in solved.values() for ground in network_grounds(job, one)]
    findings = [ground.text for ground in grounds if ground.weight == "refuses"]
    if findings:
        raise SurveyRefused(findings)
    return replace(reduce_survey(job, lists, grounds), solved=solved)


def read_lists(
    folder: Path, job: Job, solved: Mapping[int, Solved] | None = None
) -> tuple[list[CoordinateList], Mapping[int, Solved]]:
    """Return the points of every epoch as read or as adjusted, and the networks behind them.

    Parameters
    ----------
    folder : Path
        Of the job.
    job : Job
    solved : mapping of int to Solved, optional
        Networks by their place in ``job.epochs``; adjusted here when not given.

    Raises
    ------
    InputError
        With every problem of every file.
    SurveyRefused
        If a network cannot be computed at all.
    """
    problems: list[Problem] = []
    if solved is None:
        solved = {}
        try:
            solved = solve_epochs(folder, job)
        except InputError as error:
            problems.extend(error.problems)
    lists: list[CoordinateList] = []
    for index, epoch in enumerate(job.epochs):
        if epoch.observed:
            if index in solved:
                lists.append(adjusted_list(job, solved[index], index))
            continue
        try:
            lists.append(
                read_coordinates(
                    folder / epoch.file,
                    epoch,
                    index,
                    job.points.keys(),
                    DISPLAY[job.units].move,
                    job.names,
                )
            )
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    return lists, solved


def reduce_survey(
    job: Job, lists: Sequence[CoordinateList], grounds: Sequence[Ground] = ()
) -> Survey:
    """Check the lists against the job, take temperature out, and fit every segment.

    Parameters
    ----------
    job : Job
    lists : sequence of CoordinateList
        One for each epoch; only points of ``job.points``.
    grounds : sequence of Ground
        What the networks behind them say.

    Returns
    -------
    Survey
        Points at the reference temperature, a pose for every segment, and what was understood.

    Raises
    ------
    SurveyRefused
        With all findings at once: missing or doubled points, unlike epochs, likely mistakes.
    """
    units = DISPLAY[job.units]
    said = [f"geometry wanted: stage {job.stage} of targets.csv"] if job.stage else []
    said += [line for one in lists for line in one.understood]
    findings = [
        f"job.toml, exclude.{name}: not an id of points.csv or readings.csv; correct it"
        for name in job.excluded
        if name not in job.points
        and name not in {r.id for r in job.readings}
        and name not in job.control
        and "/" not in name
    ]
    taken = [point for one in lists for point in one.points]
    said += [
        f"{p.id} left out ({_file(job, p)}, row {p.row}): {job.excluded[p.id]}"
        for p in taken
        if p.id in job.excluded
    ]
    by_segment = _sort_out(job, [p for p in taken if p.id not in job.excluded])
    findings += _epoch_findings(job, by_segment)
    if findings:
        # poses of mixed epochs would only add findings that mean nothing
        raise SurveyRefused(findings)
    epoch_of = {name: job.epochs[points[0].epoch] for name, points in by_segment.items()}
    steel = {name: steel_of(job, name, epoch) for name, epoch in epoch_of.items()}
    at_reference = {
        name: [_at_reference(job, point, steel) for point in points]
        for name, points in by_segment.items()
    }
    shared = {
        i: Shared(tuple(p.id for p in one.points), one.covariance)
        for i, one in enumerate(lists)
        if one.covariance is not None
    }
    observed = {
        name: _observed(job, name, points, steel, shared.get(points[0].epoch))
        for name, points in at_reference.items()
    }
    findings += gate_problems(job, epoch_of)
    findings += steel_problems(job, steel, epoch_of)
    files = {name: epoch.file for name, epoch in epoch_of.items()}
    lengths = by_survey(job, steel, observed, files)
    shapes, mistakes = _shapes(job, list(observed.values()))
    findings += _wrong_scale(job, steel, observed, files, lengths) or mistakes
    if findings:
        raise SurveyRefused(findings)
    scatter = {name: one.scatter for name, one in shapes.items() if one.scatter is not None}
    poses = {}
    for name, one in observed.items():
        o = with_scatter(one, scatter[name].value) if name in scatter else one
        poses[name] = fit_pose(o.segment, o.ids, o.design, o.surveyed, o.u, o.covariance)
    said += [_expansion_said(job, name, own, units) for name, own in steel.items()]
    said += [pose_said(pose, job.segments[name], units) for name, pose in poses.items()]
    said += _readings_said(job)
    survey = Survey(
        points={p.id: p for points in at_reference.values() for p in points},
        poses=poses,
        epoch_of=epoch_of,
        steel=steel,
        understood=(),
        shared=tuple(shared.values()),
        scatter=scatter,
    )
    survey = replace(survey, carried=_carried(job, survey))
    stretched = (stretch_ground(job, file, one) for file, one in lengths.items())
    grounds = [*grounds, *(ground for ground in stretched if ground is not None)]
    verdict = verdict_of([*grounds, *reduced_grounds(job, survey, feet=_in_feet(lists))])
    understood = (*verdict.lines, *(line for line in said if line))
    return replace(survey, verdict=verdict, understood=understood)


def _in_feet(lists: Sequence[CoordinateList]) -> bool:
    """Tell whether a list came in feet: of which kind is then a question of its own."""
    return any(one.unit in ("ft", "ftUS") for one in lists)


def _carried(job: Job, survey: Survey) -> dict[str, Carried]:
    """Return the points nobody measured whose fabrication scatter counts.

    Where none is stated, the usual scatter counts for the faces that must meet; holes that were
    drilled together need a scatter of their own.
    """
    faces = {n for pair in job.pairs.values() for n in (pair.back_point, pair.ahead_point)}
    result = {}
    for name, point in job.points.items():
        own = survey.scatter.get(point.segment)
        if name in survey.points or point.segment not in survey.poses:
            continue
        if own is not None and own.how == "stated":
            result[name] = Carried(point.segment, own.value)
        elif name in faces:
            result[name] = Carried(point.segment, max(USUAL, own.value if own else 0.0))
    return result


def _readings_said(job: Job) -> list[str]:
    """Say which direct readings count, and which were left out and why."""
    used = [r for r in job.readings if r.id not in job.excluded]
    lines = [
        f"direct reading {r.id} left out: {job.excluded[r.id]}"
        for r in job.readings
        if r.id in job.excluded
    ]
    if used:
        named = ", ".join(f"{r.id} {r.quantity} at {r.pair} by {r.how}" for r in used)
        lines.append(f"direct readings combined with the coordinates: {named}")
    return lines


def _file(job: Job, point: SurveyedPoint) -> str:
    return job.epochs[point.epoch].file


def _sort_out(job: Job, points: Sequence[SurveyedPoint]) -> dict[str, list[SurveyedPoint]]:
    """Points of every segment in the order of ``points.csv``, whatever the order of the lists."""
    place = {name: i for i, name in enumerate(job.points)}
    result: dict[str, list[SurveyedPoint]] = {name: [] for name in job.segments}
    for point in sorted(points, key=lambda p: (place[p.id], p.epoch, p.row)):
        result[job.points[point.id].segment].append(point)
    return result


def _epoch_findings(job: Job, by_segment: Mapping[str, Sequence[SurveyedPoint]]) -> list[str]:
    findings: list[str] = []
    for name, points in by_segment.items():
        epochs = sorted({p.epoch for p in points})
        if len(epochs) > 1:
            findings.append(_mixed(job, name, points, epochs))
            continue
        ids = [p.id for p in points]
        try:
            require_three(name, ids, np.array([job.points[i].design for i in ids]).reshape(-1, 3))
        except SurveyRefused as refused:
            findings.extend(refused.findings)
    return findings


def _mixed(job: Job, segment: str, points: Sequence[SurveyedPoint], epochs: list[int]) -> str:
    """Say how the points of one segment come from more than one epoch."""
    files = " and ".join(job.epochs[i].file for i in epochs)
    places: dict[str, list[SurveyedPoint]] = {}
    for point in points:
        places.setdefault(point.id, []).append(point)
    doubled = {name: found for name, found in places.items() if len(found) > 1}
    if len(doubled) >= 3 or len(doubled) == len(places):
        return f"segment {segment} surveyed twice ({files}): keep one [[survey]] of it"
    if doubled:
        name, found = next(iter(doubled.items()))
        rows = " and ".join(f"{_file(job, p)} row {p.row}" for p in found)
        return (
            f"segment {segment}: point {name} in two lists ({rows}); delete it from one of them, "
            "or exclude it in job.toml [exclude]"
        )
    return (
        f"segment {segment}: surveyed partly in {files}; all points of a segment must come from "
        "one epoch; survey it again in one go, or exclude the points of one list in job.toml "
        "[exclude]"
    )


def _at_reference(job: Job, point: SurveyedPoint, steel: Mapping[str, Steel]) -> SurveyedPoint:
    return replace(point, position=point.position - thermal_shift(job, steel, point.id))


def _observed(
    job: Job,
    segment: str,
    points: Sequence[SurveyedPoint],
    steel: Mapping[str, Steel],
    shared: Shared | None,
) -> Observed:
    """Return a segment's points, with their whole covariance where they are not independent."""
    ids = tuple(p.id for p in points)
    covariance = None
    if shared is not None:
        at = np.concatenate([3 * shared.ids.index(i) + np.arange(3) for i in ids])
        covariance = shared.covariance[np.ix_(at, at)]
    return Observed(
        segment,
        ids,
        np.array([job.points[i].design for i in ids]),
        np.array([p.position for p in points]),
        np.array([p.uncertainty for p in points]),
        covariance,
        np.array([thermal_shift(job, steel, i) for i in ids]),
    )


def _shapes(job: Job, observed: Sequence[Observed]) -> tuple[dict[str, ShapeTest], list[str]]:
    """Test the shape of every segment; a finding common to all is stated once."""
    units, found = DISPLAY[job.units], {}
    lines: list[str] = []
    for one in observed:
        others = [other for other in observed if other is not one]
        believed, stated = job.gates.deviation_most, job.uncertainties.fabrication
        try:
            found[one.segment] = judge_shape(one, others, believed, units, stated)
            lines += found[one.segment].findings
        except SurveyRefused as refused:
            lines += refused.findings
    return found, list(dict.fromkeys(lines))


def _wrong_scale(
    job: Job,
    steel: Mapping[str, Steel],
    observed: Mapping[str, Observed],
    files: Mapping[str, str],
    lengths: Mapping[str, Stretch],
) -> list[str]:
    """Name the steel temperatures in another scale, where with it no shape is in question."""
    lines = []
    for file, stretch in lengths.items():
        found = other_scale(stretch)
        if found is None:
            continue
        meant = found[2] - stretch.stated
        warmer = {
            n: replace(s, mean=s.mean + meant) if files[n] == file else s for n, s in steel.items()
        }
        corrected = [
            replace(
                o,
                surveyed=o.surveyed
                + [thermal_shift(job, steel, i) - thermal_shift(job, warmer, i) for i in o.ids],
            )
            for n, o in observed.items()
            if files[n] == file
        ]
        if _shapes(job, corrected)[1]:
            continue
        read = any(steel[n].thermometers for n in stretch.segments)
        where = "temperatures.csv and job.toml" if read else "steel_temperature in job.toml"
        lines.append(scale_finding(job, file, stretch, where))
    return lines


def _expansion_said(job: Job, name: str, steel: Steel, units: DisplayUnits) -> str:
    if job.segments[name].expansion is None:
        return ""
    free = job.thermal is None
    how = "by free expansion about its fixed point" if free else "as the frame lets it expand"
    line = (
        f"segment {name}: brought from {units.temperature.text(steel.mean)} to "
        f"{units.temperature.text(job.reference_temperature)} {how}"
    )
    if steel.thermometers:
        line += f", by {steel.thermometers} thermometer{'s' if steel.thermometers > 1 else ''}"
    if steel.difference == 0.0:
        return line
    shown = units.temperature
    warm = from_si(abs(steel.difference), "temperature_step", shown.suffix)
    side = "top" if steel.difference > 0.0 else "bottom"
    return f"{line}; straightened from a {side} warmer by {warm:.{shown.decimals}f} {shown.word}"


def pose_said(pose: Pose, segment: Segment, units: DisplayUnits) -> str:
    """Tell in one line how well a segment fits and where it lies.

    Parameters
    ----------
    pose : Pose
    segment : Segment
        Its azimuth says what is ahead and left.
    units : DisplayUnits
    """
    point, _ = np.unravel_index(np.abs(pose.residuals).argmax(), pose.residuals.shape)
    worst = float(np.abs(pose.residuals).max())
    axes = np.array([heading(segment.azimuth), left_of(segment.azimuth), [0.0, 0.0, 1.0]])
    along, left, up = (float(v) for v in axes @ pose.design2site.shift)
    roll, pitch, yaw = (float(v) for v in axes @ rotation_vector(pose.design2site.turn))
    # right-handed about ahead, left, up: ahead end down, left edge up, head to the left
    places = [
        _worded(units.move, along, "{} ahead", "{} back"),
        _worded(units.move, left, "{} left", "{} right"),
        _worded(units.move, up, "{} high", "{} low"),
    ]
    turns = [
        _worded(units.slope, -pitch, "ahead end high {}", "ahead end low {}"),
        _worded(units.slope, roll, "left edge high {}", "right edge high {}"),
        _worded(units.slope, yaw, "turned left {}", "turned right {}"),
    ]
    where = ", ".join(p for p in places if p) or "on its design"
    turned = ", ".join(t for t in turns if t) or "not turned"
    # three points fit in height whatever they are: a wrong one tilts the segment unseen
    unchecked = " (three: nothing checks their heights)" if len(pose.points) == 3 else ""
    return (
        f"segment {pose.segment}: {len(pose.points)} points{unchecked}, largest residual "
        f"{units.move.text(worst)} at {pose.points[int(point)]}; its middle lies {where}; {turned}"
    )


def _worded(shown: Shown, value: float, with_it: str, against_it: str) -> str:
    """Return an amount in the words of its side; nothing where the printed amount is zero."""
    if shown.number(value) == 0.0:
        return ""
    return (with_it if value > 0.0 else against_it).format(shown.text(abs(value)))
