"""Printing on a terminal: aligned text, JSON, progress. Imports nothing slow."""

from __future__ import annotations

import itertools
import json
import math
import os
import re
import signal
import sys
import textwrap
import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any, Final

import click

from fitup.plainfile import hidden_in

if TYPE_CHECKING:
    from fitup.survey.verdict import Verdict

# what cannot be read is stated in one line by the reader, not by click
job_argument = click.argument("job", type=click.Path(path_type=Path, readable=False))
json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print the whole result as JSON (docs/json.md)."
)


_stop_asked: Final[list[int]] = []
#: how often Ctrl-C only asks to finish before it stops
_patience: Final[list[int]] = [0]
#: the space between a number and its unit, where no line ends
_BEFORE_UNIT: Final = re.compile(r"(?<=\d) (?=mm|in\b|ft|kN|kip|bar|psi|°|%)")
_NO_BREAK: Final = "\u00a0"
_COMPILER: Final = "llvmlite"
_FINISHING: Final = b"  ... Ctrl-C: finishing with the best plan so far; once more drops it\n"


def heed_ctrl_c() -> None:
    """Remember Ctrl-C too: a library that is being loaded may swallow the exception."""

    def stop(number: int, frame: FrameType | None) -> None:
        _stop_asked.append(number)
        if len(_stop_asked) > _patience[0]:
            if frame is not None and _COMPILER in frame.f_code.co_filename:
                return  # its callbacks cannot pass an exception on: the next progress line stops
            raise KeyboardInterrupt
        # a signal may come in the middle of a line that is being printed: past the streams
        os.write(2, _FINISHING)

    _stop_asked.clear()
    signal.signal(signal.SIGINT, stop)


@contextmanager
def finishing_on_ctrl_c() -> Iterator[None]:
    """Let the first Ctrl-C within only ask to finish; the second stops as ever."""
    _patience[0] = 1
    try:
        yield
    finally:
        _patience[0] = 0


def stop_asked() -> bool:
    """Say whether Ctrl-C was pressed."""
    return bool(_stop_asked)


def progress(line: str) -> None:
    """Tell on standard error what is being done, unless Ctrl-C asked to stop."""
    if len(_stop_asked) > _patience[0]:
        raise KeyboardInterrupt
    click.echo(f"  ... {line}", err=True)


def say_json(content: Any) -> None:
    """Print JSON with sorted keys, the same bytes for the same result."""
    text = json.dumps(_finite(content), indent=2, sort_keys=True, ensure_ascii=False)
    # what does not show is written as JSON writes it, so that it can be read back
    click.echo("".join(c if c == "\n" or not hidden_in(c) else json.dumps(c)[1:-1] for c in text))


def _finite(content: Any) -> Any:
    """Return content with null where a number is not finite: JSON has no word for it."""
    if isinstance(content, dict):
        return {key: _finite(value) for key, value in content.items()}
    if isinstance(content, list | tuple):
        return [_finite(value) for value in content]
    if isinstance(content, float) and not math.isfinite(content):
        return None
    return content


def verdict_json(verdict: Verdict) -> dict[str, Any]:
    """Return the verdict on a survey with documented keys (docs/json.md)."""
    grounds = [{"weight": g.weight, "about": g.about, "text": g.text} for g in verdict.grounds]
    return {"verdict": verdict.word, "grounds": grounds}


def text_table(
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    right: Sequence[int] = (),
    columns: int | None = None,
) -> str:
    """Return rows as aligned text; columns numbered in ``right`` are set to the right.

    Parameters
    ----------
    header : sequence of str
    rows : sequence of sequence of str
    right : sequence of int
        Columns of numbers; they are never broken.
    columns : int, optional
        Characters of a line into which texts are broken; those of the terminal where output goes
        to one, else no limit, so that a file or pipe has a row a line.

    Examples
    --------
    >>> print(text_table(["seat", "mm"], [["S1", "3.0"], ["S10", "12.5"]], right=[1]))
    seat    mm
    ----  ----
    S1     3.0
    S10   12.5
    >>> print(text_table(["seat", "why"], [["S1", "the jack leaks oil"]], columns=16))
    seat  why
    ----  ----------
    S1    the jack
          leaks oil
    """
    table = [list(header), *[list(r) for r in rows]]
    widths = [max(_width(row[i]) for row in table) for i in range(len(header))]
    most, gap = _terminal() if columns is None else columns, "  "
    fitted = _fitted(table, widths, right, most, gap)
    if sum(fitted) + len(gap) * (len(fitted) - 1) > most:
        gap = " "
        fitted = _fitted(table, widths, right, most, gap)
    lines = [_line(row, fitted, right, gap) for row in table]
    lines.insert(1, [gap.join("-" * w for w in fitted)])
    return "\n".join(line for row in lines for line in row)


def _line(row: Sequence[str], widths: Sequence[int], right: Sequence[int], gap: str) -> list[str]:
    """Return the lines of one row, a broken text below itself."""
    broken = [[c] if _width(c) <= w else _broken(c, w) for c, w in zip(row, widths, strict=True)]
    return [
        gap.join(
            _pad(c, w, i in right) for i, (c, w) in enumerate(zip(cells, widths, strict=True))
        ).rstrip()
        for cells in itertools.zip_longest(*broken, fillvalue="")
    ]


def _broken(text: str, width: int) -> list[str]:
    """Break a text between words; names stay whole, and a number keeps its unit beside it."""
    lines = textwrap.wrap(_joined(text), width, break_long_words=False, break_on_hyphens=False)
    return [line.replace(_NO_BREAK, " ") for line in lines]


def _joined(text: str) -> str:
    return _BEFORE_UNIT.sub(_NO_BREAK, text)


def _fitted(
    table: Sequence[Sequence[str]],
    widths: Sequence[int],
    right: Sequence[int],
    columns: int,
    gap: str,
) -> list[int]:
    """Return widths in which texts are broken between words, the widest first, to fit a line."""
    fitted = list(widths)
    texts = [i for i in range(len(fitted)) if i not in right]
    least = {
        i: max((_width(w) for row in table for w in _joined(row[i]).split(" ")), default=1)
        for i in texts
    }
    while sum(fitted) + len(gap) * (len(fitted) - 1) > columns:
        open_ones = [i for i in texts if fitted[i] > least[i]]
        if not open_ones:
            break
        fitted[max(open_ones, key=lambda i: fitted[i])] -= 1
    return fitted


def _terminal() -> int:
    """Return the characters of a line of the terminal; endless where output goes elsewhere."""
    if not sys.stdout.isatty():
        return sys.maxsize
    try:
        return os.get_terminal_size(sys.stdout.fileno()).columns or sys.maxsize
    except OSError:  # a terminal that does not tell
        return sys.maxsize


def _width(text: str) -> int:
    wide = sum(unicodedata.east_asian_width(c) in "WF" for c in text)
    return len(text) + wide


def _pad(text: str, width: int, right: bool) -> str:
    space = " " * (width - _width(text))
    return space + text if right else text + space
