"""A whole job by three roles over two rounds, each with a mistake, from key to lock-off.

Bram surveys, Ines is the engineer, Ola runs the jacking. All of it goes through the command line.
"""

from __future__ import annotations

import csv
import io
import json
import re

import pytest
from openpyxl import load_workbook
from pypdf import PdfReader

from fitup.record import Record, append

PEOPLE = {
    "ines": ("Ines Calder", ["name people", "approve packs", "release hold points", "lock off"]),
    "bram": ("Bram Teel", ["accept surveys"]),
    "ola": ("Ola Finch", ["report stages"]),
}
#: the second night: B stands 3 mm high at the joint and where it belongs at its far end
SECOND = [
    (f"B-{p},{e},{n},10.0060", f"B-{p},{e},{n},{h}")
    for p, e, n, h in (
        ("L", "20.0100", "4.0000", "10.0030"),
        ("R", "20.0100", "-4.0000", "10.0030"),
        ("T1", "39.0000", "4.0000", "10.0005"),
        ("T2", "39.0000", "-4.0000", "10.0005"),
    )
]


class Site:
    """The job folder and the key of each person."""

    def __init__(self, fitup, folder, keys, as_read):
        self.fitup, self.folder, self.keys, self.as_read = fitup, folder, keys, as_read

    def key(self, who):
        return self.keys / f"{who}.key"

    def does(self, who, command, *more):
        return self.fitup(command, self.folder, *more, "--key", self.key(who))

    def looks(self, command, *more):
        return self.fitup(command, self.folder, *more)

    def prints(self, *more):
        """Print the sheets and return their code."""
        said = self.looks("sheets", "--json", *more)
        assert said.code == 0, said.err
        result = json.loads(said.out)
        return result["check_code"], result["status"]

    def page(self, name="move-J1.pdf"):
        return PdfReader(self.folder / "out" / name).pages

    def filled(self, stage, **other):
        """Fill the form of a stage as stated, except for what is given."""
        text = (self.folder / "out" / "as-done.csv").read_text("utf-8")
        rows = list(csv.DictReader(io.StringIO(text)))
        for row in rows:
            if row["stage"] == str(stage):
                row.update(other.get(row["name"], self.as_read(row)))
        return rows

    def change(self, name, old, new):
        path = self.folder / name
        text = path.read_text("utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")


@pytest.fixture
def site(tmp_path, small_job_writer, fitup, as_read):
    folder = small_job_writer(tmp_path / "job")
    lines = []
    for who, (name, may) in PEOPLE.items():
        said = fitup("key", who, "--to", tmp_path / f"{who}.key", "--json")
        public = json.loads(said.out)["key"]
        lines.append(f'[{who}]\nname = "{name}"\nmay = {json.dumps(may)}\nkey = "{public}"\n')
    (folder / "people.toml").write_text("".join(lines), encoding="utf-8")
    return Site(fitup, folder, tmp_path, as_read)


def lift_off_table(folder, bar="230"):
    """Fill the table of the lift-off that lies beside the sheets."""
    head, *rows = (folder / "out" / "lift-off.csv").read_text("utf-8").splitlines()
    stated = [r.replace(",,above,,,", f",1.0,above,{bar},N. Tarn,2031-04-03T01:10") for r in rows]
    (folder / "lift-off.csv").write_text("\n".join([head, *stated]) + "\n", encoding="utf-8")
    return folder / "lift-off.csv"


def planned_again(site, code):
    """Measure the lift-off of an approved plan, plan again with it and approve that."""
    table = lift_off_table(site.folder)
    said = site.does("ola", "done", "--stage", "0", "--plan", code, "--from", table)
    assert said.code == 0, said.out + said.err
    assert "Lift-off: GO ON" in said.out
    again, status = site.prints("--readings", table)
    assert (again != code, status) == (True, "NOT APPROVED - for review")
    said = site.does("ines", "approve", "--plan", again)
    assert said.code == 0, said.out + said.err
    assert site.prints() == (again, "APPROVED")
    return again


def as_csv(path, rows):
    with path.open("w", encoding="utf-8", newline="") as target:
        writer = csv.DictWriter(target, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    return path


def as_workbook(path, workbook, rows):
    book = load_workbook(workbook)
    page = book["as-done"]
    header = [c.value for c in page[1]]
    for cells, row in zip(page.iter_rows(min_row=2), rows, strict=True):
        for cell, name in zip(cells, header, strict=True):
            if row[name] and cell.value is None:
                number = name.startswith("read_")
                cell.value = float(row[name]) if number else row[name]
    book.save(path)
    return path


def test_from_first_key_to_lock_off(site, tmp_path):
    opened_and_surveyed(site)
    first = approved_at_first(site)
    old_form = as_csv(tmp_path / "old.csv", site.filled(1))
    paper = (site.folder / "out" / "move-J1.pdf").read_bytes()
    second = changed_and_approved_again(site, first)
    done_by_the_old_print(site, first, second, old_form)
    third, packs = done_by_the_right_one(site, second, tmp_path)
    stages = second_night(site, third, packs, tmp_path)
    locked_off(site)
    told_by_the_record(site, first, stages, paper, tmp_path)


def opened_and_surveyed(site):
    # the record is opened, and only by one who may
    assert site.does("ola", "people").lines == [
        "fitup: Ola Finch may not name people; Ines Calder may"
    ]
    assert site.does("ines", "people").code == 0

    # Bram's mistake: two targets under each other's name are found before anything is signed
    site.change("survey.csv", "B-L,", "B-X,")
    site.change("survey.csv", "B-T1,", "B-L,")
    site.change("survey.csv", "B-X,", "B-T1,")
    said = site.does("bram", "accept")
    assert said.code == 2
    assert "if targets B-L and B-T1 are exchanged" in said.err
    site.change("survey.csv", "B-L,", "B-X,")
    site.change("survey.csv", "B-T1,", "B-L,")
    site.change("survey.csv", "B-X,", "B-T1,")
    assert site.does("bram", "accept").code == 0
    assert site.does("bram", "accept").lines == ["fitup: this survey is accepted already, entry 2"]


def approved_at_first(site):
    # Ines reads the sheets; they say on every page that nobody may work by them
    first, status = site.prints()
    assert status == "NOT APPROVED - for review"
    assert all(status in page.extract_text() for page in site.page())
    assert site.does("bram", "approve", "--plan", first).lines == [
        "fitup: Bram Teel may not approve packs; Ines Calder may"
    ]
    assert site.does("ines", "approve", "--plan", first).code == 0
    assert site.prints() == (first, "APPROVED")
    return first


def changed_and_approved_again(site, first):
    # Ines's mistake: a plate is lent away after the approval; it is void, and says why
    site.change("plates.csv", "P5,5,5,3,", "P5,5,5,2,")
    said = site.looks("log")
    assert "APPROVAL VOID - do not use\n  plate P5: count was 3, is 2\n" in said.out
    changed = site.looks("changed", first)
    assert changed.out == "plate P5: count was 3, is 2\n"
    code, status = site.prints("--plan", first)
    assert (code, status) == (first, "APPROVAL VOID - do not use")
    assert all(status in page.extract_text() for page in site.page())
    assert "plate P5: count was 3, is 2" in site.page()[0].extract_text()
    said = site.does("ines", "approve", "--plan", first)
    assert said.lines == [
        f"fitup: plan {first} was made from other files than lie in the folder now; make a new "
        "plan. Since then:",
        "fitup:   plate P5: count was 3, is 2",
    ]
    wrong = first[:-1] + ("A" if first[-1] != "A" else "C")
    assert site.does("ines", "approve", "--plan", wrong).lines == [
        f"fitup: --plan: found '{wrong}', in which a letter is wrong or two are exchanged; "
        "allowed: the check code of a sheet; read it again, letter by letter"
    ]
    said = site.looks("sheets")
    void = f"  plan {first}, approved before, is void:\n  plate P5: count was 3, is 2\n"
    assert void in said.out
    second = site.prints()[0]
    assert second != first
    assert site.does("ines", "approve", "--plan", second).code == 0
    return second


def done_by_the_old_print(site, first, second, old_form):
    # Ola's mistake: the stage is done by the old print. It is written down, and says STOP
    said = site.does("ola", "done", "--stage", "1", "--from", old_form)
    assert said.code == 3
    assert "Stage 1: STOP" in said.out
    assert f"plan {first} is not approved: APPROVAL VOID - do not use" in said.out
    said = site.does("ines", "release", "--plan", second, "--stage", "1")
    assert said.lines == [f"fitup: stage 1 of plan {second} is not reported as done"]
    assert site.does("ines", "release", "--plan", first, "--stage", "1").code == 2
    said = site.does("ola", "stop", "--why", "old print found in the cabin")
    assert said.code == 0
    # until the engineer lifts it no sheet says APPROVED and no command says go on
    code, status = site.prints()
    assert (code, status) == (second, "STOPPED - do not go on")
    pages = [page.extract_text() for page in site.page()]
    assert all(status in text for text in pages)
    assert "old print found in the cabin" in pages[0]
    why = ("--why", "old prints burnt, packs measured again")
    release = ("release", "--plan", first, "--stage", "1", *why)
    said = site.does("ines", *release)
    assert said.lines == [
        "fitup: STOP was called (entry 13): old print found in the cabin; it is lifted first, by "
        "itself: fitup release JOB --stop 13 --why REASON"
    ]
    said = site.does("ola", "release", "--stop", "13", *why)
    assert said.lines == ["fitup: Ola Finch may not release hold points; Ines Calder may"]
    assert site.does("ines", "release", "--stop", "13", *why).code == 0
    assert site.prints() == (second, "STOPPED - do not go on")
    assert site.does("ines", *release).code == 0
    assert site.prints() == (second, "APPROVED")


def done_by_the_right_one(site, second, tmp_path):
    # without the lift-off the first stage is a STOP; the lift-off ends the code it was read by
    early = as_csv(tmp_path / "early.csv", site.filled(1))
    said = site.does("ola", "done", "--stage", "1", "--from", early)
    assert said.code == 3
    assert "the lift-off of J-B1, J-B2, J-B3 is not measured" in said.out
    why = ("--why", "nothing was moved yet, only tried")
    assert site.does("ines", "release", "--plan", second, "--stage", "1", *why).code == 0
    third = planned_again(site, second)
    said = site.does("ola", "done", "--stage", "1", "--from", early)
    assert said.code == 3
    assert f"plan {second} is not approved: APPROVAL VOID" in said.out
    assert site.does("ines", "release", "--plan", second, "--stage", "1", *why).code == 0
    # nicer readings after bad ones release nothing
    low = {"read_mm": "3.1", "side": "ahead low"}
    form = as_csv(tmp_path / "low.csv", site.filled(1, **{"J1/P1/step": low}))
    said = site.does("ola", "done", "--stage", "1", "--from", form)
    assert said.code == 3
    assert "J1/P1/step: 3.1 mm ahead low, outside" in said.out
    good = site.filled(1)
    book = as_workbook(tmp_path / "filled.xlsx", site.folder / "out" / "sheets.xlsx", good)
    said = site.does("ola", "done", "--stage", "1", "--from", book)
    assert said.code == 3
    assert "Stage 1: STOP of 2 reports" in said.out
    assert "J1/P1/step: 3.1 mm ahead low, outside" in said.out
    why = ("--why", "the rod was read upside down; read again by Ines")
    assert site.does("ines", "release", "--plan", third, "--stage", "1").code == 2
    assert site.does("ines", "release", "--plan", third, "--stage", "1", *why).code == 0
    # what was read, as the table the next round starts from; and it is read back the same
    table = tmp_path / "night.csv"
    table.write_text(site.looks("log", "--readings", third).out, encoding="utf-8")
    assert "1,end,B-S1,J-B1,6.000,below,,,Ola Finch (UTC)," in table.read_text("utf-8")
    joint = [
        f"{r['name']} = {r['read_mm']} mm {r.get('side') or ''}" for r in good if "/" in r["name"]
    ]
    more = [part for text in joint for part in ("--read", text)]
    said = site.does("ola", "done", "--stage", "1", "--plan", third, "--from", table, *more)
    assert said.code == 0, said.out + said.err
    assert "Stage 1: GO ON" in said.out
    assert site.does("ines", "release", "--plan", third, "--stage", "1").code == 0
    packs = {r["name"].split()[1]: r["pack"] for r in good if r["name"].startswith("pack")}
    return third, packs


def second_night(site, second, packs, tmp_path):
    # what was built, and a new survey, in the same folder; the loads are measured once more
    assert set(packs) == {"B-S1", "B-S2", "B-S3"}
    for seat, pack in packs.items():
        line = next(
            ln for ln in (site.folder / "seats.csv").read_text("utf-8").splitlines()
            if ln.startswith(f"{seat},")
        )  # fmt: skip
        site.change("seats.csv", line, line.replace("P20+P10", pack))
    for old, new in SECOND:
        site.change("survey.csv", old, new)
    site.change("job.toml", "2031-04-02", "2031-04-03")
    said = site.looks("changed", second)
    assert "seat B-S1: pack was P20+P10, is " in said.out
    assert "target B-L moved 3.0 mm (3.0 lower)" in said.out
    third, _ = site.prints()
    assert (
        site.does("ines", "approve", "--plan", third)
        .lines[0]
        .startswith("fitup: the survey is not the one that was accepted")
    )
    assert site.does("bram", "accept").code == 0
    assert site.does("ines", "approve", "--plan", third).code == 0
    third = planned_again(site, third)
    stages = sorted({int(r["stage"]) for r in site.filled(1)})
    for stage in stages:
        form = as_csv(tmp_path / f"stage-{stage}.csv", site.filled(stage))
        assert site.does("ola", "done", "--stage", stage, "--from", form).code == 0
        assert site.does("ines", "release", "--plan", third, "--stage", stage).code == 0
    return stages


def locked_off(site):
    # the third night: B stands where it should, the engineer locks
    for name, old, new in (
        ("survey.csv", "20.0100,4.0000,10.0030", "20.0100,4.0000,10.0001"),
        ("survey.csv", "20.0100,-4.0000,10.0030", "20.0100,-4.0000,10.0001"),
        ("survey.csv", "39.0000,4.0000,10.0005", "39.0000,4.0000,10.0001"),
        ("survey.csv", "39.0000,-4.0000,10.0005", "39.0000,-4.0000,10.0001"),
        ("job.toml", "2031-04-03", "2031-04-04"),
    ):
        site.change(name, old, new)
    said = site.does("ines", "lockoff")
    assert said.lines[0].startswith("fitup: the survey is not the one that was accepted")
    assert site.does("bram", "accept").code == 0
    # Ola hears a crack: nothing is locked while that STOP stands
    assert site.does("ola", "stop", "--why", "crack heard at B").code == 0
    open_hold = "not released: STOP was called"
    assert open_hold in site.looks("lockoff").out
    assert site.does("ines", "lockoff").lines == [
        "fitup: not every joint is to be locked: J1: WAIT"
    ]
    entry = json.loads(site.looks("log", "--json").out)["entries"][-1]["number"]
    why = ("--why", "a nut seated itself; looked at by Ines")
    assert site.does("ines", "release", "--stop", entry, *why).code == 0
    assert site.does("ola", "lockoff").lines == [
        "fitup: Ola Finch may not lock off; Ines Calder may"
    ]
    said = site.does("ines", "lockoff")
    assert said.code == 0, said.out + said.err
    assert "Joint J1: back A, ahead B: LOCK" in said.out
    assert "locked off" in said.out


def told_by_the_record(site, first, stages, paper, tmp_path):
    # the record tells all of it, is whole, and gives back what was printed, byte for byte
    said = site.looks("log", "--json")
    assert said.code == 0
    log = json.loads(said.out)
    kinds = [e["kind"] for e in log["entries"]]
    assert kinds[-1] == "locked off"
    assert kinds.count("plan approved") == 5
    assert kinds.count("stage done") == 8 + len(stages)
    assert log["broken"] == []
    printed = [e for e in log["entries"] if e["kind"] == "sheets printed"]
    assert [e["says"]["status"] for e in printed if e["says"]["code"] == first] == [
        "NOT APPROVED - for review",
        "APPROVED",
        "APPROVAL VOID - do not use",
    ]
    # each page of the first set tells the record as it then was, and by whose key it is approved
    head = r"Record at entry (\d+), ([A-Z-]+)"
    kept = [page.extract_text() for page in PdfReader(io.BytesIO(paper)).pages]
    quoted = {re.search(head, text)[2] for text in kept}
    assert len(quoted) == 1
    assert site.looks("log", "--holds", quoted.pop()).code == 0
    assert all(re.search(r"by Ines Calder \(key [A-Z-]+\)", text) for text in kept)
    entry = next(e["number"] for e in printed if e["says"]["status"] == "APPROVED")
    assert site.looks("recall", entry, "--to", tmp_path / "once-more").code == 0
    assert (tmp_path / "once-more" / "out" / "move-J1.pdf").read_bytes() == paper
    again = json.loads(site.fitup("plan", tmp_path / "once-more" / "in", "--json").out)
    assert again["plan"]["id"] == printed[0]["about"]


def test_record_goes_on_in_the_next_folder(site, tmp_path, fitup, small_job_writer):
    assert site.does("ines", "people").code == 0
    assert site.does("ola", "stop", "--why", "fog").code == 0
    code = json.loads(site.looks("log", "--json").out)["record_code"]
    later = small_job_writer(tmp_path / "later")
    (later / "people.toml").write_bytes((site.folder / "people.toml").read_bytes())
    said = fitup("people", later, "--after", site.folder, "--key", site.key("ines"))
    assert said.code == 0
    assert f"Goes on from record code {code} of {site.folder}" in said.out
    assert f"goes on from record code {code}" in fitup("log", later).out
    assert site.looks("log", "--holds", code).code == 0
    said = fitup("people", later, "--after", site.folder, "--key", site.key("ines"))
    assert said.lines == ["fitup: the record is open already; only a new one goes on from another"]
    other = fitup("log", later, "--holds", code)
    assert other.code == 5
    assert (
        f"BROKEN: no entry has the record code {code}: entries are missing or were changed"
        in other.err
    )


def test_planted_plan_is_not_approved_and_planted_bands_are_not_believed(site):
    for who, act in (("ines", "people"), ("bram", "accept")):
        assert site.does(who, act).code == 0
    code, _ = site.prints()
    with Record(site.folder) as record:
        plan, sheets = record.whole()[-2:]
        stated = record.files(sheets.outputs)["sheets.json"]
        kept = record.files(plan.outputs)["plan.json"]
        wider = json.loads(stated)
        for number in wider["printed"]:
            if number["key"][-1] == "low":
                number["value_si"] -= 0.05

    def planted():
        append(
            site.folder,
            "sheets printed",
            sheets.when,
            about=plan.about,
            outputs={"sheets.json": json.dumps(wider).encode()},
            says=dict(sheets.says),
        )

    planted()
    said = site.does("ines", "approve", "--plan", code)
    assert said.lines == [
        "fitup: the sheets of entry 5 do not say what the plan says; print them again and read "
        "those"
    ]
    assert site.prints()[0] == code
    assert site.does("ines", "approve", "--plan", code).code == 0
    planted()
    low = {"read_mm": "30", "side": "ahead low"}
    form = as_csv(site.folder / "low.csv", site.filled(1, **{"J1/P1/step": low}))
    said = site.does("ola", "done", "--stage", "1", "--from", form)
    assert said.code == 3
    assert "the sheets of entry 8 do not say what was approved: print again" in said.out
    append(
        site.folder,
        "plan made",
        plan.when,
        about=plan.about,
        inputs={n: (site.folder / n).read_bytes() for n in plan.inputs},
        outputs={"plan.json": kept.replace(b'"P5"', b'"P2"')},
        says=dict(plan.says),
    )
    said = site.looks("log")
    assert said.code == 5
    assert f"NOT BELIEVED: entry 10 says plan {code}, but its content is " in said.err
    assert "The record is whole" not in said.out
    # what is printed is the plan under the signature
    assert site.prints() == (code, "STOPPED - do not go on")
    with Record(site.folder) as record:
        assert record.files(record.whole()[-1].inputs)["plan.json"] == kept


def test_sheets_of_a_job_that_was_changed_do_not_lie_about(site):
    """An edit that no sheets can be made from: those printed before it are moved aside."""
    site.prints()
    pages = (site.folder / "out" / "move-J1.pdf").read_bytes()
    # a slip on the command line moves nothing
    assert site.looks("sheets", "--plan", "FYEP-NART-LLWCX").code == 2
    assert (site.folder / "out" / "move-J1.pdf").read_bytes() == pages
    site.change("seats.csv", "B-S1,", "B-S1,nonsense,")
    said = site.looks("sheets")
    assert said.code == 2
    assert (
        f"Sheets in {site.folder / 'out'} were made from other files than lie there now: moved to "
        "out-old-1. DO NOT USE them."
    ) in said.err
    assert not (site.folder / "out" / "move-J1.pdf").exists()
    assert (site.folder / "out-old-1" / "move-J1.pdf").read_bytes() == pages
    site.change("seats.csv", "B-S1,nonsense,", "B-S1,")
    site.prints()
    # printed elsewhere after a change, the old ones are no longer in the way either
    site.change("plates.csv", "P5,5,5,3,", "P5,5,5,2,")
    assert site.prints("--to", site.folder / "night-2")[1] == "NOT APPROVED - for review"
    assert not (site.folder / "out" / "move-J1.pdf").exists()
    assert (site.folder / "out-old-2" / "move-J1.pdf").exists()


def test_stage_out_of_turn_is_written_down_as_stop(site):
    for who, act in (("ines", "people"), ("bram", "accept")):
        assert site.does(who, act).code == 0
    code, _ = site.prints()
    step = "J1/P1/step = 0 mm"
    said = site.does("ola", "done", "--stage", "1", "--plan", code, "--read", step)
    assert said.code == 3
    assert f"plan {code} is not approved: NOT APPROVED - for review" in said.out
    assert "not read: J1/P1/gap, J1/P1/offset," in said.out


def test_commands_that_need_a_record_say_so(site):
    for command, more in (
        ("log", ()),
        ("changed", ("1", "2")),
        ("recall", ("1", "--to", site.folder / "x")),
    ):
        said = site.looks(command, *more)
        assert (said.code, said.out) == (2, "")
        assert said.lines == [
            "fitup: record.sqlite: found no record in the job folder; allowed: a record that was "
            "opened; write people.toml and open it with: fitup people JOB"
        ]


def test_key_of_a_stranger_and_key_that_others_may_read(site, tmp_path):
    assert site.does("ines", "people").code == 0
    site.fitup("key", "eve", "--to", tmp_path / "eve.key")
    said = site.does("eve", "accept")
    assert said.lines == [
        "fitup: this key belongs to nobody in the record's list of people; name people with: "
        "fitup people JOB"
    ]
    site.key("bram").chmod(0o640)
    said = site.does("bram", "accept")
    assert said.lines == [
        f"fitup: {site.key('bram')}: found a key that others may read or write (mode 0640); "
        f"allowed: mode 0600; if nobody had it, close it: chmod 600 {site.key('bram')}; else make "
        "a new key"
    ]


def test_people_named_by_nobody_are_not_heeded(site, tmp_path):
    """Who writes himself into people.toml has no right until one who may names him."""
    assert site.does("ines", "people").code == 0
    site.change("people.toml", '["report stages"]', '["report stages", "accept surveys"]')
    assert site.does("ola", "accept").lines == [
        "fitup: Ola Finch may not accept surveys; Bram Teel may"
    ]
    assert site.does("ola", "people").code == 2
    assert site.does("ines", "people").code == 0
    assert site.does("ola", "accept").code == 0


def test_clock_that_goes_backwards_is_told_at_once_and_in_the_log(site, monkeypatch):
    assert site.does("ines", "people").code == 0
    monkeypatch.setattr("fitup.cli.stop.now", lambda: "2020-01-01T00:00:00Z")
    said = site.does("ola", "stop", "--why", "fog")
    assert said.code == 0
    assert "CHECK THE CLOCK: this entry bears a time " in said.out
    said = site.looks("log")
    assert said.code == 0
    assert "note: entry 2 (2020-01-01T00:00:00Z) bears an earlier time than entry 1" in said.err


def test_broken_record_is_named_and_nothing_goes_on(site):
    assert site.does("ines", "people").code == 0
    assert site.does("ola", "stop", "--why", "fog").code == 0
    path = site.folder / "record.sqlite"
    path.write_bytes(path.read_bytes().replace(b'"why":"fog"', b'"why":"fun"'))
    for said in (site.looks("log"), site.does("ines", "people"), site.looks("changed", "1", "2")):
        assert said.code == 5
        assert "it was changed after it was written" in said.err
