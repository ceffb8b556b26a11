"""``fitup learn``: which assumption explains a re-survey, and the corrections that follow."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from fitup.cli.compare import later_argument, load_round
from fitup.cli.text import job_argument, json_option, say_json, text_table
from fitup.cli.writing import write_files
from fitup.errors import EXIT_OUTSIDE
from fitup.jobfolder.rewrite import learned_text
from fitup.jobfolder.rounds import LEARNED_FILE
from fitup.loop import Lesson, Round, compare, learn
from fitup.loop.learn import corrections
from fitup.loop.words import correction_rows, name_of, usual_words, verdict_words, whole_words
from fitup.model import Learned


@click.command("learn")
@job_argument
@later_argument
@click.option("--write", is_flag=True, help="Write learned.csv into NEWJOB; its plan then uses it.")
@json_option
def command(job: Path, later: Path, write: bool, as_json: bool) -> int:
    """Say which assumption best explains what NEWJOB's survey found, and correct what was assumed.

    Stiffness of seats, bedding of packs, a seat that sank, scales of jacks and gauges, expansion
    and steel temperature are weighed against each other, each held back by how far the job says
    it may be off (job.toml, [learning]). With --write the corrections go into NEWJOB.

    \b
    Example:
      fitup learn closure-k1 closure-k1-b --write
    """
    one = load_round(job, later)
    lesson = learn(one)
    source = f"fitup learn, {one.job.name}: moves before the survey of {later.name}"
    stated = corrections(one.job, lesson, source)
    writes = write and bool(stated) and lesson.may_be_carried
    if writes:
        table = learned_text(stated, one.job.units, "written by fitup learn")
        write_files(later, {LEARNED_FILE: table.encode()})
    if as_json:
        say_json(as_json_result(one, lesson, stated, later / LEARNED_FILE if writes else None))
    else:
        _show(one, lesson, stated)
        _end(later, write, writes, lesson)
    return EXIT_OUTSIDE if write and not lesson.may_be_carried else 0


def _show(one: Round, lesson: Lesson, stated: tuple[Learned, ...]) -> None:
    click.echo(whole_words(compare(one)))
    click.echo("\nOne assumption at a time")
    for line in verdict_words(one.job, lesson):
        click.echo(f"  {line}")
    click.echo(f"  all as assumed: probability {lesson.as_assumed:.2f}")
    rows = correction_rows(one.job, lesson)
    if rows:
        click.echo("\nAll together, each held back by how far it may be off")
        click.echo(text_table(["assumption", "corrected", "learned"], rows, right=[2]))
    taken = usual_words(one.job, lesson)
    if taken:
        click.echo(taken)
    carried = dict.fromkeys(c.what for c in stated)
    if carried and lesson.may_be_carried:
        click.echo(f"\nCan be carried on: {', '.join(carried)}.")


def _end(later: Path, write: bool, writes: bool, lesson: Lesson) -> None:
    if writes:
        click.echo(f"Wrote {later / LEARNED_FILE}; every plan of {later} states it and uses it.")
    elif write and not lesson.may_be_carried:
        click.echo("Nothing was written: find the cause first.")
    elif write:
        click.echo("Nothing was written: the round says nothing of any assumption that lasts.")


def as_json_result(
    one: Round, lesson: Lesson, stated: tuple[Learned, ...], written: Path | None
) -> dict[str, Any]:
    """Return a lesson with documented keys (docs/json.md), in SI."""
    sigma = lesson.covariance.diagonal() ** 0.5
    prior = lesson.prior.diagonal() ** 0.5
    return {
        "job": one.job.name,
        "chi_square": lesson.chi_square,
        "degrees": lesson.degrees,
        "chi_left": lesson.chi_left,
        "limit": lesson.limit,
        "explained": lesson.explained,
        "conflicts": [
            {
                "kind": c.kind,
                "at": c.at,
                "value": c.value,
                "uncertainty": c.uncertainty,
                "prior": c.prior,
                "ratio": c.ratio,
            }
            for c in lesson.conflicts
        ],
        "as_assumed": lesson.as_assumed,
        "explanations": [
            {
                "kind": e.kind,
                "at": e.at,
                "value": e.value,
                "uncertainty": e.uncertainty,
                "evidence": e.evidence,
                "probability": e.probability,
                "same": [
                    name_of(lesson.explanations[i].kind, lesson.explanations[i].at) for i in e.same
                ],
            }
            for e in lesson.explanations
        ],
        "parameters": [
            {
                "kind": p.kind,
                "at": p.at,
                "value": float(lesson.mean[i]),
                "uncertainty": float(sigma[i]),
                "prior": float(prior[i]),
            }
            for i, p in enumerate(lesson.parameters)
        ],
        "corrections": [
            {"what": c.what, "at": c.at, "value": c.value, "uncertainty": c.uncertainty}
            for c in stated
        ],
        "written": None if written is None else str(written),
    }
