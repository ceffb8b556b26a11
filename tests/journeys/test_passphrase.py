"""A key with a passphrase, typed at a real terminal and never shown."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

TOLD = "seven quiet herons"


def typed(answers: list[str], *arguments: object) -> tuple[int, str]:
    """Run a command at a terminal, type an answer at each question; exit code and all it shows."""
    child, terminal = pty.fork()
    if not child:
        command = [sys.executable, "-m", "fitup", *(str(a) for a in arguments)]
        os.execv(sys.executable, command)
    shown, left = b"", list(answers)
    while True:
        try:
            part = os.read(terminal, 4096)
        except OSError:
            part = b""
        if not part:
            break
        shown += part
        if part.rstrip().endswith(b":") and left:
            os.write(terminal, left.pop(0).encode() + b"\n")
    _, status = os.waitpid(child, 0)
    os.close(terminal)
    return os.waitstatus_to_exitcode(status), shown.decode()


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("passphrase")
    code, shown = typed(
        [TOLD, TOLD], "key", "ines", "--to", folder / "ines.key", "--passphrase", "--json"
    )
    assert code == 0, shown
    assert TOLD not in shown
    public = json.loads(shown[shown.index("{") :])["key"]
    (folder / "people.toml").write_text(
        f'[ines]\nname = "Ines Calder"\nmay = ["name people"]\nkey = "{public}"\n'
    )
    return folder


def test_entry_is_signed_with_the_passphrase_and_it_is_not_shown(job: Path) -> None:
    code, shown = typed([TOLD], "people", job, "--key", job / "ines.key")
    assert code == 0, shown
    assert TOLD not in shown
    assert "people named" in shown


def test_wrong_passphrase_is_one_line_and_nothing_is_written(job: Path) -> None:
    before = {p.name: p.read_bytes() for p in job.iterdir()}
    code, shown = typed(
        ["seven loud herons"], "stop", job, "--why", "fog", "--key", job / "ines.key"
    )
    assert code == 2
    lines = [line for line in shown.splitlines() if line.startswith("fitup:")]
    assert lines == [
        f"fitup: {job}/ines.key: found another passphrase; allowed: that of this key; try again; "
        "nothing was done"
    ]
    assert "Traceback" not in shown
    assert {p.name: p.read_bytes() for p in job.iterdir()} == before


def test_without_a_terminal_it_is_refused_and_not_read_from_a_pipe(job: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "fitup", "stop", job, "--why", "fog", "--key", job / "ines.key"],
        input=TOLD + "\n",
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        start_new_session=True,
    )
    assert done.returncode == 2
    assert done.stderr == (
        "fitup: passphrase: found no terminal to ask for it on; allowed: a terminal that can hide "
        "what is typed; run it in one\n"
    )


def test_short_passphrase_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bram.key"
    code, shown = typed(["short", "short"], "key", "bram", "--to", path, "--passphrase")
    assert code == 2
    assert "passphrase: found 5 characters; allowed: at least 10; several words are best" in shown
    assert not path.exists()
