"""The whole way of one epoch: faces, corrections, start, adjustment, tests, advice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from fitup.errors import InputError, SurveyRefused
from fitup.frames import Array
from fitup.model import ControlPoint, Epoch, Job
from fitup.network.adjust import Adjusted, adjust, covariance_of
from fitup.network.advice import RIVAL, Advice, advise, at_target, say_shared
from fitup.network.corrections import CorrectionSizes, curve, grid_scale, shown, sights
from fitup.network.equations import Network, State, build_network, control_observations
from fitup.network.exchanged import BAD, exchanged
from fitup.network.exclusions import left_out, unmatched
from fitup.network.faces import FaceErrors, mean_faces, unit_problems
from fitup.network.groups import shared_causes
from fitup.network.measured import observations_of
from fitup.network.mistakes import find_start_or_mistake
from fitup.network.observations import ObservationSet, Sight, station
from fitup.network.read import off_deck, read_observations
from fitup.network.reliability import Reliability, reliability
from fitup.network.rereadings import Rereading, reread, rereadings, standing_free
from fitup.network.robust import CleanedNetwork, adjust_and_test
from fitup.network.start import Start
from fitup.units import DISPLAY

#: weighted squares over the redundancy beyond which readings may mean something else
GROSS: Final = 100.0


@dataclass(frozen=True, eq=False)
class Solved:
    """One epoch from readings to coordinates, with everything a report needs.

    Parameters
    ----------
    epoch : Epoch
    read : ObservationSet
    faces : mapping
        Collimation and index error of each set-up.
    sights : tuple of Sight
    corrections : tuple of CorrectionSizes
    control : mapping
        Control points that were observed, the excluded ones as ties.
    origin : Array (3,)
        Taken off all coordinates while computing [m].
    datum : tuple of str
        Points a free network is laid onto; empty when control holds it.
    outcome : CleanedNetwork
    excluded : mapping
        Observation -> reason, by the engineer.
    face_findings : tuple of str
        Sets whose faces disagree.
    advice : tuple of Advice
        What does not fit, its likely cause and what to do.
    """

    epoch: Epoch
    read: ObservationSet
    faces: Mapping[str, FaceErrors]
    sights: tuple[Sight, ...]
    corrections: tuple[CorrectionSizes, ...]
    control: Mapping[str, ControlPoint]
    origin: Array
    datum: tuple[str, ...]
    outcome: CleanedNetwork
    excluded: Mapping[str, str]
    face_findings: tuple[str, ...]
    advice: tuple[Advice, ...]

    @property
    def findings(self) -> tuple[str, ...]:
        """Everything that must be settled before the survey may be believed."""
        return (*self.face_findings, *(a.text for a in self.advice))

    @property
    def network(self) -> Network:
        """The system that was adjusted."""
        return self.outcome.adjusted.network

    def position(self, node: str) -> Array:
        """Return the adjusted place of a node (3,) [m]; nan where nothing observes it."""
        found: Array = self.outcome.adjusted.state.positions[self.network.index(node)]
        return found + self.origin

    def covariance(self, names: tuple[str, ...]) -> Array:
        """Return the covariance (3k, 3k) of points [m2]."""
        return covariance_of(self.outcome.adjusted, names)


def solve_epochs(folder: Path, job: Job) -> dict[int, Solved]:
    """Read and adjust every observed epoch of a job, by its place in ``job.epochs``.

    Parameters
    ----------
    folder : Path
        Of the job.
    job : Job

    Raises
    ------
    InputError
        With every problem of every file, or with exclusions that mean no observation.
    SurveyRefused
        If a network cannot be computed at all; what merely does not fit is stated in ``findings``.
    """
    observed = {i: e for i, e in enumerate(job.epochs) if e.observed}
    read, problems = {}, []
    for i, epoch in observed.items():
        try:
            read[i] = read_observations(folder, job, epoch)
            problems += unit_problems(read[i]) or off_deck(read[i], job)
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    solved, refused = {}, []
    for i, one in read.items():
        try:
            solved[i] = solve(job, observed[i], one)
        except SurveyRefused as error:
            refused += [f"{observed[i].file}: {line}" for line in error.findings]
    if refused:
        raise SurveyRefused(refused)
    ids = [o.id for s in solved.values() for o in s.network.observations]
    problems = unmatched(job.excluded, ids, [e.file for e in observed.values()])
    if problems:
        raise InputError(problems)
    return solved


def solve(job: Job, epoch: Epoch, read: ObservationSet) -> Solved:
    """Adjust one epoch.

    Parameters
    ----------
    job, epoch, read

    Raises
    ------
    SurveyRefused
        If set-ups cannot be joined, or something is not determined.
    """
    origin, control = _control(job)
    try:
        ready = _ready(job, read, control, origin)
    except SurveyRefused:
        lines = _otherwise(job, rereadings(read, control, origin), origin, None)
        lines = lines or _otherwise(job, standing_free(read, control), origin, None)
        if lines:
            raise SurveyRefused(lines) from None
        raise
    reasons = left_out(job.excluded, [o.id for o in ready.network.observations])
    used = np.array([o.id not in reasons for o in ready.network.observations])
    outcome, advice = _judged(job, read, control, origin, ready, used)
    turned = {a.observations[0].split("/")[0] for a in advice if a.cause == "turned"}
    face_findings = tuple(
        line
        for line in ready.disagree
        if not _excused(line, read, reasons)
        # what was read otherwise spoils the faces too
        and all(a.cause != "reading" for a in advice)
        # a knock between the faces shows in every set that it splits
        and not any(line.startswith(f"set-up {name}, ") for name in turned)
    )
    return Solved(
        epoch=epoch,
        read=read,
        faces=ready.errors,
        sights=ready.seen,
        corrections=shown(ready.seen, job.network, ready.height),
        control={n: c for n, c in control.items() if n in ready.network.nodes},
        origin=origin,
        datum=ready.datum,
        outcome=outcome,
        excluded=reasons,
        face_findings=face_findings,
        # the mean of two faces that disagree is off by half of it: one cause, one line
        advice=tuple(a for a in advice if not _of_faces(a, face_findings)),
    )


@dataclass(frozen=True, eq=False)
class _Ready:
    """Readings on the way to coordinates: corrected, with a start, as one system."""

    errors: Mapping[str, FaceErrors]
    disagree: Sequence[str]
    seen: tuple[Sight, ...]
    height: float
    network: Network
    state: State
    datum: tuple[str, ...]


def _ready(
    job: Job, read: ObservationSet, control: Mapping[str, ControlPoint], origin: Array
) -> _Ready:
    """Mean the faces, correct, find the start and set up the system.

    Raises
    ------
    SurveyRefused
        If set-ups cannot be joined, or nothing locates a point.
    """
    pointings, errors, disagree = mean_faces(read, correct=job.network.collimation)
    seen = sights(read, pointings, job.network)
    start = find_start_or_mistake(read, seen, control)
    measured = observations_of(read.setups, seen, read.levels, start.positions)
    height = _mean_height(read, start) + float(origin[2])
    free = job.network.datum == "free"
    network = build_network(
        measured,
        control,
        free=free,
        left_out=left_out(job.excluded, [o.id for o in control_observations([*control.values()])]),
        scale=grid_scale(job.network, height),
        bend=curve(job.network, light=True),
        earth=curve(job.network, light=False),
    )
    datum = _datum(job, network, control) if free else ()
    return _Ready(errors, disagree, seen, height, network, _state(network, start), datum)


def _judged(
    job: Job,
    read: ObservationSet,
    control: Mapping[str, ControlPoint],
    origin: Array,
    ready: _Ready,
    used: Array,
) -> tuple[CleanedNetwork, tuple[Advice, ...]]:
    """Adjust and test; where it does not fit, causes that many readings share come first."""
    network, state, datum = ready.network, ready.state, ready.datum
    try:
        whole = adjust(network, state, used=used, datum=datum)
    except SurveyRefused:
        whole = None
    if whole is not None:
        tested = reliability(whole)
        if tested.passed:
            return CleanedNetwork.clean(whole, tested), ()
    gross = whole is None or whole.squares > GROSS * max(1, whole.redundancy)
    squares = None if whole is None else whole.squares
    if gross:
        lines = _otherwise(job, rereadings(read, control, origin), origin, squares)
        if whole is None:
            lines = lines or _otherwise(job, standing_free(read, control), origin, squares)
        if lines and whole is None:
            raise SurveyRefused(lines)
        if lines and whole is not None:
            return CleanedNetwork.clean(whole, tested), _meant(lines)
    if whole is not None:
        shared = _shared(job, read, ready, whole, tested)
        if shared is not None:
            return CleanedNetwork.clean(whole, tested), (shared,)
        free = standing_free(read, control) if gross else ()
        lines = _otherwise(job, free, origin, squares)
        if lines:
            return CleanedNetwork.clean(whole, tested), _meant(lines)
    try:
        outcome = adjust_and_test(network, state, used, datum)
    except SurveyRefused:
        lines = exchanged(read, ready.seen, control, DISPLAY[job.units].coordinate)
        if lines:
            raise SurveyRefused(lines) from None
        raise
    advice = _exchanged(job, read, ready.seen, control, outcome)
    return outcome, advice or advise(network, outcome, used, job.units, datum)


def _meant(lines: Sequence[str]) -> tuple[Advice, ...]:
    return tuple(Advice((), "reading", line) for line in lines)


def _otherwise(
    job: Job, tries: Iterable[Rereading], origin: Array, squares: float | None
) -> tuple[str, ...]:
    """Return what the readings may have meant instead, where that explains everything."""

    def solved(other: ObservationSet, points: Mapping[str, ControlPoint]) -> tuple[Adjusted, float]:
        ready = _ready(job, other, points, origin)
        reasons = left_out(job.excluded, [o.id for o in ready.network.observations])
        used = np.array([o.id not in reasons for o in ready.network.observations])
        adjusted = adjust(ready.network, ready.state, used=used, datum=ready.datum)
        return adjusted, _off_design(job, adjusted, origin)

    return reread(tries, solved, squares)


def _off_design(job: Job, adjusted: Adjusted, origin: Array) -> float:
    """Return how far the deck lies from its design, in the middle of its points [m]."""
    network = adjusted.network
    off = [
        np.linalg.norm(adjusted.state.positions[i] + origin - job.points[n].design)
        for i, n in enumerate(network.nodes)
        if n in job.points
    ]
    return float(np.nanmedian(off)) if off else 0.0


def _shared(
    job: Job, read: ObservationSet, ready: _Ready, whole: Adjusted, tested: Reliability
) -> Advice | None:
    """Return the cause that many readings share, unless one wrong reading explains as much."""
    found = shared_causes(read, ready.network, whole, job.points.keys(), ready.datum)
    if not found:
        return None
    size = np.nan_to_num(np.abs(tested.w))
    alone = tested.squares - float(size.max(initial=0.0)) ** 2
    price = float(np.log(max(2, int(whole.used.sum()))))
    if alone + price <= found[0].cost + RIVAL:
        return None
    pairs = [(f.cause, f.amount) for f in found]
    return say_shared(ready.network, pairs, DISPLAY[job.units])


def _exchanged(
    job: Job,
    read: ObservationSet,
    seen: Sequence[Sight],
    control: Mapping[str, ControlPoint],
    outcome: CleanedNetwork,
) -> tuple[Advice, ...]:
    """Tell of control that is exchanged, where something measured to control is far off."""
    network = outcome.adjusted.network
    far = [
        network.observations[i].id
        for i in outcome.odd
        if network.observations[i].to in control and abs(at_target(network, outcome, i)) > BAD
    ]
    lines = exchanged(read, seen, control, DISPLAY[job.units].coordinate) if far else ()
    return tuple(Advice(tuple(far), "exchanged", line) for line in lines)


def _excused(line: str, read: ObservationSet, reasons: Mapping[str, str]) -> bool:
    """Tell whether the sight a finding is about was left out by the engineer."""
    return any(
        line.startswith(f"set-up {setup}, target {target}:")
        for setup, target in {tuple(o.split("/")[:2]) for o in reasons if o.count("/") > 1}
    )


def _of_faces(advice: Advice, face_findings: Sequence[str]) -> bool:
    """Tell whether what does not fit is one sight whose two faces disagree."""
    sights = {tuple(o.split("/")[:2]) for o in advice.observations}
    angles = all(o.split("/")[2:3] in (["hz"], ["v"]) for o in advice.observations)
    if advice.cause not in ("hz", "v", "target") or not angles or len(sights) != 1:
        return False
    ((setup, target),) = sights
    return any(line.startswith(f"set-up {setup}, target {target}:") for line in face_findings)


def _control(job: Job) -> tuple[Array, dict[str, ControlPoint]]:
    """Control about a near origin; points the engineer excluded only tie set-ups together."""
    middle = np.mean([p.design for p in job.points.values()], axis=0)
    origin: Array = np.asarray(np.round(middle, -1))
    nothing = np.full(3, np.nan)
    control = {}
    for name, point in job.control.items():
        if name in job.excluded:
            control[name] = replace(point, use="tie", position=nothing)
        else:
            control[name] = replace(point, position=point.position - origin)
    return origin, control


def _mean_height(read: ObservationSet, start: Start) -> float:
    heights = [start.positions[station(s)][2] for s in read.setups.values()]
    finite = [h for h in heights if np.isfinite(h)]
    return float(np.mean(finite)) if finite else 0.0


def _state(network: Network, start: Start) -> State:
    positions = np.array([start.positions[n] for n in network.nodes])
    lost = [
        f"nothing says how high {network.nodes[i]} is, and a slope distance without a zenith angle "
        "needs the heights of both ends; read zenith angles, or level it"
        if np.isfinite(positions[i, :2]).all()
        else f"nothing locates {network.nodes[i]}: measure to it with direction, zenith angle and "
        "distance, or from a second set-up"
        for i in np.flatnonzero((np.isnan(positions) & (network.columns >= 0)).any(axis=1))
    ]
    if lost:
        raise SurveyRefused(lost)
    return State(positions, np.array([start.turns[s] for s in network.setups]))


def _datum(job: Job, network: Network, control: Mapping[str, ControlPoint]) -> tuple[str, ...]:
    """Return the control points a free network is laid onto, or all points where they are few."""
    given = [n for n, c in control.items() if n in network.nodes and c.given.all()]
    if len(given) >= 2:
        return tuple(given)
    return tuple(n for n in network.nodes if n in job.points or n in control)
