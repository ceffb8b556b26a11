"""``fitup rules``: tolerances of standards that a job may choose by name."""

from __future__ import annotations

import click

from fitup.cli.text import json_option, say_json, text_table
from fitup.model.rules import RULES


@click.command("rules")
@json_option
def command(as_json: bool) -> None:
    """List the tolerances of standards that job.toml may choose by name.

    None is ever applied unless it is named. Rows from memory must be confirmed against the
    standard.

    \b
    Example:
      fitup rules
    """
    if as_json:
        rows = [
            {
                "name": rule.name,
                "clause": rule.clause,
                "quantities": list(rule.quantities),
                "needs": rule.needs,
                "from_memory": rule.memory,
            }
            for rule in RULES
        ]
        say_json({"rules": rows})
        return
    table = [
        [
            rule.name,
            ", ".join(rule.quantities),
            rule.needs or "-",
            "FROM MEMORY" if rule.memory else "",
            rule.clause,
        ]
        for rule in RULES
    ]
    click.echo(text_table(["rule", "for", "needs", "", "clause and edition"], table))
