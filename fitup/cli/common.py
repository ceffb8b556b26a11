"""What commands share: the job argument, loading, progress, aligned text, JSON."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from fitup.errors import InputError, Problem
from fitup.jobfolder import read_job
from fitup.joints import joint_state
from fitup.model import CheckState, Influence, Job
from fitup.structure import influence_of
from fitup.survey import Survey, read_survey

job_argument = click.argument("job", type=click.Path(path_type=Path))
json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print the whole result as JSON (docs/json.md)."
)


@dataclass(frozen=True, eq=False)
class Loaded:
    """A job read and surveyed, ready to be planned."""

    folder: Path
    job: Job
    survey: Survey
    state: CheckState


def load(folder: Path) -> Loaded:
    """Read a job folder and its survey, and return the joints as surveyed."""
    job = read_job(folder)
    survey = read_survey(folder, job)
    return Loaded(folder, job, survey, joint_state(job, survey))


def influence(loaded: Loaded) -> Influence:
    """Return the influence of a loaded job."""
    return influence_of(loaded.job, loaded.survey, loaded.folder)


def progress(line: str) -> None:
    """Tell on standard error what is being done."""
    click.echo(f"  ... {line}", err=True)


def say_json(content: Any) -> None:
    """Print JSON with sorted keys, the same bytes for the same result."""
    click.echo(json.dumps(content, indent=2, sort_keys=True, ensure_ascii=False))


def text_table(
    header: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int] = ()
) -> str:
    """Return rows as aligned text; columns numbered in ``right`` are set to the right.

    Examples
    --------
    >>> print(text_table(["seat", "mm"], [["S1", "3.0"], ["S10", "12.5"]], right=[1]))
    seat    mm
    ----  ----
    S1     3.0
    S10   12.5
    """
    table = [list(header), ["-" * _width(h) for h in header], *[list(r) for r in rows]]
    widths = [max(_width(row[i]) for row in table) for i in range(len(header))]
    table[1] = ["-" * w for w in widths]
    lines = []
    for row in table:
        cells = [_pad(c, w, i in right) for i, (c, w) in enumerate(zip(row, widths, strict=True))]
        lines.append("  ".join(cells).rstrip())
    return "\n".join(lines)


def _width(text: str) -> int:
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    return len(text) + wide


def _pad(text: str, width: int, right: bool) -> str:
    space = " " * (width - _width(text))
    return space + text if right else text + space


def all_problems(folder: Path, *steps: Callable[[], object]) -> list[Problem]:
    """Run steps that check input and return the problems of all of them."""
    problems: list[Problem] = []
    for step in steps:
        try:
            step()
        except InputError as error:
            problems += error.problems
    return problems
