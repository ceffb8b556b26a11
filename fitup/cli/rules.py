"""``fitup rules``: tolerances of standards that a job may choose by name."""

from __future__ import annotations

from collections.abc import Iterator

import click

from fitup.cli.text import json_option, say_json, text_table
from fitup.model.rules import MEMORY, PLATE_CLASSES, RULES, plate_limits


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
        plates = [
            {"name": name, "clause": clause, "from_memory": memory}
            for name, clause, memory, _ in _plates()
        ]
        say_json({"rules": rows, "plates": plates})
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
    click.echo("\nThickness of plates, by made_to in plates.csv")
    table = [[n, "FROM MEMORY" if memory else "", said] for n, _, memory, said in _plates()]
    click.echo(text_table(["made_to", "", "a plate of 20 mm"], table))


def _plates() -> Iterator[tuple[str, str, bool, str]]:
    """Yield name, clause, whether from memory, and the limits of a plate of 20 mm."""
    for name in PLATE_CLASSES:
        limits = plate_limits(name, 0.020)
        assert limits is not None
        said = f"{limits.least * 1e3:.2f} to {limits.most * 1e3:.2f} mm"
        yield name, limits.source, MEMORY in limits.source, said
