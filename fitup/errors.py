"""Every error a user can meet: one small tree, each with where, found, allowed, what to do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

EXIT_OK = 0
EXIT_BAD_INPUT = 2
EXIT_OUTSIDE = 3
EXIT_REFUSED = 4
EXIT_BROKEN = 5
EXIT_INTERRUPTED = 130


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with the input, told in one line.

    Parameters
    ----------
    file : str
        File as the user named it, relative to the job folder.
    found, allowed, do : str
        What stands there, what may stand there, what to do about it.
    row : int, optional
        Row in the file, the header being row 1.
    column : str, optional
        Column or key.

    Examples
    --------
    >>> print(Problem("jacks.csv", "'abc'", "a number of millimetres", "give the free stroke",
    ...               row=7, column="stroke_mm"))
    jacks.csv, row 7, stroke_mm: found 'abc'; allowed: a number of millimetres; give the free stroke
    """

    file: str
    found: str
    allowed: str
    do: str
    row: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        where = _short(self.file)
        if self.row is not None:
            where += f", row {self.row}"
        if self.column is not None:
            where += f", {_short(self.column)}"
        return f"{where}: found {_short(self.found)}; allowed: {self.allowed}; {self.do}"


#: of one file
MOST_PROBLEMS = 20
_MORE = " more problems"
#: so many problems that are alike but for their rows are told as one
_FOLDED = 3
#: characters of what was found
MOST_SHOWN = 300


def _short(text: str) -> str:
    """Return a text that was found, cut where it would fill the screen."""
    if len(text) <= MOST_SHOWN:
        return text
    return f"{text[:MOST_SHOWN]} ... ({len(text)} characters)"


def _capped(problems: Iterable[Problem]) -> list[Problem]:
    """Return the first problems of each file, and how many more there are; capped ones as well."""
    kept: list[Problem] = []
    count: dict[str, int] = {}
    for problem in _folded(problems):
        number = _more(problem)
        count[problem.file] = count.get(problem.file, 0) + (number or 1)
        if not number and count[problem.file] <= MOST_PROBLEMS:
            kept.append(problem)
    for file, found in count.items():
        if found > MOST_PROBLEMS:
            more = f"{found - MOST_PROBLEMS}{_MORE}"
            kept.append(Problem(file, more, "none", "correct these first"))
    return kept


def _folded(problems: Iterable[Problem]) -> list[Problem]:
    """Return problems with those that are alike but for their rows told in one line."""
    alike: dict[Problem, list[Problem]] = {}
    for problem in problems:
        alike.setdefault(replace(problem, row=problem.row and 0), []).append(problem)
    told = []
    for same in alike.values():
        rows = [p.row for p in same if p.row is not None]
        if len(rows) < _FOLDED:
            told.extend(same)
            continue
        whole = rows == list(range(rows[0], rows[-1] + 1))
        where = f"rows {rows[0]} to {rows[-1]}" if whole else f"{len(rows)} rows to {rows[-1]}"
        told.append(replace(same[0], found=f"{same[0].found} in {where}"))
    return told


def _more(problem: Problem) -> int:
    number = problem.found.removesuffix(_MORE)
    return int(number) if number.isdecimal() and number != problem.found else 0


class FitupError(Exception):
    """Root of all errors meant for the user: printed as text, never as a traceback."""

    exit_code = EXIT_BAD_INPUT


class InputError(FitupError):
    """The job folder or a file in it cannot be used; carries every problem found.

    Of one file that is wrong from end to end the first :data:`MOST_PROBLEMS` are kept, and how many
    more there are.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(_capped(problems))
        super().__init__("\n".join(str(p) for p in self.problems))


class SurveyRefused(FitupError):
    """The survey holds a likely blunder or compares what cannot be compared."""

    headline = "survey verdict: do not use"

    def __init__(self, findings: Iterable[str]) -> None:
        self.findings = tuple(findings)
        super().__init__("\n".join(self.findings))


class StructureError(FitupError):
    """The supports as described cannot hold a segment, or an influence table does not fit."""


class NoSafeOrder(FitupError):
    """No order of moves keeps every state inside its limits."""

    exit_code = EXIT_OUTSIDE


class NoPlan(FitupError):
    """No choice of packs keeps the hard limits, let alone the tolerances."""

    exit_code = EXIT_OUTSIDE


class OutsideTolerance(FitupError):
    """The best plan still leaves a check outside its tolerance; move sheets are not printed."""

    exit_code = EXIT_OUTSIDE


class CertificateRefused(FitupError):
    """The second recomputation does not agree with what would be printed."""

    exit_code = EXIT_REFUSED

    def __init__(self, disagreements: Iterable[str]) -> None:
        self.disagreements = tuple(disagreements)
        super().__init__("\n".join(self.disagreements))
