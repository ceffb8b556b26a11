"""``fitup whatif``: the plan beside one with seats held, plates gone or jacks broken."""

from __future__ import annotations

from pathlib import Path

import click

from fitup.certify import Certificate
from fitup.cli.text import job_argument, progress, text_table
from fitup.errors import (
    EXIT_OUTSIDE,
    CertificateRefused,
    InputError,
    NoPlan,
    NoSafeOrder,
    Problem,
)
from fitup.model import SIDES, Job, Plan, Quantity
from fitup.openjob import open_job
from fitup.sheets.words import NAMES, shown_for, value_words
from fitup.units import DISPLAY


@click.command("whatif")
@job_argument
@click.option("--hold", multiple=True, metavar="SEAT", help="A seat that must stay as it is.")
@click.option("--leave", multiple=True, metavar="SEAT", help="A seat whose pack stays as it is.")
@click.option("--gone", multiple=True, metavar="MARK=COUNT", help="Plates that are not there.")
@click.option("--broken", multiple=True, metavar="JACK", help="A jack that cannot be used.")
def command(
    job: Path,
    hold: tuple[str, ...],
    leave: tuple[str, ...],
    gone: tuple[str, ...],
    broken: tuple[str, ...],
) -> int:
    """Show the plan beside one with something otherwise; nothing is written.

    The job folder stays as it is: where the other plan is wanted, change the tables.

    \b
    Example:
      fitup whatif closure-k1 --hold W7-S3 --gone P10=2
    """
    from fitup.plan.whatif import changed_job

    opened = open_job(job, report=progress)
    other = opened.changed(changed_job(opened.job, hold, _counts(gone), broken, leave))
    plan, certificate = opened.plan, opened.certificate
    try:
        then, changed = other.plan, other.certificate
    except (NoPlan, NoSafeOrder, CertificateRefused) as error:
        worst = certificate.summary.worst_ratio
        click.echo(f"as the job stands: worst ratio {worst:.2f}, {_disturbed(certificate)}")
        click.echo("\nWith the change THERE IS NO PLAN that may be carried out:")
        for line in str(error).splitlines():
            click.echo(f"  {line}")
        return EXIT_OUTSIDE
    click.echo("Checks that would differ")
    click.echo(_checks(opened.job, certificate, changed))
    click.echo("\nPacks that would differ, bottom to top")
    click.echo(_packs(plan, then))
    for words, one in (("as the job stands", certificate), ("with the change", changed)):
        click.echo(f"{words}: worst ratio {one.summary.worst_ratio:.2f}, {_disturbed(one)}")
    if not then.inside:
        click.echo("\nWith the change, TOLERANCE CANNOT BE MET.")
    return 0 if then.inside else EXIT_OUTSIDE


def _disturbed(certificate: Certificate) -> str:
    return f"{certificate.summary.seats_disturbed} seats disturbed"


def _counts(gone: tuple[str, ...]) -> dict[str, int]:
    counts: dict[str, int] = {}
    for given in gone:
        mark, sign, count = given.rpartition("=")
        if not sign or not count.isdigit():
            do = "write the mark, an equals sign and how many are gone"
            problem = Problem(
                "command line", repr(given), "MARK=COUNT, e.g. P10=2", do, None, "--gone"
            )
            raise InputError([problem])
        counts[mark] = counts.get(mark, 0) + int(count)
    return counts


def _checks(job: Job, now: Certificate, then: Certificate) -> str:
    units = DISPLAY[job.units]
    rows = []
    for one, two in zip(now.checks, then.checks, strict=True):
        if one.tolerance is None:
            continue
        quantity: Quantity = next(q for q in SIDES if q == one.quantity)
        planned_words = value_words(quantity, one.after, units, one.target).words
        other_words = value_words(quantity, two.after, units, two.target).words
        if planned_words == other_words:
            continue
        rows.append(
            [
                one.joint or "-",
                one.place or "whole joint",
                NAMES[quantity],
                planned_words,
                other_words,
                shown_for(quantity, units).text(one.tolerance),
                "inside" if two.inside else "OUTSIDE",
            ]
        )
    header = ["joint", "where", "what", "planned", "with the change", "tolerance", ""]
    return text_table(header, rows, right=[5]) if rows else "none"


def _packs(now: Plan, then: Plan) -> str:
    rows = [
        [one.seat, "+".join(one.build_up) or "nut", "+".join(two.build_up) or "nut"]
        for one, two in zip(now.seats, then.seats, strict=True)
        if one.build_up != two.build_up or abs(one.setting - two.setting) > 1e-9
    ]
    return text_table(["seat", "planned", "with the change"], rows) if rows else "none"
