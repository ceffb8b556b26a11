"""The command line as a user meets it, called in this process through its own ``main``."""

from __future__ import annotations

import contextlib
import io
import sys
from collections.abc import Callable
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
