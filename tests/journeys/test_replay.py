"""docs/replay.md, played as it is written: every command typed, every line of output looked for.

A line ``ines$ fitup ...`` is run with her key; the lines under it must stand in what it says, in
that order, ``...`` for any others. A word such as ``PLAN-A`` stands for a check code: the first
time it is read from the output, then it is put into commands. What people do by hand, such as
filling a form, is a comment of the page: ``<!-- fill FORM as FILE: name=cells -->``.
"""

from __future__ import annotations

import csv
import io
import json
import re
import resource
import shlex
import subprocess
from pathlib import Path

import pytest

PAGE = Path(__file__).parents[2] / "docs" / "replay.md"
CODE = r"[A-Z]{4}-[A-Z]{4}-[A-Z]{5}"
NAMED = re.compile(r"\b(?:PLAN|ANSWERS|SAFE|BACK)-[A-Z]\b")
PEOPLE = {
    "ines": ("Ines Calder", ["name people", "approve packs", "release hold points", "lock off"]),
    "bram": ("Bram Teel", ["accept surveys"]),
    "ola": ("Ola Finch", ["report stages"]),
}
#: seconds of processor for the whole replay, twice what it takes
MOST = 60.0


class Player:
    """Three people at one folder, with the codes that were read so far."""

    def __init__(self, fitup, monkeypatch, as_read):
        self.fitup, self.monkeypatch, self.as_read = fitup, monkeypatch, as_read
        self.codes, self.keys = {}, {}

    def types(self, who, line):
        """Run what somebody types; all that it says."""
        self.monkeypatch.setenv("FITUP_KEY", f"{who}.key")
        words = shlex.split(NAMED.sub(lambda m: self.codes[m[0]], line))
        if words[0] != "fitup":
            subprocess.run(words, check=True)
            return ""
        said = self.fitup(*words[1:])
        assert "Traceback" not in said.err
        if words[1] == "key":
            self.keys[words[2]] = re.search(r'key = "(\w+)"', said.out)[1]
        return said.out + said.err

    def reads(self, line, said):
        """Look for a line in what was said, take a code from it, and return what comes after."""
        wanted = " ".join(line.split())
        names = NAMED.findall(wanted)
        parts = [
            f"(?P<n{names.index(w)}>{CODE})" if w in names and w not in self.codes
            else re.escape(self.codes.get(w, w))
            for w in re.split(rf"({NAMED.pattern})", wanted)
        ]  # fmt: skip
        pattern = "".join(parts).replace(r"\.\.\.", ".*")
        found = re.search(pattern, said)
        assert found, f"'{line}' is not in:\n{said}"
        for k, name in enumerate(names):
            if name not in self.codes:
                self.codes[name] = found[f"n{k}"]
        return said[found.end() :]

    def does(self, what):
        """Do what is done by hand."""
        verb, rest = what.split(maxsplit=1)
        if verb == "people":
            lines = [
                f'[{who}]\nname = "{name}"\nmay = {json.dumps(may)}\nkey = "{self.keys[who]}"\n'
                for who, (name, may) in PEOPLE.items()
            ]
            Path(rest).write_text("".join(lines), encoding="utf-8")
        elif verb == "fill":
            paper, _, changes = rest.partition(":")
            form, target = NAMED.sub(lambda m: self.codes[m[0]], paper).split(" as ")
            other = dict(part.strip().split("=") for part in changes.split(";") if part.strip())
            self.fill(Path(form.strip()), Path(target.strip()), other)
        else:
            raise AssertionError(what)

    def fill(self, form, target, other):
        """Fill a form as it should read, but for some rows."""
        rows = list(csv.DictReader(io.StringIO(form.read_text("utf-8"))))
        for row in rows:
            row.update(self.as_read(row, other.get(row["name"], row["should_read"])))
        with target.open("w", encoding="utf-8", newline="") as out:
            writer = csv.DictWriter(out, rows[0])
            writer.writeheader()
            writer.writerows(rows)


def steps():
    """Yield every command of the page with the lines under it, and what is done by hand."""
    found = re.finditer(
        r"^```console\n(?P<block>.*?)^```$|^<!-- (?P<hand>.*?) -->$",
        PAGE.read_text("utf-8"),
        re.DOTALL | re.MULTILINE,
    )
    for one in found:
        if one["hand"]:
            yield "", one["hand"], []
            continue
        for part in re.split(r"^(?=\w+\$ )", one["block"], flags=re.MULTILINE):
            if part.strip():
                head, *lines = part.rstrip().splitlines()
                who, _, command = head.partition("$ ")
                yield who, command, lines


@pytest.fixture
def folder(tmp_path, small_job_writer, monkeypatch):
    monkeypatch.chdir(tmp_path)
    known = ("1400,,8,8", "1400,600,8,8")
    small_job_writer(Path("night"), seats=[known] * 6)
    return Path("night")


def test_three_roles_play_the_whole_job(folder, fitup, monkeypatch, as_read):
    before = resource.getrusage(resource.RUSAGE_SELF).ru_utime
    player, typed = Player(fitup, monkeypatch, as_read), 0
    for who, what, lines in steps():
        if not who:
            player.does(what)
            continue
        said = "\n".join(" ".join(s.split()) for s in player.types(who, what).splitlines())
        typed += 1
        for line in lines:
            if line.strip() != "...":
                said = player.reads(line, said)
    assert typed > 30
    assert resource.getrusage(resource.RUSAGE_SELF).ru_utime - before < MOST
