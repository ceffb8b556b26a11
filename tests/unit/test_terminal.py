"""Tables on a terminal: they fit its width, and a file or pipe still has a row a line."""

from __future__ import annotations

import fcntl
import os
import pty
import struct
import subprocess
import sys
import termios

import pytest

from fitup.cli.text import text_table

HEADER = ["where", "as surveyed", "tolerance"]
ROWS = [
    ["K1/W7-SL LEFT soffit of the box", "wide by 18.5 mm (aim: wide by 1.5 mm)", "3.0 mm"],
    ["K1/W7-SR RIGHT soffit of the box", "ahead side high by 22.8 mm", "2.0 mm"],
]


@pytest.mark.parametrize("columns", [46, 60, 80])
def test_a_table_fits_and_says_the_same(columns: int) -> None:
    lines = text_table(HEADER, ROWS, [2], columns).splitlines()
    assert max(map(len, lines)) <= columns
    for row in ROWS:
        for cell in row:
            assert all(any(word in line for line in lines) for word in cell.split())


@pytest.mark.parametrize("columns", range(20, 80))
def test_names_and_numbers_with_units_stay_whole(columns: int) -> None:
    """However narrow it is: a number is never parted from its unit, nor a name at its hyphen."""
    lines = text_table(HEADER, ROWS, [2], columns).splitlines()
    for whole in ("18.5 mm", "1.5 mm", "22.8 mm", "K1/W7-SL", "K1/W7-SR"):
        assert any(whole in line for line in lines), whole


def test_a_pipe_has_a_row_a_line() -> None:
    assert len(text_table(HEADER, ROWS, [2]).splitlines()) == 2 + len(ROWS)


@pytest.mark.parametrize("columns", [60, 400])
def test_the_width_is_that_of_the_terminal(columns: int) -> None:
    """The program itself on a real terminal of so many columns."""
    mine, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    command = [sys.executable, "-m", "fitup", "rules"]
    piped = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    with subprocess.Popen(command, stdout=theirs) as process:
        os.close(theirs)
        shown = _all_of(mine).decode().splitlines()
        assert process.wait() == 0
    # the table, not the sentences below it
    table = [line for line in shown[: shown.index("")] if line]
    assert max(map(len, table)) <= columns
    assert (shown == piped.splitlines()) == (columns == 400)


def _all_of(terminal: int) -> bytes:
    found = b""
    while True:
        try:
            part = os.read(terminal, 65536)
        except OSError:  # the other end is closed
            part = b""
        if not part:
            os.close(terminal)
            return found
        found += part
