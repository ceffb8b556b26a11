"""What a round taught, in words: assumptions, how sure, and what cannot be told apart."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from fitup.loop.alone import Explanation
from fitup.loop.compare import Comparison
from fitup.loop.conflict import Conflict
from fitup.loop.hypotheses import USUAL, Kind, Parameter, usual
from fitup.loop.learn import SEEN, Lesson
from fitup.model import Job
from fitup.units import DISPLAY, DisplayUnits, Shown

#: what a kind is called, for one place and for all alike
_NAMES: Final[dict[Kind, tuple[str, str]]] = {
    "stiffness": ("stiffness of seat {at}", "stiffness of all seats alike"),
    "bedding": ("bedding of the pack at {at}", "bedding of all new packs alike"),
    "movement": ("movement scale of the jack at {at}", "movement scale of all jacks at nuts"),
    "settlement": ("seat {at} sank", ""),
    "gauge": ("", "scale of the gauges"),
    "expansion": ("", "expansion of the steel"),
    "steel": ("steel temperature of {at} at the new survey", "steel temperature of all segments"),
}
#: twice the logarithm of a Bayes factor and what it is worth, after Kass and Raftery,
#: J. Amer. Statist. Assoc. 90 (1995) 773-795 (from memory)
_WORTH: Final = ((10.0, "very strong"), (6.0, "strong"), (2.0, "some"))


def name_of(kind: Kind, at: str) -> str:
    """Return what an assumption is called.

    Parameters
    ----------
    kind : Kind
    at : str
        Seat or segment; empty where all places are wrong alike.
    """
    one, alike = _NAMES[kind]
    return one.format(at=at) if at else alike


def worth(evidence: float) -> str:
    """Say how strong evidence is.

    Examples
    --------
    >>> worth(7.0), worth(-1.0)
    ('strong evidence', 'no better than chance')
    """
    for least, word in _WORTH:
        if evidence > least:
            return f"{word} evidence"
    return "no better than chance"


def amount_words(job: Job, kind: Kind, at: str, value: float, u: float) -> str:
    """Say by how much an assumption would be off, with its standard uncertainty.

    Nothing depends on a sign.

    Parameters
    ----------
    job : Job
    kind : Kind
    at : str
        Seat or segment; for a settlement always a seat.
    value, u : float
        In the measure of :class:`fitup.loop.hypotheses.Parameter`: a logarithm for the stiffness, a
        share for a scale, else [m] or [K].
    """
    units = DISPLAY[job.units]
    if kind == "stiffness":
        return f"{math.exp(value):.2f} times the assumed (u {u * math.exp(value):.2f})"
    if kind in ("movement", "expansion"):
        of = "what its scale says" if kind == "movement" else "the assumed"
        return f"{1.0 + value:.3f} times {of} (u {u:.3f})"
    if kind == "gauge":
        return f"they read {1.0 + value:.2f} times the true load (u {u:.2f})"
    if kind == "steel":
        step = temperature_step(units)
        side = "warmer" if value >= 0.0 else "colder"
        return f"{step.text(abs(value))} {side} than written down (u {step.text(u)})"
    if kind == "bedding":
        side = "more" if value >= 0.0 else "less"
        return f"{units.plate.text(abs(value))} {side} than assumed (u {units.plate.text(u)})"
    way = "against its push" if value >= 0.0 else "further with its push"
    if job.seats[at].lifts:
        way = "down" if value >= 0.0 else "up"
    return f"{units.plate.text(abs(value))} {way} (u {units.plate.text(u)})"


def temperature_step(units: DisplayUnits) -> Shown:
    """Return how a difference of temperature is printed."""
    return Shown("temperature_step", units.temperature.suffix, units.temperature.word, 1)


def whole_words(comparison: Comparison) -> str:
    """Say how a whole round came out, and where single checks say otherwise."""
    end = "as predicted" if comparison.as_predicted else "NOT as predicted"
    names = comparison.single
    if names and comparison.as_predicted:
        end = "as predicted as a whole, but not in every check"
    text = (
        f"All together: {end}. {comparison.degrees} independent differences give a sum of squares "
        f"of {comparison.chi_square:.1f}; chance stays below {comparison.limit:.1f} in 99 of 100 "
        "rounds."
    )
    if not names or not comparison.as_predicted:
        return text
    return (
        f"{text} {', '.join(names)} {'is' if len(names) == 1 else 'are'} farther off than chance "
        f"brings any of them in {100.0 * (1.0 - comparison.chance_of_worst):.0f} of 100 rounds: "
        "measure there again, or look what is different there, before anything is moved."
    )


def verdict_words(job: Job, lesson: Lesson, count: int = 3) -> Iterator[str]:
    """Say what explains a round, the likeliest first, and what cannot be told apart.

    Parameters
    ----------
    job, lesson
    count : int
        How many explanations are stated at most.
    """
    if not lesson.explanations:
        yield "Nothing was moved that would tell one assumption from another."
        return
    best = lesson.explanations[0]
    if best.evidence <= 2.0:
        yield "No single assumption explains the differences better than chance."
    for one in lesson.explanations[:count]:
        yield (
            f"{name_of(one.kind, one.at)}: {_amount(job, one)}; {worth(one.evidence)}, "
            f"probability {one.probability:.2f}"
        )
    if best.evidence > 2.0 and best.same:
        others = (lesson.explanations[i] for i in best.same)
        names = ", ".join(name_of(o.kind, o.at) for o in others)
        yield (
            f"Cannot tell apart: {name_of(best.kind, best.at)} and {names} predict the same at "
            "these points."
        )
    for against in lesson.conflicts:
        yield conflict_words(job, against)
    if not lesson.explained:
        yield (
            "None of these assumptions, nor all together, can account for what was found "
            f"(sum of squares {lesson.chi_left:.1f}, chance stays below {lesson.limit:.1f} in 999 "
            "of 1000 rounds). Look for something else: a survey mistake, a deck that touches, a "
            "pack or a jack that is not what was written down."
        )


def conflict_words(job: Job, one: Conflict) -> str:
    """Say which uncertainty of the job a round contradicts, and what to do.

    Parameters
    ----------
    job, one
    """
    key = "learning" if one.kind in ("movement", "gauge") else "uncertainty"
    return (
        f"CONTRADICTED: {name_of(one.kind, one.at)}: this round alone says "
        f"{amount_words(job, one.kind, one.at, one.value, one.uncertainty)}, the job beforehand no "
        f"difference within {_prior_words(job, one)}: {one.ratio:.1f} times as far apart as both "
        "allow. The numbers below lie between the two and are surer than they may be. Find what "
        f"is at work there, or state {one.kind} in job.toml [{key}] as wide as it is, and run "
        "again."
    )


def _prior_words(job: Job, one: Conflict) -> str:
    """Say the standard uncertainty that the job states, or that is usual."""
    units = DISPLAY[job.units]
    if one.kind == "bedding":
        return f"u {units.plate.text(one.prior)}"
    if one.kind == "steel":
        return f"u {temperature_step(units).text(one.prior)}"
    return f"u {100.0 * one.prior:.0f} %"


def _amount(job: Job, one: Explanation) -> str:
    return amount_words(job, one.kind, one.at, one.value, one.uncertainty)


def correction_rows(job: Job, lesson: Lesson) -> list[list[str]]:
    """Return a row for each assumption that the round said something about.

    Parameters
    ----------
    job, lesson

    Returns
    -------
    list of list of str
        Where, by how much with its standard uncertainty, and the share of the prior variance that
        the round took away.
    """
    rows = []
    for i, (p, seen) in enumerate(zip(lesson.parameters, lesson.seen, strict=True)):
        if seen < SEEN:
            continue
        u = float(lesson.covariance[i, i]) ** 0.5
        rows.append(
            [
                _place(p),
                amount_words(job, p.kind, p.at, float(lesson.mean[i]), u),
                f"{100.0 * float(seen):.0f} %",
            ]
        )
    return rows


def usual_words(job: Job, lesson: Lesson) -> str:
    """Say which standard uncertainties were taken because the job states none.

    Parameters
    ----------
    job, lesson

    Returns
    -------
    str
        Empty where the job states them all.
    """
    units = DISPLAY[job.units]
    said = {
        "stiffness": f"stiffness {100.0 * USUAL.stiffness:.0f} %",
        "bedding": f"bedding {units.plate.text(USUAL.bedding)}",
        "expansion": f"expansion {100.0 * USUAL.expansion:.0f} %",
        "steel": f"steel temperature {temperature_step(units).text(USUAL.steel)}",
    }
    kinds = usual(job, dict.fromkeys(p.kind for p in lesson.parameters))
    if not kinds:
        return ""
    taken = ", ".join(said[kind] for kind in kinds)
    return (
        f"Not stated in job.toml [uncertainty], the usual taken as standard uncertainty: {taken}."
    )


def _place(parameter: Parameter) -> str:
    return name_of(parameter.kind, parameter.at)
