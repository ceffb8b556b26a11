"""Start a job folder: laid out from a few dimensions, or as a small whole example; add tables."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from importlib import resources
from pathlib import Path
from typing import Final

from fitup.errors import InputError, Problem
from fitup.jobfolder.blank import addable, blank_table, headed
from fitup.jobfolder.layout import Layout, laid_out
from fitup.plainfile import write_whole

#: job.toml of a job that is laid out; a key that must be typed stands as a comment
_SETTINGS: Final = """\
# What is printed, how good is good enough, which surveys count. Take the # away from a line and
# write your own value where there are dots; `fitup check` names every one that is missing.
# Keys that may be left out, and tables that may be added: docs/job-folder.md.

name = "{name}"
units = "{units}"
# grid = "..."                    # says whose coordinates these are
# reference_temperature_{degree} = ...   # steel temperature at which the design geometry holds

[tolerance.step]                  # riding surface across the joint, each pair
# value_{small} = ...
# source = "..."                  # where it is written
[tolerance.gap]                   # opening of the joint against its nominal opening, each pair
# value_{small} = ...
# source = "..."

[[survey]]
{survey}# taken = ...                     # local time: 2031-05-14T04:20:00
# steel_temperature_{degree} = ...       # of the deck at the survey
# deck_load_{force} = ...              # on the deck beyond the weights in segments.csv
"""
_LISTED: Final = """\
file = "survey.csv"               # the coordinate list as the crew sends it, in this folder
# u_{small} = ...                      # of each coordinate; needed unless the list has it
"""
_READ: Final = """\
observations = "night-1.csv"      # what the instrument read
# levelling = "night-1-levels.csv"   # levelled differences of height; may be left out
"""


def start_job(
    folder: Path | str, *, frame: bool = False, observations: bool = False
) -> tuple[Path, ...]:
    """Write the small whole example with its comments into a new or empty folder.

    Parameters
    ----------
    folder : path
    frame : bool
        Write the job whose structure is a frame.
    observations : bool
        Give it what an instrument read in place of a coordinate list.

    Returns
    -------
    tuple of Path
        The files written.

    Raises
    ------
    InputError
        If the folder holds files already or cannot be written; nothing is overwritten.
    """
    return _write_new(Path(folder), _template(frame, observations))


def start_laid_out(
    folder: Path | str,
    deck: Layout,
    *,
    display: str = "metric",
    observations: bool = False,
    extras: Sequence[str] = (),
) -> tuple[Path, ...]:
    """Lay out a job in a new or empty folder, with no more tables than it needs.

    Parameters
    ----------
    folder : path
    deck : Layout
        The regular deck to lay out.
    display : {'metric', 'US'}
        Units of the tables and of what is printed.
    observations : bool
        The survey is what an instrument read, not a coordinate list.
    extras : sequence of str
        Files of tables wanted besides.

    Returns
    -------
    tuple of Path
        The files written.

    Raises
    ------
    InputError
        If a dimension cannot be meant, a table is unknown, or the folder holds files already.
    """
    _known(extras)
    tables = laid_out(deck, extras)
    files = {name: blank_table(name, display, rows) for name, rows in tables.items()}
    if observations:
        for name in ("control.csv", "instruments.csv"):
            files.setdefault(name, blank_table(name, display))
        for name in ("night-1.csv", "night-1-levels.csv"):
            files[name] = headed(name, display)
    files["job.toml"] = _settings(Path(folder).resolve().name, display, observations)
    return _write_new(Path(folder), {name: text.encode() for name, text in files.items()})


def add_tables(folder: Path | str, names: Sequence[str], display: str) -> tuple[Path, ...]:
    """Write empty tables into a job folder, with their comments and headers.

    Parameters
    ----------
    folder : path
    names : sequence of str
        Files, such as ``pumps.csv``.
    display : {'metric', 'US'}
        Units of their headers.

    Raises
    ------
    InputError
        If the folder is no job, or a table is unknown or there already: none is written.
    """
    root = Path(folder)
    _known(names)
    if not (root / "job.toml").is_file():
        raise InputError(
            [Problem(str(root), "no job.toml", "a job folder", "make one with: fitup start FOLDER")]
        )
    there = [name for name in names if (root / name).exists()]
    if there:
        raise InputError(
            [
                Problem(name, "a file already there", "a table not yet written", "edit it as it is")
                for name in there
            ]
        )
    for name in names:
        write_whole(root / name, blank_table(name, display).encode())
    return tuple(root / name for name in names)


def _known(names: Sequence[str]) -> None:
    unknown = [name for name in names if name not in addable()]
    if unknown:
        allowed = ", ".join(name.removesuffix(".csv") for name in addable())
        raise InputError([Problem(n, "no table of a job", allowed, "name one") for n in unknown])


def _settings(name: str, display: str, observations: bool) -> str:
    """Return the text of job.toml: nothing invented, what must be typed as a comment."""
    us = display == "US"
    words = {
        "small": "in" if us else "mm",
        "degree": "F" if us else "C",
        "force": "kip" if us else "kN",
    }
    shown = "".join(c for c in name if c.isprintable() and c not in '"\\')
    survey = (_READ if observations else _LISTED).format(**words)
    return _SETTINGS.format(name=shown, units=display, survey=survey, **words)


def _write_new(root: Path, content: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write files into a new or empty folder."""
    try:
        if root.exists() and (not root.is_dir() or any(root.iterdir())):
            raise InputError(
                [Problem(str(root), "files already there", "a new or empty folder", "name another")]
            )
        root.mkdir(parents=True, exist_ok=True)
        written = []
        for name, data in sorted(content.items()):
            target = root / name
            target.write_bytes(data)
            written.append(target)
    except OSError as error:
        raise InputError(
            [
                Problem(
                    str(root), error.strerror or "an error", "a writable folder", "ask for access"
                )
            ]
        ) from None
    return tuple(written)


def _template(frame: bool, observations: bool) -> dict[str, bytes]:
    """Files of the template; those of frame and observations stand in place of the plain ones."""
    home = resources.files("fitup.jobfolder")
    chosen = {"template": True, "template_frame": frame, "template_observed": observations}
    files = {
        s.name: s.read_bytes()
        for folder, wanted in chosen.items()
        if wanted
        for s in (home / folder).iterdir()
    }
    if observations:
        del files["survey.csv"]
        files["job.toml"] = _observed(files["job.toml"].decode("utf-8")).encode("utf-8")
    return files


def _observed(text: str) -> str:
    """Return the text of job.toml whose survey is what an instrument read."""
    head, survey = text.rsplit("[[survey]]", 1)
    survey = re.sub(r"^(file|u_mm) =", r"# \1 =", survey, flags=re.M)
    return (
        head + "[[survey]]" + re.sub(r"^# (observations|levelling) =", r"\1 =", survey, flags=re.M)
    )
