"""Write the next job folder: tables with the carried values, new surveys, and the whole story."""

from __future__ import annotations

import csv
import datetime as dt
import io
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fitup.errors import InputError, Problem
from fitup.jobfolder.keys import FILE
from fitup.jobfolder.rewrite import changed_cells, moved_text
from fitup.jobfolder.rounds import MOVED_FILE
from fitup.jobfolder.schema import TABLES
from fitup.jobfolder.surveys import survey_entries, with_surveys
from fitup.loop.carry import CarriedValue, NextJob
from fitup.loop.incoming import (
    CONTROL_FILE,
    INSTRUMENTS_FILE,
    READINGS_FILE,
    STEEL_FILE,
    TENSIONS_FILE,
)
from fitup.model import Job
from fitup.plainfile import read_text

#: the story of every carried value, for people; no command reads it
CARRIED_FILE: Final = "carried.csv"
#: what was read with the last survey stays with it
_OF_THE_SURVEY: Final = (READINGS_FILE, STEEL_FILE)
#: keys of a survey that are the new survey's own, whatever their unit
_OWN: Final = ("file", "observations", "levelling", "taken", "steel_temperature", "deck_load")
#: keys that say how coordinates are written, and are none of observations
_OF_A_LIST: Final = ("unit", "order", "decimal", "u_")


@dataclass(frozen=True, slots=True)
class NewSurvey:
    """A new survey and what its ``[[survey]]`` says of it.

    ``steel`` and ``deck_load`` are (unit suffix, number), as they were stated. ``observed`` tells
    what an instrument read from coordinates.
    """

    path: Path
    taken: dt.datetime
    steel: tuple[str, float]
    deck_load: tuple[str, float]
    observed: bool = False
    levelling: Path | None = None


def write_next(
    root: Path,
    job: Job,
    result: NextJob,
    target: Path,
    surveys: Sequence[NewSurvey] = (),
    measured: Mapping[str, Path] | None = None,
) -> tuple[tuple[Path, ...], tuple[CarriedValue, ...]]:
    """Write a new job folder in one step, or nothing.

    Parameters
    ----------
    root : Path
        Folder of the job before.
    job : Job
    result : NextJob
    target : Path
        New or empty.
    surveys : sequence of NewSurvey
        None leaves ``job.toml`` without a survey, to be added by hand.
    measured : mapping, optional
        ``readings.csv``, ``temperatures.csv``, ``tensions.csv``, ``control.csv`` or
        ``instruments.csv`` to the file with the new ones.
        Old readings stay with their survey; old tensions go on, for their checks need them, and
        are reported to be old.

    Returns
    -------
    tuple
        The files written, and every carried value with its source.

    Raises
    ------
    InputError
        If the folder is taken, or a new file cannot be read or has a name that is in use.
    """
    _require_empty(target)
    story = list(result.carried)
    texts = _tables(root, job, result)
    texts[FILE] = _job_toml(root, job, surveys, story)
    texts[MOVED_FILE] = moved_text(
        result.moved, job.units, "moved since the survey before, written by fitup next"
    )
    for new in surveys:
        _take(texts, new.path)
        if new.levelling is not None:
            _take(texts, new.levelling)
    _measured(texts, job, measured or {}, result, story)
    texts[CARRIED_FILE] = story_text(story)
    return _write(target, texts), tuple(story)


def _measured(
    texts: dict[str, str],
    job: Job,
    measured: Mapping[str, Path],
    result: NextJob,
    story: list[CarriedValue],
) -> None:
    """Put in what was measured with the new survey, and tell what was not."""
    for name, count in (
        (READINGS_FILE, len(job.readings)),
        (STEEL_FILE, len(job.thermometers)),
        (TENSIONS_FILE, len(job.tensions)),
    ):
        if name in measured:
            texts[name] = read_text(measured[name], str(measured[name]))
            story.append(
                CarriedValue(name, "", "", f"{count} rows", "new rows", f"{measured[name]}")
            )
        elif name in texts and count:
            source = "measured before the moves; measure again and correct it"
            story.append(CarriedValue(name, "", "", f"{count} rows", "the same rows", source))
            result.warnings.append(f"{name} is of the last survey: {source} before a plan is made")
        elif count:
            source = "read at the last survey; write down the new ones"
            story.append(CarriedValue(name, "", "", f"{count} rows", "left out", source))
    for name, count in (
        (CONTROL_FILE, len(job.control)),
        (INSTRUMENTS_FILE, len(job.instruments)),
    ):
        if name in measured:
            texts[name] = read_text(measured[name], str(measured[name]))
            story.append(
                CarriedValue(name, "", "", f"{count} rows", "new rows", f"{measured[name]}")
            )


def _require_empty(target: Path) -> None:
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise InputError(
            [Problem(str(target), "files already there", "a new or empty folder", "name another")]
        )


def _tables(root: Path, job: Job, result: NextJob) -> dict[str, str]:
    """Return every file of the old job that goes on, with the carried values put in."""
    left = {FILE, MOVED_FILE, *_OF_THE_SURVEY, *(epoch.file for epoch in job.epochs)}
    left |= {epoch.levelling for epoch in job.epochs if epoch.levelling}
    # hold points are no input of a plan, but they go on
    names = [*job.files, *(["holds.csv"] if job.holds else [])]
    texts = {}
    for name in names:
        if name in left:
            continue
        text = read_text(root / name, name)
        if name in result.changes:
            text = changed_cells(text, TABLES[name].columns, result.changes[name], job.units)
        texts[name] = text
    return texts


def _job_toml(
    root: Path,
    job: Job,
    surveys: Sequence[NewSurvey],
    story: list[CarriedValue],
) -> str:
    text = read_text(root / FILE, FILE)
    old = survey_entries(text)
    entries = [_entry(old[min(i, len(old) - 1)], new, story) for i, new in enumerate(surveys)]
    if not surveys:
        files = ", ".join(epoch.file for epoch in job.epochs)
        story.append(CarriedValue(FILE, "survey", "", files, "left out", "add the new [[survey]]"))
    gone = {r.id for r in job.readings} - set(job.points)
    # observations stay behind with their survey
    gone |= {name for name in job.excluded if "/" in name}
    included = [name for name in job.excluded if name in gone]
    for name, reason in job.excluded.items():
        after = "included: its reading stays behind" if name in gone else "still left out"
        story.append(
            CarriedValue(
                FILE, "exclude", name, reason, after, "look whether the reason still holds"
            )
        )
    return with_surveys(text, entries, included)


def _entry(old: Mapping[str, Any], new: NewSurvey, story: list[CarriedValue]) -> dict[str, Any]:
    """Return the ``[[survey]]`` of a new list; what is not its own stands as in the old one."""
    inherited = {k: v for k, v in old.items() if not k.startswith(_OWN)}
    if new.observed:
        inherited = {k: v for k, v in inherited.items() if not k.startswith(_OF_A_LIST)}
    kind = "observations" if new.observed else "file"
    last = old.get("observations", old.get("file", ""))
    stated: dict[str, tuple[str, Any]] = {
        kind: (kind, new.path.name),
        "taken": ("taken", new.taken),
        "steel_temperature": (f"steel_temperature_{new.steel[0]}", new.steel[1]),
        "deck_load": (f"deck_load_{new.deck_load[0]}", new.deck_load[1]),
    }
    for name, (key, value) in stated.items():
        before = next((f"{v}" for k, v in old.items() if k.startswith(name)), "")
        before = f"{last}" if name == kind else before
        story.append(
            CarriedValue(FILE, "survey", key, before, f"{value}", "told with the new survey")
        )
    if new.levelling is not None:
        stated["levelling"] = ("levelling", new.levelling.name)
        before, source = old.get("levelling", ""), "told with the new survey"
        story.append(CarriedValue(FILE, "survey", "levelling", before, new.levelling.name, source))
    elif "levelling" in old:
        source = "of the last survey; add that of the new one"
        story.append(
            CarriedValue(FILE, "survey", "levelling", old["levelling"], "left out", source)
        )
    for key, value in inherited.items():
        source = f"as for {last}; correct it if the new list differs"
        story.append(CarriedValue(FILE, "survey", key, f"{value}", f"{value}", source))
    return {**dict(stated.values()), **inherited}


def _take(texts: dict[str, str], path: Path) -> None:
    """Copy a new survey in under its own name."""
    name = path.name
    if name in {*texts, *TABLES, CARRIED_FILE}:
        raise InputError(
            [
                Problem(
                    str(path), f"the name {name}, which another file of the job has",
                    "a name of its own", "rename the list",
                )
            ]
        )  # fmt: skip
    texts[name] = read_text(path, str(path))


def story_text(story: Sequence[CarriedValue]) -> str:
    """Return ``carried.csv``: every carried value, before and after, and where it comes from."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["file", "row", "column", "before", "after", "source"])
    for line in story:
        writer.writerow([line.file, line.row, line.column, line.before, line.after, line.source])
    return out.getvalue()


def _write(target: Path, texts: Mapping[str, str]) -> tuple[Path, ...]:
    parent = target.resolve().parent
    try:
        parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=f".{target.name}-", dir=parent) as beside:
            new = Path(beside) / "new"
            new.mkdir()
            for name, text in texts.items():
                (new / name).parent.mkdir(parents=True, exist_ok=True)
                with (new / name).open("w", encoding="utf-8", newline="") as out:
                    out.write(text)
                    out.flush()
                    os.fsync(out.fileno())
            if target.exists():
                target.rmdir()
            new.rename(target)
    except OSError as error:
        reason = error.strerror or "an error"
        raise InputError(
            [Problem(str(target), reason, "a folder that can be written", "ask for access")]
        ) from None
    return tuple(target / name for name in sorted(texts))
