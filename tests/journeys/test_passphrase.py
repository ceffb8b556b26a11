"""A key with a passphrase, typed at a real terminal and never shown."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from fitup.errors import InputError
from fitup.record.keys import read_key

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


OTHER = "nine patient lanterns"


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A key with a passphrase."""
    path = tmp_path / "ola.key"
    code, shown = typed([TOLD, TOLD], "key", "ola", "--to", path, "--passphrase")
    assert code == 0, shown
    return path


def public_of(shown: str) -> str:
    return str(json.loads(shown[shown.index("{") :])["key"])


def test_passphrase_is_changed_when_the_old_one_is_known(own: Path) -> None:
    code, shown = typed([TOLD, OTHER, OTHER], "key", "ola", "--to", own, "--change", "--json")
    assert code == 0, shown
    assert shown.index(f"Passphrase of {own}") < shown.index(f"New passphrase of {own}")
    assert TOLD not in shown
    assert OTHER not in shown
    key = read_key(own, lambda _: OTHER)
    assert key.public == public_of(shown)
    with pytest.raises(InputError, match="another passphrase"):
        read_key(own, lambda _: TOLD)
    assert (own.stat().st_mode & 0o777, [*own.parent.iterdir()]) == (0o600, [own])


def test_passphrase_is_taken_off_and_set_again(own: Path) -> None:
    public = read_key(own, lambda _: TOLD).public
    code, shown = typed([TOLD], "key", "ola", "--to", own, "--take-off")
    assert (code, read_key(own).public) == (0, public), shown
    assert "opens without a passphrase now; the key is the same" in shown
    code, shown = typed([], "key", "ola", "--to", own, "--take-off")
    assert code == 2
    assert "found a key without a passphrase; allowed: one that has one; nothing was done" in shown
    code, shown = typed([OTHER, OTHER], "key", "ola", "--to", own, "--change")
    assert (code, read_key(own, lambda _: OTHER).public) == (0, public), shown
    assert "Copies made before still open as before" in shown


@pytest.mark.parametrize(
    ("answers", "found"),
    [
        (["seven loud herons"], "found another passphrase"),
        ([TOLD, "short", "short"], "found 5 characters"),
        ([TOLD, "\x03"], ""),
        (["\x03"], ""),
    ],
)
def test_key_stays_as_it_was_when_a_change_is_refused_or_broken_off(
    own: Path, answers: list[str], found: str
) -> None:
    before = own.read_bytes()
    code, shown = typed(answers, "key", "ola", "--to", own, "--change")
    assert code in (2, 130), shown
    assert found in shown
    assert "Traceback" not in shown
    assert (own.read_bytes(), [*own.parent.iterdir()]) == (before, [own])
