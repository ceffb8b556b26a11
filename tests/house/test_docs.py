"""The commands and keys that the manual shows are those of the program."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from fitup.cli import group
from fitup.model import Obstacle
from fitup.structure.frame.report import Disagreement

ROOT = Path(__file__).parents[2]
JSON = (ROOT / "docs" / "json.md").read_text(encoding="utf-8")
PAGES = [
    *sorted((ROOT / "docs").glob("*.md")),
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    ROOT / "CHANGELOG.md",
    ROOT / "examples" / "README.md",
]


def run(*arguments: str) -> str:
    result = CliRunner().invoke(group, arguments)
    assert result.exit_code == 0, result.output + str(result.exception)
    return result.stdout


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as ``fitup start`` writes it."""
    folder = tmp_path_factory.mktemp("docs") / "my-joint"
    run("start", "--example", str(folder))
    return folder


def documented(command: str) -> set[str]:
    text = JSON.split(f"\n## {command}\n")[1].split("\n## ")[0]
    return set(re.findall(r"^\| `([^`]+)` \|", text, re.MULTILINE))


def paths(content: Any, at: str = "") -> Iterator[str]:
    """Every path of a document down to its values."""
    if isinstance(content, dict):
        for key, value in content.items():
            yield from paths(value, f"{at}.{key}" if at else key)
    elif isinstance(content, list):
        if not content:
            yield f"{at}[]"
        for value in content:
            yield from paths(value, f"{at}[]")
    else:
        yield at


def compare(found: set[str], keys: set[str]) -> None:
    # a list that happens to be empty says nothing of its entries
    empty = {p for p in found if p.endswith("[]") and any(k.startswith(p) for k in keys)}
    assert found - empty <= keys
    assert {k for k in keys if not any(k.startswith(p) for p in empty)} <= found


@pytest.mark.parametrize(
    "command", ["check", "joints", "budget", "others", "fewer", "more", "plan"]
)
def test_json_keys(started: Path, command: str):
    content = json.loads(run(command, "--json", str(started)))
    found = set(paths(content))
    if command == "plan":
        assert content["plan"]["obstacles"] == []
        found |= {f"plan.obstacles[].{f.name}" for f in fields(Obstacle)}
        found.discard("plan.obstacles[]")
    compare(found, documented(command))


def test_json_of_openings(started: Path):
    content = json.loads(run("openings", "--json", str(started)))
    assert set(paths(content)) == documented("openings")


def test_json_of_rules():
    assert set(paths(json.loads(run("rules", "--json")))) == documented("rules")


def test_json_of_stations():
    axis = ROOT / "examples" / "skerrin-axis" / "axis.xml"
    content = json.loads(run("stations", str(axis), "--points", str(axis), "--json"))
    assert content["notes"] == []
    compare(set(paths(content)), documented("stations"))


def test_json_of_structure(tmp_path: Path):
    folder = tmp_path / "my-frame"
    run("start", "--example", "--frame", str(folder))
    found = set(paths(json.loads(run("structure", "--json", str(folder)))))
    found |= {f"disagreements[].{f.name}" for f in fields(Disagreement)}
    hung = json.loads(run("structure", "--json", str(ROOT / "examples" / "quillgate-hung")))["hung"]
    found |= set(paths(hung, "hung"))
    compare(found - {"disagreements[]", "hung"}, documented("structure"))


def test_json_of_preanalysis(tmp_path: Path):
    folder = tmp_path / "night"
    run("start", "--example", "--observations", str(folder))
    found: set[str] = set()
    for rows in ("ST1,97,214,31.5\nST2,104,187,31.6\n", "ST1,97,214,31.5\n"):
        (folder / "plan.csv").write_text("id,E_m,N_m,H_m\n" + rows, encoding="utf-8")
        found |= set(
            paths(json.loads(run("preanalysis", "--json", str(folder), str(folder / "plan.csv"))))
        )
    compare(found, documented("preanalysis"))


def test_json_of_survey():
    content = json.loads(run("survey", "--json", str(ROOT / "examples" / "skerrin-observed")))
    found = set(paths(content))
    found |= {"surveys[].findings[]", "surveys[].excluded[].observation"}
    found |= {"surveys[].excluded[].reason"}
    compare(found - {"surveys[].excluded[]"}, documented("survey"))


def test_json_of_windows(started: Path, tmp_path: Path):
    series = tmp_path / "steel.csv"
    series.write_text("time,steel_C\n2031-05-15T04:00,11\n2031-05-15T16:00,19\n", "utf-8")
    stated = ["--temperatures", str(series), "--out", str(tmp_path / "out")]
    content = json.loads(run("windows", "--json", *stated, str(started)))
    compare(set(paths(content)), documented("windows"))
    assert (tmp_path / "out" / "windows-J1-jack.svg").is_file()


def test_json_of_lockoff(started: Path, tmp_path: Path):
    series = tmp_path / "steel.csv"
    series.write_text("time,steel_C\n2031-05-14T04:00,14\n2031-05-15T16:00,19\n", "utf-8")
    stated = ["--temperatures", str(series), "--out", str(tmp_path / "out")]
    result = CliRunner().invoke(group, ["lockoff", "--json", *stated, str(started)])
    compare(set(paths(json.loads(result.stdout))), documented("lockoff"))
    assert (tmp_path / "out" / "lockoff.pdf").is_file()


def test_json_of_recover(started: Path):
    """After the touch with the first jack broken: back, and on with the help that is named."""
    plan = json.loads(run("plan", "--json", str(started)))
    events = plan["certificate"]["procedures"][0]["events"]
    line = next(e["line"] for e in events if e["verb"] == "TOUCH")
    stated = ["--line", str(line), "--broken", events[0]["objects"][0]]
    result = CliRunner().invoke(group, ["recover", "--json", *stated, str(started)])
    compare(set(paths(json.loads(result.stdout))), documented("recover"))


def test_json_of_start(tmp_path: Path):
    content = json.loads(run("start", "--example", "--json", str(tmp_path / "x")))
    assert set(paths(content)) == documented("start")
    listed = json.loads(run("add", "--json", str(tmp_path / "x")))
    added = json.loads(run("add", "--json", str(tmp_path / "x"), "leans"))
    found = set(paths(listed)) | set(paths(added))
    assert found - {"written[]", "tables[]"} | {"written[]"} == documented("add")


def test_the_template_works_at_once(started: Path):
    assert "nothing wrong found" in run("check", str(started))
    assert "Joint J1: back A1, ahead B1, looking ahead" in run("joints", str(started))
    text = run("plan", str(started))
    assert "objective met: every check within 1.00 of its tolerance" in text
    assert "OUTSIDE" not in text


def shown() -> Iterator[tuple[str, str]]:
    for page in PAGES:
        for block in re.findall(r"^```sh\n(.*?)```", page.read_text("utf-8"), re.DOTALL | re.M):
            for line in re.findall(r"(?:^|\s)fitup\s+(\S[^#\n]*)", block):
                yield page.name, line.strip()


def test_every_command_shown_exists():
    lines = list(shown())
    assert lines
    for page, line in lines:
        name, *rest = line.split()
        command = group.get_command(click.Context(group), name)
        assert command is not None, f"{page}: {line}"
        known = {o for p in command.params for o in p.opts} | {"--help", "-h"}
        assert {r for r in rest if r.startswith("-")} <= known, f"{page}: {line}"


def test_links_lead_somewhere():
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", page.read_text("utf-8")):
            if "://" not in target:
                assert (page.parent / target).exists(), f"{page.name}: {target}"


def test_pages_say_nothing_of_machines():
    for page in PAGES:
        assert not re.search(r"/tmp/|/work/|/root/|/home/", page.read_text("utf-8")), page.name


def test_trouble_quotes_messages_of_the_program():
    source = "".join(p.read_text("utf-8") for p in (ROOT / "fitup").rglob("*.py"))
    source = re.sub(r'"\s*\n\s*f?"', "", source)
    text = (ROOT / "docs" / "trouble.md").read_text("utf-8").split("## Bad input")[1]
    cells = re.findall(r"^\| (.+?) \|", text, re.MULTILINE)
    quotes = [q.strip(" ,:") for cell in cells for q in re.split(r"\.\.\.|;", cell)]
    quotes = [q for q in quotes if len(q) > 3 and q not in ("message",)]
    assert len(quotes) > 40
    assert [q for q in quotes if q not in source] == []


def test_trouble_prints_a_message_as_it_comes(started: Path, tmp_path: Path):
    for path in started.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    jacks = tmp_path / "jacks.csv"
    lines = jacks.read_text("utf-8").splitlines()
    assert lines[17].split(",")[4] == "100"
    lines[17] = lines[17].replace(",100,", ",abc,")
    jacks.write_text("\n".join(lines) + "\n", encoding="utf-8")
    result = CliRunner().invoke(group, ["check", str(tmp_path)])
    assert str(result.exception) in (ROOT / "docs" / "trouble.md").read_text("utf-8")


@pytest.mark.parametrize(
    ("page", "job", "sheets"),
    [
        ("docs/model.md", "my-joint", "my-joint/out"),
        ("README.md", "examples/skerrin-closure", "night-15"),
        ("docs/notebook.md", "closure-k1", "night-15"),
    ],
)
def test_notebooks_of_the_pages(started: Path, tmp_path: Path, page: str, job: str, sheets: str):
    text = (ROOT / page).read_text("utf-8")
    code = "\n".join(re.findall(r"^```python\n(.*?)^```", text, re.DOTALL | re.MULTILINE))
    out = tmp_path / "out"
    code = code.replace(f'"{sheets}"', repr(str(out))).replace(f'"{job}"', repr(str(started)))
    code = code.replace(f'"{job}-', f'"{tmp_path}/{job}-')
    scope: dict[str, Any] = {}
    exec(code, scope)
    assert scope["opened"].plan.inside
    assert (out / "report.pdf").is_file()


def test_every_module_says_what_it_is_for():
    printed = subprocess.run(
        [sys.executable, ROOT / ".ci" / "map"], capture_output=True, text=True, check=True
    ).stdout
    stated = dict(re.findall(r"^(\S+\.py) +(\S.*)$", printed, re.MULTILINE))
    real = {p.relative_to(ROOT / "fitup").as_posix() for p in (ROOT / "fitup").rglob("*.py")}
    assert set(stated) == real
