"""An engineer asks what if: a seat that must stay, plates that are gone, fewer seats."""

from __future__ import annotations

import json

import pytest

from fitup.errors import CertificateRefused


@pytest.fixture
def job(tmp_path, small_job_writer):
    return small_job_writer(tmp_path / "job")


def seats_of(said):
    """Seat -> pack as planned, pack with the change."""
    lines = said.out.split("Packs that would differ, bottom to top\n")[1].split("\n\n")[0]
    rows = [line.split() for line in lines.splitlines()[2:] if "+" in line or "P" in line]
    return {row[0]: (row[1], row[2]) for row in rows if len(row) == 3}


def test_a_seat_that_must_stay(fitup, job):
    before = {p.name: p.read_bytes() for p in job.iterdir()}
    plain = fitup("whatif", job)
    assert plain.code == 0
    assert plain.out.startswith("Checks that would differ\nnone\n")
    plan = json.loads(fitup("plan", job, "--json").out)["plan"]
    moved = next(s["seat"] for s in plan["seats"] if s["disturbed"])
    held = fitup("whatif", job, "--hold", moved)
    assert held.code in (0, 3)
    assert moved in seats_of(held)
    assert ("TOLERANCE CANNOT BE MET" in held.out) == (held.code == 3)
    assert {p.name: p.read_bytes() for p in job.iterdir()} == before


def test_fewer_seats(fitup, job):
    said = fitup("fewer", job)
    assert said.code == 0
    header, _, *rows = said.out.splitlines()
    assert header.split()[0] == "seats"
    counts = [int(row.split()[0]) for row in rows]
    assert counts == sorted(counts, reverse=True)
    for count, row in zip(counts, rows, strict=True):
        assert row.count("S") - row.count("OUTSIDE") == count


def test_names_that_are_not_there(fitup, job):
    said = fitup("whatif", job, "--hold", "nowhere", "--broken", "J99")
    assert said.code == 2
    assert "--hold: found 'nowhere'; allowed: a seat of the job: " in said.err
    assert "--broken: found 'J99'; allowed: a jack of the job: " in said.err
    wrong = fitup("whatif", job, "--gone", "P10")
    assert wrong.code == 2
    assert wrong.err.endswith(
        "command line, --gone: found 'P10'; allowed: MARK=COUNT, e.g. P10=2; write the mark, an "
        "equals sign and how many are gone\n"
    )


class Refused:
    """A changed job of which the certificate lets no plan through."""

    @property
    def plan(self):
        raise CertificateRefused(["stage 1, jack JB1: no stop band is left"])


def test_a_change_that_leaves_no_plan_is_an_answer(fitup, job, monkeypatch):
    """The engineer asked what if: that nothing may be carried out then is what comes out."""
    monkeypatch.setattr("fitup.openjob.OpenJob.changed", lambda opened, other: Refused())
    said = fitup("whatif", job)
    assert said.code == 3
    assert said.lines == []
    first, _, head, why = said.out.splitlines()
    assert first.startswith("as the job stands: worst ratio ")
    assert head == "With the change THERE IS NO PLAN that may be carried out:"
    assert why == "  stage 1, jack JB1: no stop band is left"
