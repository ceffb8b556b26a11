"""A folder of sheets: killed writers leave nothing behind, old sheets are set aside."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from fitup.sheets.write import LIST, set_aside, write_documents


def a_set(text: str) -> dict[str, bytes]:
    names = ["move-J1.pdf", "report.pdf"]
    listed = json.dumps({"files": names}).encode()
    return {**{name: text.encode() for name in names}, LIST: listed}


def content(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


#: kills itself at the n-th call of a function of the file system
KILLED = """
import os, signal, sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from fitup.sheets import write
left = [int(sys.argv[2])]
def counted(call):
    def counting(*args, **more):
        left[0] -= 1
        if left[0] == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return call(*args, **more)
    return counting
for name in ("mkdir", "rename", "unlink", "rmdir", "open", "iterdir"):
    setattr(Path, name, counted(getattr(Path, name)))
os.fsync = counted(os.fsync)
from test_folder import a_set
write.write_documents(a_set("new"), Path(sys.argv[1]))
"""


@pytest.mark.parametrize("first", [True, False])
def test_killed_writer_leaves_a_whole_set_and_no_litter_after_the_next(tmp_path, first):
    code = textwrap.dedent(KILLED).format(tests=str(Path(__file__).parent))
    for at in range(1, 40):
        job = tmp_path / f"job-{at}"
        job.mkdir()
        folder = job / "out"
        if not first:
            write_documents(a_set("old"), folder)
            (folder / "notes.txt").write_text("of the engineer")
        done = subprocess.run([sys.executable, "-c", code, str(folder), str(at)], check=False)
        if done.returncode == 0:
            assert at > 8
            break
        assert done.returncode == -signal.SIGKILL
        if folder.exists():
            own = {n: c for n, c in content(folder).items() if n != "notes.txt"}
            assert own in (a_set("old"), a_set("new"))
        write_documents(a_set("after"), folder)
        assert {n: c for n, c in content(folder).items() if n != "notes.txt"} == a_set("after")
        if not first:
            assert (folder / "notes.txt").read_text() == "of the engineer"
        assert sorted(p.name for p in job.iterdir()) == ["out"]


def test_two_writers_at_once_leave_one_whole_set(tmp_path):
    code = textwrap.dedent(KILLED).format(tests=str(Path(__file__).parent))
    running = [
        subprocess.Popen([sys.executable, "-c", code, str(tmp_path / "out"), "999"])
        for _ in range(4)
    ]
    assert [child.wait(timeout=120) for child in running] == [0] * 4
    assert content(tmp_path / "out") == a_set("new")
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_sheets_are_set_aside_and_what_others_put_there_stays(tmp_path):
    folder = tmp_path / "out"
    for n in (1, 2):
        write_documents(a_set(f"set {n}"), folder)
        (folder / "notes.txt").write_text("of the engineer")
        aside = set_aside(folder, "the files of the job were changed")
        assert aside == tmp_path / f"out-old-{n}"
        kept = content(aside)
        assert kept.pop("DO-NOT-USE.txt") == (
            b"Do not work by these sheets: the files of the job were changed.\n"
        )
        assert kept == a_set(f"set {n}")
        assert content(folder) == {"notes.txt": b"of the engineer"}
    assert set_aside(folder, "again") is None
    assert set_aside(tmp_path / "nothing", "again") is None


def test_list_that_names_files_elsewhere_moves_none_of_them(tmp_path):
    folder = tmp_path / "out"
    write_documents(a_set("x"), folder)
    (tmp_path / "survey.csv").write_text("precious")
    (folder / LIST).write_text(json.dumps({"files": ["../survey.csv", "/etc/passwd", ".."]}))
    aside = set_aside(folder, "why")
    assert aside is not None
    assert sorted(p.name for p in aside.iterdir()) == ["DO-NOT-USE.txt", LIST]
    assert (tmp_path / "survey.csv").read_text() == "precious"


def test_link_in_the_place_of_the_new_set_loses_nobody_a_file(tmp_path):
    """Whoever may write in the job folder must not empty the home of whoever prints there."""
    home, job = tmp_path / "home", tmp_path / "job"
    (home / "checkpoints").mkdir(parents=True)
    (home / "witness").write_text("what was seen")
    job.mkdir()
    (job / ".out.part").symlink_to(home)
    write_documents(a_set("new"), job / "out")
    assert sorted(p.name for p in home.iterdir()) == ["checkpoints", "witness"]
    assert content(job / "out") == a_set("new")
    assert [p.name for p in job.iterdir()] == ["out"]
