"""What a verdict rests on: the network, its control, the shapes, the datum, faces, time, heat."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from scipy.special import chdtri

from fitup.errors import SurveyRefused
from fitup.frames import Array
from fitup.model import Job
from fitup.network.congruency import Congruency, control_changes
from fitup.network.reliability import ALPHA
from fitup.network.solve import Solved
from fitup.network.words import way_words
from fitup.survey.points import Survey
from fitup.survey.verdict import Ground
from fitup.units import DISPLAY, FACTORS, from_si

#: residuals so much smaller than stated call for an explanation, and make all tests blind
SMALL: Final = 0.5
BLIND: Final = 0.2
#: air of one survey does not differ by more from its usual value [K, Pa]; common practice
AIR_APART: Final = (12.0, 2500.0)
#: steel is not farther from the air than the sun can heat it [K]; common practice, no source
STEEL_OFF_AIR: Final = 25.0
#: a shift as a change of foot would make it: at least [m], and within this share
FOOT_SHIFT: Final = 0.02
ALIKE: Final = 0.15
#: the same for lists in feet, where the mistake is common: which foot is a matter of one header
FEET_SHIFT: Final = 0.005
FEET_ALIKE: Final = 0.35
_FREEZING: Final = 273.15


def network_grounds(job: Job, solved: Solved) -> list[Ground]:
    """Return what one adjusted epoch says for and against its use.

    Parameters
    ----------
    job, solved

    Returns
    -------
    list of Ground
        Only those that refuse, where there are any.
    """
    file = solved.epoch.file
    against = [Ground("refuses", "network", line) for line in solved.face_findings]
    against += _advised(job, solved)
    against += [Ground("refuses", "air", f"{file}: {line}") for line in air_findings(job, solved)]
    if against:
        # what does not fit shows at the control too, but not for a reason of its own
        return against
    return [
        *_tests(solved),
        *_control(job, solved),
        *_unchecked(solved),
    ]


def _advised(job: Job, solved: Solved) -> list[Ground]:
    """Return what does not fit; of a control point that moved the whole way, not one coordinate.

    Whoever leaves out the one coordinate that stands out most would go on using the others.
    """
    one = {a: a.observations[0].partition("/")[0] for a in solved.advice if a.cause == "control"}
    try:
        found = control_changes(solved) if one else None
    except SurveyRefused:
        found = None
    by_point = {} if found is None else dict(_moved(job, solved.epoch.file, found))
    return [
        by_point.get(one.get(advice, ""), Ground("refuses", "network", advice.text))
        for advice in solved.advice
    ]


def _tests(solved: Solved) -> Iterator[Ground]:
    """Judge the residuals in both tails: too large is a finding, far too small is one too."""
    tested, file = solved.outcome.tested, solved.epoch.file
    if tested.freedom <= 0:
        yield Ground("reserves", "network", f"{file}: nothing checks these observations")
        return
    ratio = float(np.sqrt(tested.factor))
    least = float(np.sqrt(chdtri(tested.freedom, 1.0 - ALPHA) / tested.freedom))
    if ratio >= min(least, SMALL):
        most = float(np.sqrt(tested.limit / tested.freedom))
        yield Ground(
            "supports",
            "network",
            f"{file}: residuals {ratio:.2f} times as large as stated ({least:.2f} to {most:.2f} is "
            "usual), and no reading stands out",
        )
        return
    yield Ground(
        "refuses" if ratio < BLIND else "reserves",
        "network",
        f"{file}: the residuals are only {ratio:.2g} times as large as the stated uncertainties; "
        "those are too large (instruments.csv: a unit?), so that no test sees an ordinary mistake; "
        "correct them",
    )


def _control(job: Job, solved: Solved) -> Iterator[Ground]:
    """Judge the control by the free network: what moved is never used in silence."""
    file = solved.epoch.file
    try:
        found = control_changes(solved)
    except SurveyRefused as refused:
        why = "; ".join(refused.findings)
        yield Ground("reserves", "control", f"{file}: control cannot be checked: {why}")
        return
    if found is None:
        yield Ground(
            "reserves",
            "control",
            f"{file}: fewer than three control points, so nothing would show that one has moved; "
            "measure to a third",
        )
        return
    yield from control_grounds(job, file, found)


def control_grounds(job: Job, file: str, found: Congruency) -> Iterator[Ground]:
    """Return what a comparison of the control with a free network says.

    Parameters
    ----------
    job : Job
    file : str
        Observation file, to begin each text with.
    found : Congruency
        Of the control against the free network.
    """
    if not found.agreed:
        names = ", ".join(c.id for c in found.changes)
        yield Ground(
            "refuses",
            "control",
            f"{file}: of the control points {names} no three agree with each other in their "
            "coordinates; measure to more control, or correct control.csv",
        )
        return
    moved = [ground for _, ground in _moved(job, file, found)]
    yield from moved
    if moved:
        return
    for change in found.changes:
        if change.suspect:
            yield Ground(
                "reserves",
                "control",
                f"{file}: control point {change.id} lies "
                f"{way_words(job, change, change.apart)} off where the others put it: too much "
                "for chance alone, too little to be sure; check it",
            )
    weakest = max(found.changes, key=lambda c: c.unseen)
    yield Ground(
        "supports",
        "control",
        f"{file}: {', '.join(found.stable)} are where they were; a movement of {weakest.id} up to "
        f"{DISPLAY[job.units].move.text(weakest.unseen)} would have passed unseen, of the others "
        "less",
    )


def _moved(job: Job, file: str, found: Congruency) -> Iterator[tuple[str, Ground]]:
    """Return each control point outside the stable group, and what it says against the survey."""
    for change in found.changes if found.agreed else ():
        if not change.stable:
            yield (
                change.id,
                Ground(
                    "refuses",
                    "control",
                    f"{file}: control point {change.id} is not where control.csv has it, but has "
                    f"moved {way_words(job, change)}, against {', '.join(found.stable)}; have it "
                    f"measured again and correct control.csv, or exclude {change.id} in job.toml "
                    "[exclude] with the reason",
                ),
            )


def _unchecked(solved: Solved) -> Iterator[Ground]:
    """Name the targets that nothing checks."""
    names = sorted(
        {
            o.to
            for o, r, used in zip(
                solved.network.observations,
                solved.outcome.tested.redundancy,
                solved.outcome.adjusted.used,
                strict=True,
            )
            if used and o.setup and not r > 1e-3
        }
    )
    if names:
        yield Ground(
            "reserves",
            "network",
            f"{solved.epoch.file}: nothing checks what was measured to {', '.join(names)}; sight "
            "each from a second set-up",
        )


def air_findings(job: Job, solved: Solved) -> list[str]:
    """Say which air was written down wrongly, and whether steel and air can both be right.

    Parameters
    ----------
    job, solved
    """
    airs = [(s.air, s.row) for s in solved.read.shots if s.air is not None]
    if not airs:
        return []
    shown = DISPLAY[job.units].temperature
    values = np.array([air[:2] for air, _ in airs])
    usual = np.median(values, axis=0)
    lines = []
    for k, (what, most) in enumerate(zip(("temperature", "pressure"), AIR_APART, strict=True)):
        far = np.flatnonzero(np.abs(values[:, k] - usual[k]) > most)
        if not len(far):
            continue
        first = int(far[0])
        stated = [
            shown.text(float(v))
            if k == 0
            else f"{from_si(float(v), 'air_pressure', 'hPa'):.0f} hPa"
            for v in (values[first, k], usual[k])
        ]
        more = f" and {len(far) - 1} more rows" if len(far) > 1 else ""
        lines.append(
            f"row {airs[first][1]}{more}: the {what} of the air is {stated[0]} where the other "
            f"rows have {stated[1]}; correct it"
        )
    if not lines:
        lines += _steel_and_air(job, solved.epoch.temperature, float(usual[0]))
    return lines


def _steel_and_air(job: Job, steel: float, air: float) -> list[str]:
    """Say whether steel and air are too far apart, and which may be in Fahrenheit."""
    apart = abs(steel - air)
    if apart <= STEEL_OFF_AIR:
        return []
    shown = DISPLAY[job.units].temperature
    why = ""
    for name, value, other in (("steel", steel, air), ("air", air, steel)):
        meant = (value - _FREEZING - 32.0) / 1.8 + _FREEZING
        if abs(meant - other) < 0.5 * apart:
            why = (
                f"; if the {name} was written in °F under °C it is {meant - _FREEZING:.1f} °C, "
                "which fits"
            )
            break
    return [
        f"the steel is said to be at {shown.text(steel)} and the air at {shown.text(air)}, which "
        f"cannot both be right{why}; correct job.toml or the rows"
    ]


def reduced_grounds(job: Job, survey: Survey, *, feet: bool = False) -> list[Ground]:
    """Return what shapes, datum, faces, time and temperature say of a survey that may be used.

    Parameters
    ----------
    job, survey
    feet : bool
        A list came in feet.
    """
    return [
        *_shapes(job, survey),
        *_datum(job, survey, feet),
        *_faces(job, survey),
        *_times(job, survey),
    ]


def _shapes(job: Job, survey: Survey) -> Iterator[Ground]:
    move = DISPLAY[job.units].move
    plain = []
    for name, pose in survey.poses.items():
        scatter = survey.scatter.get(name)
        if scatter is not None and scatter.how == "estimated":
            worst, _ = np.unravel_index(np.abs(pose.residuals).argmax(), pose.residuals.shape)
            most = float(np.abs(pose.residuals).max())
            yield Ground(
                "reserves",
                "shape",
                f"segment {name}: its points scatter about the design shape by "
                f"{move.text(scatter.value)} beyond their uncertainty, most "
                f"{move.text(most)} at {pose.points[int(worst)]}; taken for fabrication, which "
                "hides survey mistakes of that size; state it with fabrication in job.toml "
                "[uncertainty] when the shop's measurements bear it out",
            )
        elif len(pose.points) == 3:
            yield Ground(
                "reserves",
                "shape",
                f"segment {name}: three points, nothing checks their heights; survey a fourth",
            )
        else:
            plain.append(name)
    if plain:
        yield Ground("supports", "shape", f"the points of {', '.join(plain)} fit the design shape")


def _datum(job: Job, survey: Survey, feet: bool) -> Iterator[Ground]:
    """Judge what all segments have in common: a shift, or that of another foot."""
    shifts = np.array([_mean_shift(job, survey, name) for name in survey.poses])
    common = shifts.mean(axis=0)
    size = float(np.linalg.norm(common[:2]))
    move = DISPLAY[job.units].move
    middle = np.mean([job.points[n].design for n in survey.points], axis=0)
    least, alike = (FEET_SHIFT, FEET_ALIKE) if feet else (FOOT_SHIFT, ALIKE)
    for read, meant, foot in (
        ("international", "US survey", FACTORS["length"]["ft"] / FACTORS["length"]["ftUS"]),
        ("US survey", "international", FACTORS["length"]["ftUS"] / FACTORS["length"]["ft"]),
    ):
        by_foot = middle[:2] * (foot - 1.0)
        left = float(np.linalg.norm(common[:2] - by_foot))
        if float(np.linalg.norm(by_foot)) >= least and left <= alike * size:
            yield Ground(
                "reserves",
                "datum",
                f"all segments lie {move.text(size)} sideways of their design, all but "
                f"{move.text(left)} of it as if {meant} feet had been read as {read} feet; "
                "settle the foot of control, survey and points.csv",
            )
            return
    if len(shifts) < 2 or float(np.linalg.norm(common)) < 0.5 * job.gates.deviation_most:
        return
    if np.linalg.norm(shifts - common, axis=1).max() <= ALIKE * float(np.linalg.norm(common)):
        yield Ground(
            "reserves",
            "datum",
            f"all segments lie {move.text(float(np.linalg.norm(common)))} from their design by the "
            "same amount; check the control of the survey",
        )


def _mean_shift(job: Job, survey: Survey, segment: str) -> Array:
    points = survey.poses[segment].points
    off = [survey.points[n].position - job.points[n].design for n in points]
    shift: Array = np.mean(off, axis=0)
    return shift


def _faces(job: Job, survey: Survey) -> Iterator[Ground]:
    """Name the points of faces nobody measured, and how uncertain their place is."""
    paired = [n for pair in job.pairs.values() for n in (pair.back_point, pair.ahead_point)]
    missing = [n for n in dict.fromkeys(paired) if n not in survey.points]
    if not missing:
        if paired:
            yield Ground("supports", "faces", "every check point of the joints was measured")
        return
    scatter = max(survey.carried[n].scatter for n in missing if n in survey.carried)
    source = (
        "stated in job.toml"
        if job.uncertainties.fabrication is not None
        else "common practice, none stated"
    )
    yield Ground(
        "reserves",
        "faces",
        f"NOT MEASURED: {', '.join(missing)}; they are put where the design shape has them, with a "
        f"fabrication scatter of {DISPLAY[job.units].move.text(scatter)} ({source})",
    )


def _times(job: Job, survey: Survey) -> Iterator[Ground]:
    shown = DISPLAY[job.units].temperature
    epochs = list(dict.fromkeys(survey.epoch_of.values()))
    for epoch in epochs:
        yield Ground(
            "supports",
            "time",
            f"{epoch.file}: taken {epoch.taken.replace('T', ' ')}, steel at "
            f"{shown.text(epoch.temperature)}; nothing that was moved since is in it",
        )
