"""Work stops in the middle of a stage: what the command says, and what it refuses."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from pathlib import Path

import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

from fitup.record import Record, append
from fitup.record.canonical import canonical
from fitup.record.check_code import check_code
from fitup.record.recoveries import recovery_in

EXAMPLE = Path(__file__).parents[2] / "examples" / "skerrin-closure"


def test_a_broken_jack_in_the_middle_of_a_lift(fitup):
    said = fitup("recover", EXAMPLE, "--line", 15, "--broken", "J-W7-S2")
    assert said.code == 3
    assert "Stage 1, crew 1, stopped after line 15" in said.out
    assert "MAKE SAFE: every load onto steel where it stands" in said.out
    assert "HELP: a jack of" in said.out
    assert "beside J-W7-S2 at seat W7-S2" in said.out
    assert "NOT APPROVED" in said.out
    told = json.loads(fitup("recover", EXAMPLE, "--line", 15, "--goal", "safe", "--json").out)
    (goal,) = told["goals"]
    assert (goal["goal"], goal["certified"], goal["lines"]) == ("safe", True, 2)


@pytest.mark.parametrize(
    ("given", "line"),
    [
        (
            ("--line", 4711),
            "fitup: command line, --line: found line 4711; allowed: a line of the move sheets, 1 "
            "to N; read the number of the last line that was done",
        ),
        (
            ("--line", 9, "--ram", "J-W7-S1=high"),
            "fitup: command line, --ram: found 'J-W7-S1=high'; allowed: JACK=READING in mm, e.g. "
            "J-A1=7.5; read the ram from its mark START",
        ),
        (
            ("--line", 9, "--on", "W7-S1=air"),
            "fitup: command line, --on: found 'W7-S1=air'; allowed: SEAT=SUPPORT, a support being "
            "one of pack, nut, oil, temporary, friction; say what the seat stands on",
        ),
        (
            ("--line", 9, "--plan", "FYEP-NART-LLWCX"),
            "fitup: --plan: found no record in the job folder; allowed: a job with a record; "
            "leave --plan out",
        ),
    ],
)
def test_what_cannot_be_read_is_one_line(fitup, given, line):
    said = fitup("recover", EXAMPLE, *given)
    assert (said.code, said.out) == (2, "")
    # how many lines the plan has is no business of this test
    assert [re.sub(r"1 to \d+;", "1 to N;", found) for found in said.lines] == [line]


PEOPLE = {
    "ines": ("Ines Calder", ["name people", "approve packs", "release hold points"]),
    "bram": ("Bram Teel", ["accept surveys"]),
    "ola": ("Ola Finch", ["report stages"]),
}


class Site:
    """The small job with its record, an approved plan, and the key of each person."""

    def __init__(self, fitup, folder, keys, as_read):
        self.fitup, self.folder, self.keys, self.as_read = fitup, folder, keys, as_read

    def does(self, who, command, *more, code=0):
        said = self.fitup(command, self.folder, *more, "--key", self.keys / f"{who}.key")
        assert said.code == code, said.out + said.err
        return said

    def looks(self, command, *more, code=0):
        said = self.fitup(command, self.folder, *more)
        assert said.code == code, said.out + said.err
        return said

    def approved(self):
        plan = json.loads(self.looks("sheets", "--json").out)["check_code"]
        self.does("ines", "approve", "--plan", plan)
        return plan

    def recovery(self, *stated, code=0):
        """Print a recovery and return its check code."""
        out = self.keys / "night"
        said = self.looks("recover", *stated, "--to", out, code=code)
        paper, form, book, phone = [
            line.split()[1] for line in said.out.splitlines() if line.startswith("Wrote")
        ]
        assert (Path(book).stem, Path(phone).stem) == (
            Path(paper).stem,
            f"{Path(paper).stem}-field",
        )
        assert Path(form).stem == f"{Path(paper).stem}-as-done"
        return Path(paper).stem.removeprefix("recovery-")

    def form(self, code, **other):
        """Fill the form of a recovery as it should read, except for what is given."""
        path = self.keys / "night" / f"recovery-{code}-as-done.csv"
        rows = list(csv.DictReader(io.StringIO(path.read_text("utf-8"))))
        for row in rows:
            row.update(other.get(row["name"].replace(" ", "_"), self.as_read(row)))
        return written(self.keys / f"{code}.csv", rows)

    def page(self, code):
        pages = PdfReader(self.keys / "night" / f"recovery-{code}.pdf").pages
        return " ".join(" ".join(page.extract_text().split()) for page in pages)


@pytest.fixture
def site(tmp_path, small_job_writer, fitup, as_read):
    folder = small_job_writer(tmp_path / "job")
    # loads are known here: the measured lift-off has a journey of its own
    text = (folder / "seats.csv").read_text("utf-8").replace("1400,,8,8", "1400,600,8,8")
    (folder / "seats.csv").write_text(text, encoding="utf-8")
    lines = []
    for who, (name, may) in PEOPLE.items():
        public = json.loads(fitup("key", who, "--to", tmp_path / f"{who}.key", "--json").out)["key"]
        lines.append(f'[{who}]\nname = "{name}"\nmay = {json.dumps(may)}\nkey = "{public}"\n')
    (folder / "people.toml").write_text("".join(lines), encoding="utf-8")
    site = Site(fitup, folder, tmp_path, as_read)
    site.does("ines", "people")
    site.does("bram", "accept")
    return site


def test_stop_recovery_and_going_on(site):
    """A jack breaks in the middle of a lift: safe, replaced, back, and the stage anew."""
    plan = site.approved()
    events = json.loads(site.looks("plan", "--json").out)["certificate"]["procedures"][0]["events"]
    line = [e["line"] for e in events if e["verb"] == "RAISE"][-1]
    jacks = events[0]["objects"]
    broken = ("--line", line, "--broken", jacks[0])
    site.does("ola", "stop", "--why", f"{jacks[0]} leaks")
    assert "NOT APPROVED" in site.looks("recover", *broken, "--goal", "safe").out

    # first onto steel; nobody works by a sheet that is not approved
    safe = site.recovery(*broken, "--goal", "safe")
    assert "NOT APPROVED" in site.page(safe)
    assert "MAKE SAFE" in site.page(safe)
    assert site.does("ola", "approve", "--recovery", safe, code=2).lines == [
        "fitup: Ola Finch may not approve packs; Ines Calder may"
    ]
    site.does("ines", "approve", "--recovery", safe)
    again = site.does("ines", "approve", "--recovery", safe, code=2)
    assert again.lines == [f"fitup: recovery {safe} is approved already"]
    site.looks("recover", "--recovery", safe, "--to", site.keys / "night")
    assert "crew 1 APPROVED Small invented joint" in site.page(safe)
    assert "by Ines Calder" in site.page(safe)
    assert f"recovery {safe} of stage 1, crew 1: to be carried out" in site.looks("log").out
    said = site.does("ola", "done", "--recovery", safe, "--from", site.form(safe))
    assert f"Recovery {safe}: GO ON" in said.out
    assert "crew 1 rests on steel in the middle of stage 1" in said.out
    assert "stage 1 is next" not in said.out
    # what was carried out is not carried out once more
    assert "APPROVAL VOID" in site.does("ola", "done", "--recovery", safe, code=3).out
    twice = len(json.loads(site.looks("log", "--json").out)["entries"])
    site.does("ines", "release", "--stop", twice, "--why", "reported twice, carried out once")

    # the other jack stands there: back to where the stage began
    rest = (*broken, "--replaced", jacks[0], "--at-rest", "--goal", "back")
    back = site.recovery(*rest)
    site.does("ines", "approve", "--recovery", back)
    site.does("ola", "done", "--recovery", back, "--from", site.form(back))
    looked = site.looks("log").out
    assert "stage 1 is next; crew 1 has not begun stage 1" in looked

    # the STOP stands until it is lifted; then the stage begins anew by the same code
    assert json.loads(site.looks("sheets", "--json").out)["status"] == "STOPPED - do not go on"
    entry = next(
        e["number"]
        for e in json.loads(site.looks("log", "--json").out)["entries"]
        if e["kind"] == "stop"
    )
    site.does("ines", "release", "--stop", entry, "--why", "jack replaced, stage not begun")
    told = json.loads(site.looks("sheets", "--json").out)
    assert (told["check_code"], told["status"]) == (plan, "APPROVED")
    form = filled(site)
    assert "Stage 1: GO ON" in site.does("ola", "done", "--stage", "1", "--from", form).out
    site.does("ines", "release", "--plan", plan, "--stage", "1")
    late = site.does("ines", "approve", "--recovery", back, code=2)
    assert late.lines == ["fitup: stage 1 is reported as done: there is nothing to recover"]


def filled(site):
    """Fill the form of the first stage as it should read."""
    rows = list(csv.DictReader(io.StringIO((site.folder / "out" / "as-done.csv").read_text())))
    for row in rows:
        row.update(site.as_read(row))
    return written(site.keys / "done.csv", rows)


def written(path, rows):
    with path.open("w", encoding="utf-8", newline="") as target:
        writer = csv.DictWriter(target, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    return path


def test_a_recovery_that_somebody_planted_is_made_again_and_refused(site):
    """The entry is unsigned: its words count for nothing, what comes of them does."""
    plan = site.approved()
    code = site.recovery("--line", 9, "--goal", "safe")
    with Record(site.folder) as record:
        made = record.whole().of("recovery made")[-1]
    # what was carried out without an approval is written down, and says STOP
    early = site.does("ola", "done", "--recovery", code, code=3)
    assert f"Recovery {code}: STOP\n  NOT APPROVED - for review" in early.out
    planted = {**made.says, "recovery": "1" * 64, "code": check_code("1" * 64), "goal": "end"}
    append(site.folder, made.kind, made.when, about=made.about, says=planted)
    said = site.does("ines", "approve", "--recovery", check_code("1" * 64), code=2)
    assert "made again it is" in said.lines[0]
    broken = {**planted, "stated": {"line": 9, "broken": 7}}
    append(site.folder, made.kind, made.when, about=made.about, says=broken)
    said = site.does("ines", "approve", "--recovery", check_code("1" * 64), code=2)
    assert "holds no recovery that can be read" in said.lines[0]
    # a change of the files voids the plan and with it the way out
    site.does("ines", "approve", "--recovery", code)
    plates = site.folder / "plates.csv"
    plates.write_text(plates.read_text("utf-8").replace("P5,5,5,3,", "P5,5,5,2,"), "utf-8")
    site.looks("recover", "--recovery", code, "--to", site.keys / "night")
    assert "APPROVAL VOID" in site.page(code)
    assert plan in site.page(code)


def test_answers_before_the_night(site):
    """On one page a stage, with the plan that is approved; the table beside it."""
    plan = site.approved()
    out = site.keys / "night"
    said = site.looks("contingencies", "--to", out, "--workers", 1)
    assert f"plan {plan}, contingencies" in said.out
    assert "NOT APPROVED" in said.out
    assert f"plan {plan} was approved without any: approve it with these" in said.out
    assert "0 without a way onto steel" in said.out
    pages = PdfReader(out / "contingencies.pdf").pages
    assert "IF SOMETHING FAILS" in pages[0].extract_text()
    rows = list(csv.DictReader(io.StringIO((out / "contingencies.csv").read_text("utf-8"))))
    assert {r["fails"] for r in rows} >= {"jack", "plate", "no lift-off", "reading"}
    assert {r["safe"] for r in rows} == {"way"}


def text_of(path):
    return " ".join(" ".join(p.extract_text().split()) for p in PdfReader(path).pages)


def test_contingencies_are_approved_with_the_plan(site):
    """By a code of their own, made again first; every sheet names those that were approved."""
    plan = json.loads(site.looks("sheets", "--json").out)["check_code"]
    out = site.keys / "night"
    said = site.looks("contingencies", "--plan", plan, "--to", out, "--workers", 1)
    code = re.search(r"contingencies (\S+), NOT APPROVED", said.out)[1]
    assert f"CHECK CODE {code}" in text_of(out / "contingencies.pdf")
    assert f"Made from plan {plan}" in text_of(out / "contingencies.pdf")
    other = site.does("ines", "approve", "--plan", plan, "--contingencies", plan, code=2)
    assert other.lines == [
        f"fitup: no contingencies {plan} of this plan in the record; make them: fitup "
        "contingencies JOB --plan CODE --to FOLDER"
    ]
    site.does("ines", "approve", "--plan", plan, "--contingencies", code)
    again = site.does("ines", "approve", "--plan", plan, "--contingencies", code, code=2)
    assert "is approved already" in again.lines[0]
    assert f"with contingencies {code}" in site.looks("log").out
    site.looks("sheets")
    assert f"with contingencies {code}" in text_of(site.folder / "out" / "move-J1.pdf")
    # printed once more as they were approved, without the long work
    said = site.looks("contingencies", "--to", out)
    assert "line by line" not in said.err
    assert f"contingencies {code}, APPROVED" in said.out
    page = text_of(out / "contingencies.pdf")
    assert f"CHECK CODE {code}" in page
    assert "NOT APPROVED" not in page
    # a change of the files voids them with the plan
    plates = site.folder / "plates.csv"
    plates.write_text(plates.read_text("utf-8").replace("P5,5,5,3,", "P5,5,5,2,"), "utf-8")
    assert "APPROVAL VOID" in site.looks("contingencies", "--to", out).out


def test_contingencies_that_somebody_planted_are_not_approved(site):
    plan = json.loads(site.looks("sheets", "--json").out)["check_code"]
    with Record(site.folder) as record:
        made = record.whole().of("plan made")[-1]
    says = {"contingencies": "2" * 64, "code": check_code("2" * 64)}
    append(site.folder, "contingencies made", made.when, about=made.about, says=says)
    said = site.does("ines", "approve", "--plan", plan, "--contingencies", says["code"], code=2)
    assert re.fullmatch(
        rf"fitup: contingencies {says['code']} come out as \S+ when made again", said.lines[0]
    )


def test_contingencies_may_be_approved_after_the_plan(site):
    plan = site.approved()
    said = site.looks("contingencies", "--to", site.keys / "night", "--workers", 1)
    code = re.search(r"contingencies (\S+), NOT APPROVED", said.out)[1]
    site.does("ines", "approve", "--plan", plan, "--contingencies", code)
    told = json.loads(site.looks("sheets", "--json").out)
    assert (told["check_code"], told["status"]) == (plan, "APPROVED")


VOID = "APPROVAL VOID"


def made_of(site, code):
    with Record(site.folder) as record:
        made = record.whole().of("recovery made")
    return next(e for e in made if check_code(str(e.says["recovery"])) == code)


def plant(site, made, **more):
    """Write the entry once more as whoever may write the file can, with other words."""
    append(site.folder, made.kind, made.when, about=made.about, says={**made.says, **more})


def again(site, code):
    site.looks("recover", "--recovery", code, "--to", site.keys / "night")
    return site.page(code)


@pytest.fixture
def two(site):
    """Two ways out that are approved, the second in the place of the first."""
    site.approved()
    codes = [site.recovery("--line", line, "--goal", "safe") for line in (9, 10)]
    for code in codes:
        site.does("ines", "approve", "--recovery", code)
    return codes


def test_a_recovery_is_not_printed_under_the_code_of_another(site, two):
    first, second = two
    other = made_of(site, first).says["stated"]
    plant(site, made_of(site, second), stated=other)
    said = site.looks("recover", "--recovery", second, "--to", site.keys / "night", code=2)
    assert "made again it is" in said.lines[0]


def test_making_a_dead_recovery_anew_does_not_revive_it(site, two):
    first, second = two
    assert VOID in again(site, first)
    assert VOID not in again(site, second)
    # by anybody, or by a tired crew that asks the same again
    assert site.recovery("--line", 9, "--goal", "safe") == first
    assert VOID in again(site, first)
    assert VOID not in again(site, second)
    assert VOID in site.does("ola", "done", "--recovery", first, code=3).out


def test_stage_and_crew_of_a_planted_entry_are_not_signed(site):
    site.approved()
    code = site.recovery("--line", 9, "--goal", "safe")
    plant(site, made_of(site, code), stage=7, crew=5)
    site.does("ines", "approve", "--recovery", code)
    site.does("ola", "done", "--recovery", code, "--from", site.form(code))
    with Record(site.folder) as record:
        signed = [e for e in record.whole() if e.kind in ("recovery approved", "recovery done")]
    assert [(e.says["stage"], e.says["crew"]) for e in signed] == [(1, 1), (1, 1)]
    assert "crew 1 rests on steel in the middle of stage 1" in site.looks("log").out


def test_an_entry_that_says_nothing_spoils_nothing(site):
    plan = site.approved()
    code = site.recovery("--line", 9, "--goal", "safe")
    append(site.folder, "recovery made", "2031-04-02T05:00:00Z", about="f" * 64)
    site.does("ines", "approve", "--recovery", code)
    assert VOID not in again(site, code)
    assert f"plan {plan} approved" in site.looks("log").out


def test_a_recovery_is_over_when_its_stage_is_reported(site):
    plan = site.approved()
    code = site.recovery("--line", 9, "--goal", "safe")
    site.does("ines", "approve", "--recovery", code)
    site.does("ola", "done", "--stage", "1", "--from", filled(site))
    assert VOID in again(site, code)
    site.does("ines", "release", "--plan", plan, "--stage", "1")
    assert VOID in again(site, code)
    assert VOID in site.does("ola", "done", "--recovery", code, code=3).out


def test_what_was_done_without_an_approval_stands_as_a_stop(site):
    site.approved()
    code = site.recovery("--line", 9, "--goal", "safe")
    site.does("ola", "done", "--recovery", code, code=3)
    said = site.looks("log").out
    assert f"recovery {code} was carried out and should not have been: NOT APPROVED" in said
    assert "STOPPED" in site.looks("sheets").out


def test_a_stop_read_at_the_stage_stops_the_recovery_too(site):
    plan = site.approved()
    code = site.recovery("--line", 9, "--goal", "safe")
    site.does("ines", "approve", "--recovery", code)
    jack = "ram J-B1 = 90 mm above START"
    site.does("ola", "done", "--stage", "1", "--plan", plan, "--read", jack, code=3)
    assert "STOPPED - do not go on" in again(site, code)


@pytest.fixture
def late(site):
    """A recovery of a raised deck that is approved: nuts home, oil off."""
    site.approved()
    events = json.loads(site.looks("plan", "--json").out)["certificate"]["procedures"][0]["events"]
    line = [e["line"] for e in events if e["verb"] == "RAISE"][-1]
    code = site.recovery("--line", line, "--goal", "safe")
    site.does("ines", "approve", "--recovery", code)
    return code


def stops(site):
    """The entries of STOPs that stand."""
    words = json.loads(site.looks("log", "--json").out)["state"]
    return [int(n) for n in re.findall(r"STOP was \w+ \(entry (\d+)\)", words)]


def test_readings_of_a_recovery_are_judged_by_its_own_bands(site, late):
    """A dial outside its band and a seat on something else stop; they stand until lifted."""
    form = site.form(late, **{"dial_B-S1": {"read_mm": "19", "side": "up"}})
    said = site.does("ola", "done", "--recovery", late, "--from", form, code=3)
    assert f"Recovery {late}: STOP" in said.out
    assert re.search(r"dial B-S1: 19\.0 mm up, outside .* up to .* up", said.out)
    (entry,) = stops(site)
    assert "STOPPED" in site.looks("sheets").out
    # nicer readings of the same erase nothing
    again = site.does("ola", "done", "--recovery", late, "--from", site.form(late), code=3)
    assert f"Recovery {late}: STOP" in again.out
    site.does("ines", "release", "--stop", entry, "--why", "dial was knocked, levelled anew")
    assert entry not in stops(site)


def test_a_recovery_is_reported_by_its_workbook(site, late):
    """The form in the workbook, filled in by hand, is judged as the CSV is."""
    book = load_workbook(site.keys / "night" / f"recovery-{late}.xlsx")
    assert book.sheetnames == ["about", "found", "lines", "as-done"]
    head, *rows = book["as-done"].iter_rows()
    names = [cell.value for cell in head]
    for cells in rows:
        row = {n: str(c.value or "") for n, c in zip(names, cells, strict=True)}
        for name, value in site.as_read(row).items():
            cells[names.index(name)].value = value
    filled_in = site.keys / "filled.xlsx"
    book.save(filled_in)
    said = site.does("ola", "done", "--recovery", late, "--from", filled_in)
    assert f"Recovery {late}: GO ON" in said.out


def test_what_a_seat_stands_on_is_read_and_judged(site, late):
    said = site.does("ola", "done", "--recovery", late, "--read", "stands B-S2 = its pack", code=3)
    assert "stands B-S2: its pack, not lock nut" in said.out
    odd = site.does("ola", "done", "--recovery", late, "--read", "stands B-S2 = air", code=2)
    assert odd.lines == [
        "fitup: --read 'stands B-S2 = air': found 'air'; allowed: its pack, lock nut, temporary "
        "plates, OIL, friction; write what the seat stands on"
    ]


def test_a_recovery_is_reported_in_halves(site, late):
    """What is not read holds; it is asked for, and the rest may be reported later."""
    half = site.does("ola", "done", "--recovery", late, "--read", "dial B-S1 = 5 mm up", code=3)
    assert f"Recovery {late}: HOLD" in half.out
    assert "not read: dial B-S2, dial B-S3" in half.out
    assert "not read: dial B-S2" in json.loads(site.looks("log", "--json").out)["state"]
    # a stage is not reported over a recovery that is half way
    early = site.does("ola", "done", "--stage", "1", "--from", filled(site), code=3)
    assert f"recovery {late} of stage 1, crew 1: not read" in early.out


def test_the_rest_of_a_recovery_is_reported_later(site, late):
    site.does("ola", "done", "--recovery", late, "--read", "dial B-S1 = 5 mm up", code=3)
    rest = site.form(late, **{"dial_B-S1": {}})
    said = site.does("ola", "done", "--recovery", late, "--from", rest)
    assert f"Recovery {late}: GO ON" in said.out
    assert "crew 1 rests on steel in the middle of stage 1" in said.out
    # resting in the middle is no end of the stage
    early = site.does("ola", "done", "--stage", "1", "--from", filled(site), code=3)
    assert "crew 1 rests on steel in the middle of stage 1" in early.out


def test_a_form_of_something_else_is_refused(site, late):
    said = site.does("ola", "done", "--recovery", late, "--from", filled(site), code=2)
    assert re.fullmatch(
        r"fitup: --recovery: found \S+, but the form is of \S+; allowed: one recovery; which sheet "
        "was worked by\\?",
        said.lines[0],
    )


def test_a_jack_breaks_in_the_middle_of_a_recovery(site):
    """The state is that of its line; the next recovery starts there and ends the one before."""
    site.approved()
    events = json.loads(site.looks("plan", "--json").out)["certificate"]["procedures"][0]["events"]
    top = [e["line"] for e in events if e["verb"] == "RAISE"][-1]
    back = site.recovery("--line", top, "--goal", "back")
    jack, first = events[0]["objects"][0], events[-1]["line"] + 1
    inside = ("--recovery", back, "--line", first + 1)
    # nobody has signed what its lines say
    early = site.looks("recover", *inside, "--broken", jack, code=2)
    assert early.lines == [
        f"fitup: recovery {back} was not approved for this plan: say where all stands from a line "
        "of the move sheets, with --on and --ram"
    ]
    site.does("ines", "approve", "--recovery", back)
    said = site.looks("recover", *inside, "--broken", jack, code=3)
    assert f"stopped after line {first + 1} of recovery {back}" in said.out
    assert "HELP: a jack of" in said.out
    safe = site.recovery(*inside, "--broken", jack, "--goal", "safe")
    assert f"every line after {first + 1} of recovery {back}" in site.page(safe)
    site.does("ines", "approve", "--recovery", safe)
    assert VOID in again(site, back)
    assert VOID not in again(site, safe)
    site.does("ola", "done", "--recovery", safe, "--from", site.form(safe))
    # made again it comes out the same, from the record alone
    then = ("--recovery", safe, "--line", lines_of(site, safe)[-1], "--replaced", jack)
    home = site.recovery(*then, "--goal", "back")
    site.does("ines", "approve", "--recovery", home)
    site.does("ola", "done", "--recovery", home, "--from", site.form(home))
    assert "crew 1 has not begun stage 1" in site.looks("log").out


def lines_of(site, code):
    """The numbers of the lines of a recovery, from the record."""
    with Record(site.folder) as record:
        _, held = recovery_in(record, made_of(site, code))
    return [e.line for e in held.procedure.events]


def test_a_planted_entry_does_not_change_what_is_judged_by(site, late):
    """Plan, bands and stage come from what was approved, not from an entry that nobody signed."""
    made = made_of(site, late)
    plant(site, made, stage=3, crew=9)
    append(site.folder, made.kind, made.when, about="e" * 64, says=dict(made.says))
    said = site.does("ola", "done", "--recovery", late, "--from", site.form(late))
    assert f"Recovery {late}: GO ON" in said.out
    assert "crew 1 rests on steel in the middle of stage 1" in said.out


def test_a_planted_recovery_that_says_nonsense_is_one_line(site):
    """Its content may be anything; it is refused in words, and nothing is written down."""
    site.approved()
    code = site.recovery("--line", 9, "--goal", "safe")
    made = made_of(site, code)
    with Record(site.folder) as record:
        held = json.loads(record.content(str(made.says["recovery"])))
    held["recovery"]["procedure"]["seats"] = ["nowhere"]
    held["recovery"]["procedure"]["events"][0]["phase"] = "dance"
    content = canonical(held)
    name = hashlib.sha256(content).hexdigest()
    says = {**made.says, "recovery": name, "code": check_code(name)}
    append(site.folder, made.kind, made.when, about=made.about, says=says, outputs={"x": content})
    before = len(json.loads(site.looks("log", "--json").out)["entries"])
    said = site.does("ola", "done", "--recovery", check_code(name), code=2)
    assert said.lines == [
        f"fitup: recovery {check_code(name)} holds nothing that can be read; make it again"
    ]
    assert len(json.loads(site.looks("log", "--json").out)["entries"]) == before
