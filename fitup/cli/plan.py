"""``fitup plan``: packs and order of moves, with proof; nothing is written."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fitup.certify import Certificate
from fitup.certify.facts import CheckFact, SeatFact
from fitup.checks.tilt import TILTS
from fitup.cli.crossing import before_and_after
from fitup.cli.giving import give_option, given_words, with_given
from fitup.cli.text import (
    finishing_on_ctrl_c,
    job_argument,
    json_option,
    progress,
    say_json,
    stop_asked,
    text_table,
)
from fitup.errors import EXIT_INTERRUPTED, EXIT_OUTSIDE, InputError, NoPlan, NoSafeOrder, Problem
from fitup.model import SIDES, Job, ObjectiveResult, Plan, Quantity
from fitup.openjob import OpenJob, open_job
from fitup.record import Record, check_code, has_record
from fitup.record.approval import NOT_APPROVED, standing
from fitup.record.contents import files_now
from fitup.record.events import PLAN_MADE
from fitup.sheets.trust_words import percent
from fitup.sheets.words import (
    NAMES,
    conflict_words,
    move_words,
    plain_value,
    proof_words,
    shown_for,
    value_words,
)
from fitup.trust import make_budget, trust_of
from fitup.trust.robust import small_moves
from fitup.units import DISPLAY

if TYPE_CHECKING:
    from fitup.plan.second_opinion import SecondOpinion
    from fitup.survey.verdict import Verdict

#: the longest a second opinion may take: a day [s]
_LONGEST = 86400.0
_STOPPED = (
    "\nSTOPPED BY HAND: the best plan so far, certified like any other. What was proven of it "
    "until then stands under How good it is. Nothing was written."
)


@click.command("plan")
@job_argument
@json_option
@click.option(
    "--second-opinion",
    "limit",
    type=float,
    metavar="SECONDS",
    help="Let a general solver look for a better plan as long as this, from 1 to 86400.",
)
@click.option(
    "--by", metavar="SOLVER", help="highs (comes with fitup; as a rule) or scip, for that."
)
@give_option
def command(
    job: Path, as_json: bool, limit: float | None, by: str | None, give: tuple[str, ...]
) -> int:
    """Choose packs and order the moves, certify the plan, and say how good it is.

    Nothing is written. Where tolerance cannot be met, the best plan is shown with what stands
    in the way, and the exit code is 3. A second opinion knows nothing of how the plan was found;
    where the two contradict each other, the plan is not shown, and the exit code is 4.

    Seats named with --give get that pack or move; the others are planned about them.

    Ctrl-C ends the search: the best plan so far is certified and shown, marked as stopped by
    hand, with the bounds proven until then; the exit code is 130. Ctrl-C once more drops it.

    \b
    Example:
      fitup plan closure-k1
      fitup plan closure-k1 --second-opinion 60
      fitup plan closure-k1 --give A1-S1=P20+P5+P5+P3
    """
    _require_opinion(limit, by)
    opened = with_given(open_job(job, report=progress, stop=stop_asked), give)
    ask = None if limit is None else _general(opened, limit, by or "highs")
    with finishing_on_ctrl_c():
        try:
            plan, certificate = opened.plan, opened.certificate
        except (NoPlan, NoSafeOrder):
            if stop_asked():
                raise KeyboardInterrupt from None  # there is none yet to be shown
            raise
    says = () if ask is None or stop_asked() else ask()
    with finishing_on_ctrl_c():
        confidence = confidence_of(opened, plan)
        stopped = stop_asked()
        if as_json:
            more = {
                "confidence": _confidence_json(confidence),
                "second_opinion": [asdict(s) for s in says],
            }
            say_json({**as_json_result(opened), **more, "stopped": stopped})
        else:
            survey = opened.survey.verdict
            show(opened.job, plan, certificate, survey, status_of(job, plan), confidence, says)
            if give:
                click.echo(given_words(opened.job, give))
            if stopped:
                click.echo(_STOPPED)
    if stopped:
        return EXIT_INTERRUPTED
    return 0 if plan.inside else EXIT_OUTSIDE


def _require_opinion(limit: float | None, by: str | None) -> None:
    """Refuse a time that is none, and a solver that nobody asks."""
    if limit is None and by is not None:
        found, allowed = f"'{by}' without --second-opinion", "a solver with its seconds"
        do = "add --second-opinion SECONDS, or leave --by out"
        raise InputError([Problem("command line", found, allowed, do, None, "--by")])
    if limit is not None and not 1.0 <= limit <= _LONGEST:
        found, allowed = f"{limit:g}", f"1 to {_LONGEST:.0f} seconds"
        do = "give how long it may search"
        raise InputError([Problem("command line", found, allowed, do, None, "--second-opinion")])


@dataclass(frozen=True, slots=True)
class PlanConfidence:
    """Per judged check its standard uncertainty and probability; per joint that of all at once.

    ``small`` are seats whose move is smaller than the uncertainty of the survey it is based on.
    """

    u: Mapping[str, float]
    probability: Mapping[str, float]
    joints: Mapping[str, float]
    small: tuple[str, ...]


def confidence_of(opened: OpenJob, plan: Plan) -> PlanConfidence:
    """Carry the uncertainties of a job through its plan."""
    job, survey, state = opened.job, opened.survey, opened.state
    moves = opened.influence
    budget = make_budget(job, survey, state, moves, plan, effect=opened.influence_of)
    joints = trust_of(job, budget)
    stated = [c for joint in joints for c in joint.checks]
    return PlanConfidence(
        {c.id: float(u) for c, u in zip(budget.checks, budget.u, strict=True)},
        {c.check.id: c.probability for c in stated},
        {joint.joint: joint.probability for joint in joints},
        small_moves(state, moves, plan),
    )


def status_of(folder: Path, plan: Plan) -> str:
    """Return where a plan stands in the record of its job, if there is one."""
    if not has_record(folder):
        return NOT_APPROVED
    with Record(folder) as record:
        events = record.now()
        made = [e for e in events if e.kind == PLAN_MADE and e.about == plan.id]
        present = files_now(folder, made[-1].inputs if made else ())
        work = events.work
        return standing(record, work, record.people(events), plan.id, present).status


def _general(opened: OpenJob, limit: float, by: str) -> Callable[[], tuple[SecondOpinion, ...]]:
    """Return who gives a second opinion on the plan: a general solver."""
    from fitup.plan.second_opinion import chosen_solver, refuse_risk, second_opinion

    solver = chosen_solver(by)
    refuse_risk(opened.job)

    def ask() -> tuple[SecondOpinion, ...]:
        plan, effect = opened.plan, opened.planned.influence
        return second_opinion(opened.job, opened.state, effect, plan, limit, solver, progress)

    return ask


def show(
    job: Job,
    plan: Plan,
    certificate: Certificate,
    survey: Verdict,
    status: str = NOT_APPROVED,
    confidence: PlanConfidence | None = None,
    says: tuple[SecondOpinion, ...] = (),
) -> None:
    """Print a plan: joints before and after, packs, stages, proof, obstacles, its status.

    The verdict on the survey stands with its reservations beside the status.
    """
    for joint in job.joints.values():
        click.echo(f"\nJoint {joint.id}: back {joint.back}, ahead {joint.ahead}, looking ahead")
        click.echo(
            _joint_table(job, [c for c in certificate.checks if c.joint == joint.id], confidence)
        )
        if confidence is not None and joint.id in confidence.joints:
            click.echo(f"all of them inside at once with {percent(confidence.joints[joint.id])}")
    rest = [c for c in certificate.checks if not c.joint and c.tolerance is not None]
    of_structure = {f"lean/{name}" for name in job.leans}
    of_structure |= {f"tension/{name}" for name in job.tensions}
    tilts = [c for c in rest if c.quantity in TILTS]
    watched = [c for c in rest if c.id not in of_structure and c.quantity not in TILTS]
    for title, facts in (
        ("Watched points", watched),
        ("Segments", tilts),
        ("Towers and cables", [c for c in certificate.checks if c.id in of_structure]),
    ):
        if facts:
            click.echo(f"\n{title}")
            click.echo(_joint_table(job, facts, confidence))
    for title, table in before_and_after(job, certificate):
        click.echo(f"\n{title}")
        click.echo(table)
    click.echo("\nPacks, bottom to top")
    click.echo(_seat_table(job, certificate.seats))
    computed = [name for name in job.seats if not job.load_measured(name)]
    if computed and job.influence_table is None:
        click.echo(
            "Present loads of these seats are computed, not measured: " + ", ".join(computed)
        )
    if confidence is not None and confidence.small:
        click.echo(
            "Moves smaller than the uncertainty they are based on: "
            f"{', '.join(confidence.small)} "
            "(a risk in [objectives] leaves out those that help nothing)"
        )
    click.echo("\nOrder of work")
    for stage in certificate.stages:
        click.echo(f"  stage {stage.number}: {stage.group} ({', '.join(stage.seats)})")
    click.echo("\nHow good it is")
    for objective in plan.objectives:
        click.echo(
            f"  {_reached(objective, certificate.summary.of(objective.name))}: {objective.text}"
        )
    click.echo(f"  method: {plan.method}")
    for said in says:
        click.echo(f"  second opinion, {said.name}: {said.text}")
    for line in certificate.statements:
        click.echo(f"  certificate: {line}")
    if not plan.inside:
        click.echo("\nTOLERANCE CANNOT BE MET with the job as it stands.")
        show_obstacles(plan)
    click.echo()
    for line in survey.brief:
        click.echo(line)
    click.echo(f"plan {check_code(plan.id)}, {status}; an aid to a competent engineer")


def _reached(objective: ObjectiveResult, value: float) -> str:
    """Say the certified value of an objective, and what is known of plans better in it."""
    said = proof_words(objective.name, value, objective.lower, proven=objective.proven)
    bound = f"no plan is below {min(objective.lower, value):.4g}"
    known = {
        "proven least": "proven the least there is",
        "met": "objective met",
        "not proven": bound,
    }.get(said, f"{said}, {bound}")
    return f"{objective.name} {value:.4g}, {known}"


def show_obstacles(plan: Plan) -> None:
    """Print what stands in the way and the smallest change of each that frees it."""
    for conflict in plan.conflicts:
        click.echo(f"{conflict_words(conflict)}:")
        for part in conflict.parts:
            click.echo(f"  {part}")
    if not plan.conflicts and plan.objectives[0].lower <= 1.0:
        click.echo("Plates cut to measure would keep every tolerance; whole plates do not.")
    if plan.obstacles:
        click.echo("Any one of these changes alone lets every tolerance be met:")
        for obstacle in plan.obstacles:
            click.echo(f"  {obstacle.change}")
    else:
        click.echo("None of the single changes that were tried is enough; it takes more than one.")


def _joint_table(job: Job, facts: list[CheckFact], confidence: PlanConfidence | None = None) -> str:
    units = DISPLAY[job.units]
    rows = []
    for fact in facts:
        quantity: Quantity = next(q for q in SIDES if q == fact.quantity)
        shown = shown_for(quantity, units)
        state = "left as it is" if fact.leave_within is not None else ""
        if fact.inside is not None:
            state = "inside" if fact.inside else "OUTSIDE"
        rows.append(
            [
                fact.place or "whole joint",
                NAMES[quantity],
                # beside an aim "too wide" would mislead: the nominal is not what is wanted
                plain_value(quantity, fact.before, units).words
                if fact.target
                else value_words(quantity, fact.before, units).words,
                value_words(quantity, fact.after, units, fact.target).words,
                shown.text(fact.uncertainty if confidence is None else confidence.u[fact.id]),
                "-" if fact.tolerance is None else shown.text(fact.tolerance),
                *([] if confidence is None else [_inside_with(fact, confidence)]),
                state,
            ]
        )
    more = [] if confidence is None else ["inside with"]
    header = ["where", "what", "before", "after", "u", "tolerance", *more, ""]
    return text_table(header, rows, right=[4, 5, *([] if confidence is None else [6])])


def _inside_with(fact: CheckFact, confidence: PlanConfidence) -> str:
    return percent(confidence.probability[fact.id]) if fact.id in confidence.probability else "-"


def _seat_table(job: Job, facts: tuple[SeatFact, ...]) -> str:
    units = DISPLAY[job.units]
    rows = []
    for fact in facts:
        nut = fact.held_by == "nut"
        rows.append(
            [
                fact.seat,
                move_words(fact.pushes, fact.setting, units).words,
                "nut" if nut else "+".join(fact.pack_now),
                "nut" if nut else "+".join(fact.build_up),
                "-" if nut else units.plate.text(fact.height_new),
                units.force.text(fact.reaction_before),
                units.force.text(fact.reaction_after),
            ]
        )
    header = ["seat", "move", "pack now", "new pack", "height", "load now", "load after"]
    return text_table(header, rows, right=[4, 5, 6])


def as_json_result(opened: OpenJob) -> dict[str, Any]:
    """Return plan and certificate with documented keys (docs/json.md), in SI."""
    return {
        "job": opened.job.name,
        "understood": list(opened.survey.understood),
        "plan": asdict(opened.plan),
        "certificate": asdict(opened.certificate),
    }


def _confidence_json(confidence: PlanConfidence) -> dict[str, Any]:
    return {
        "checks": [
            {"id": name, "u": confidence.u[name], "probability": p}
            for name, p in confidence.probability.items()
        ],
        "joints": [{"joint": name, "probability": p} for name, p in confidence.joints.items()],
        "small_moves": list(confidence.small),
    }
