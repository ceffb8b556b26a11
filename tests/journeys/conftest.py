"""The command line as a user meets it, called in this process through its own ``main``."""

from __future__ import annotations

import contextlib
import io
import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import pytest

from fitup.cli import main


@dataclass(frozen=True)
class Said:
    """What one call of the command line left behind."""

    code: int
    out: str
    err: str

    @property
    def lines(self) -> list[str]:
        """The lines of a refusal, without the tale of progress and the verdict on the survey."""
        stated = [line for line in self.err.splitlines() if not line.startswith("  ...")]
        return [line for line in stated if line != "fitup: survey verdict: do not use"]


def call(*args: object) -> Said:
    out, err = io.StringIO(), io.StringIO()
    before, sys.argv = sys.argv, ["fitup", *(str(a) for a in args)]
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            main()
    except SystemExit as leave:
        assert isinstance(leave.code, int)
        return Said(leave.code, out.getvalue(), err.getvalue())
    finally:
        sys.argv = before
    raise AssertionError("the command line did not leave by its exit code")


@pytest.fixture(scope="session")
def fitup() -> Callable[..., Said]:
    """``fitup("plan", folder)``."""
    return call


def written_down(row: Mapping[str, str], said: str | None = None) -> dict[str, str]:
    """What a crew writes in a row of a form that found what it says, or something else."""
    told = row["should_read"] if said is None else said
    number = re.search(r"[\d.]+", told)
    if row["name"].startswith(("pack", "temporary")):
        return {"pack": told}
    if row["name"].startswith("stands"):
        return {"stands_on": told}
    if row["name"].startswith("load"):
        most = float(row["stop_beyond"].split()[0])
        least = float(row["or_beyond"].split()[0]) if row["or_beyond"] else 0.9 * most
        return {"read_bar": f"{(most + least) / 2:.0f}"}
    if number is None:
        return {"read_mm": "0"}
    side = told.replace(number[0], "").replace("mm", "")
    return {"read_mm": number[0], "side": " ".join(side.split())}


@pytest.fixture(scope="session")
def as_read() -> Callable[..., dict[str, str]]:
    """``as_read(row)``: what a crew writes in a row of a form."""
    return written_down
