"""What a night brought is told apart by its columns; all problems at once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.errors import InputError
from fitup.loop.incoming import incoming

SHOTS = "# closed to plant\nsetup;target;hz_gon\nA;B;1\n"
LEVELS = "from,to,difference_m,u_mm\nA,B,0.1,1\n"
LIST = "id,E_m,N_m,H_m\nA,1,2,3\n"
Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Write:
    monkeypatch.chdir(tmp_path)

    def call(name: str, text: str) -> Path:
        path = Path(name)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return path

    return call


def test_files_by_their_columns(write: Write):
    found = incoming([write("a.csv", SHOTS), write("b.txt", LIST)], write("l.csv", LEVELS))
    assert found.surveys == ((Path("a.csv"), True), (Path("b.txt"), False))
    assert found.levelling == Path("l.csv")
    assert found.tables == {}


def test_a_folder_file_by_file(write: Write):
    for name, text in (("shots.csv", SHOTS), ("levels.csv", LEVELS), ("control.csv", "id\n")):
        write(f"night/{name}", text)
    write("night/.hidden", "")
    found = incoming([Path("night")])
    assert found.surveys == ((Path("night/shots.csv"), True),)
    assert found.levelling == Path("night/levels.csv")
    assert found.tables == {"control.csv": Path("night/control.csv")}


@pytest.mark.parametrize(
    ("files", "names", "message"),
    [
        (
            {"n/a.csv": SHOTS, "n/plan.pdf": "x"},
            ["n"],
            "n/plan.pdf: found neither .csv nor .txt; allowed: files of one night, as text; export "
            "it as CSV, or move it out of the folder",
        ),
        (
            {"n/a.csv": SHOTS, "n/l.csv": LEVELS, "n/m.csv": LEVELS},
            ["n"],
            "--survey: found n/l.csv, n/m.csv; allowed: one levelling file; put them into one",
        ),
        (
            {"l.csv": LEVELS, "b.csv": LIST},
            ["l.csv", "b.csv"],
            "l.csv: found levelling beside no observation files; allowed: levelling beside one; "
            "name the observations it was measured with",
        ),
        (
            {"n/control.csv": "id\n", "m/control.csv": "id\n"},
            ["n", "m"],
            "m/control.csv: found control.csv again (first n/control.csv); allowed: each table "
            "once; leave one out",
        ),
        (
            {},
            ["none.csv"],
            "none.csv: found no such file; allowed: a text file; create it or correct its name",
        ),
    ],
)
def test_message(write: Write, files: dict[str, str], names: list[str], message: str):
    for name, text in files.items():
        write(name, text)
    with pytest.raises(InputError) as refused:
        incoming([Path(n) for n in names])
    assert str(refused.value) == message


def test_a_table_of_a_night_in_capitals(write: Write):
    write("n/Readings.CSV", "id\n")
    assert incoming([Path("n")]).tables == {"readings.csv": Path("n/Readings.CSV")}


def test_an_empty_folder(write: Write, tmp_path: Path):
    (tmp_path / "n").mkdir()
    with pytest.raises(InputError) as refused:
        incoming([Path("n")])
    assert str(refused.value) == (
        "n: found an empty folder; allowed: files of one night; name another"
    )
