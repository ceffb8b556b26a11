"""The field page on a phone: judged as ``fitup done`` judges, kept over a reload, handed back."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fitup.model.recovery import Goal, Recovery, Stopped
from fitup.openjob import OpenJob, open_job
from fitup.pages import FieldFacts, crews_of, field_facts, field_page, recovery_field
from fitup.record.approval import OPEN
from fitup.record.asdone import Read, asked_of, judge
from fitup.record.readback import code_of, form_readings, read_form
from fitup.record.recoveries import recovery_id
from fitup.recovery import stopped_at
from fitup.sheets import SheetSet, build_sheets
from fitup.sheets.recovery import recovery_sheet
from fitup.sheets.recovery_done import recovery_asked
from fitup.sheets.table_files import json_bytes

WORDS = {"go on": "go", "hold": "hold", "stop": "stop"}


@pytest.fixture(scope="session")
def small_job(
    tmp_path_factory: pytest.TempPathFactory, small_job_writer: Callable[..., Path]
) -> OpenJob:
    return open_job(small_job_writer(tmp_path_factory.mktemp("field") / "small"))


@pytest.fixture(scope="session")
def small_sheets(small_job: OpenJob) -> SheetSet:
    own = small_job
    return build_sheets(own.job, own.survey, own.plan, own.certificate)


@pytest.fixture(scope="session")
def field(small_job: OpenJob, small_sheets: SheetSet) -> FieldFacts:
    assert crews_of(small_sheets) == (1,)
    return field_facts(small_job.job, small_sheets, small_job.certificate.procedures, 1)


@pytest.fixture(scope="session")
def field_file(field: FieldFacts, tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("phone") / "field-crew-1.html"
    file.write_bytes(field_page(field))
    return file


@pytest.fixture
def phone(opened: Callable[..., Any], field_file: Path) -> Any:
    return opened(field_file, width=390, height=844, has_touch=True)


def tick_all(page: Any) -> None:
    for box in page.locator("#body input[type=checkbox]").all():
        box.check()


def fill(page: Any, i: int, entry: Any, value: float | None, facts: FieldFacts) -> None:
    """Type a value of a step's entry, in SI, as its instrument shows it."""
    if entry.what == "support":
        page.check(f"#side-{i}-{entry.sides.index(entry.should)}")
        return
    if entry.what == "pack":
        page.locator("#body fieldset").nth(i).get_by_role("button").click()
        return
    factor = facts.units[entry.unit].factor
    page.fill(f"#read-{i}", f"{abs(value) / factor:.6f}".rstrip("0").rstrip("."))
    if entry.sides and entry.unit != "force":
        page.check(f"#side-{i}-{0 if value >= 0 else 1}")


def ends(entry: Any) -> tuple[float | None, float | None]:
    """What all bands of an entry leave."""
    lows = [b.low for b in entry.bands if b.low is not None]
    highs = [b.high for b in entry.bands if b.high is not None]
    return max(lows, default=None), min(highs, default=None)


def middle(entry: Any) -> float:
    low, high = ends(entry)
    if low is None:
        return 0.0 if high is None else max(0.9 * high, 0.0)
    return low + 0.001 if high is None else (low + high) / 2.0


def walk(page: Any, facts: FieldFacts, change: Callable[[Any], float | None] = middle) -> None:
    """Do a whole stage as stated, reading after reading."""
    steps = facts.stages[0].steps
    for number, step in enumerate(steps):
        tick_all(page)
        for i, entry in enumerate(step.entries):
            fill(
                page, i, entry, None if entry.what in ("pack", "support") else change(entry), facts
            )
        assert page.locator("#verdict strong").text_content() == "GO ON", step.title
        if number < len(steps) - 1:
            page.click("#on")


def export(page: Any, tmp_path: Path) -> Path:
    with page.expect_download() as got:
        page.click("#file")
    file = tmp_path / got.value.suggested_filename
    got.value.save_as(file)
    assert file.read_bytes().decode().replace("\r\n", "\n") == page.input_value("#form")
    return file


def test_a_stage_as_told_goes_on_here_and_in_fitup_done(
    phone: Any, field: FieldFacts, small_job: OpenJob, small_sheets: SheetSet, tmp_path: Path
):
    walk(phone, field)
    assert phone.locator("#on").is_disabled()
    assert "Stage 1, crew 1: GO ON" in phone.text_content("#hold")
    file = export(phone, tmp_path)
    form = read_form(file)
    assert code_of(form, 1) == field.check_code
    asked = asked_of(json.loads(json_bytes(small_sheets, ())), small_job.job, 1)
    read = form_readings(form, 1, asked)
    assert set(read) == {a.name for a in asked}
    judgement = judge(asked, read, small_job.job, 1)
    assert judgement.verdict == "go on", judgement.reasons


def test_a_plan_without_events_is_shown_by_its_readings(
    opened: Callable[..., Any], small_job: OpenJob, small_sheets: SheetSet, tmp_path: Path
):
    facts = field_facts(small_job.job, small_sheets, (), 1)
    titles = [step.title for step in facts.stages[0].steps]
    (stage,) = small_job.certificate.stages
    up, down = (max(len(getattr(j, way)) for j in stage.jacks) for way in ("up", "down"))
    assert titles == [
        "Before the first stroke",
        *(f"Out, reading {i + 1} of {up}" for i in range(up)),
        "Plates, by tool, never by hand",
        *(f"Back, reading {i + 1} of {down}" for i in range(down)),
        "Read the joint",
    ]
    file = tmp_path / "field.html"
    file.write_bytes(field_page(facts))
    page = opened(file, width=390, height=844)
    walk(page, facts)
    asked = asked_of(json.loads(json_bytes(small_sheets, ())), small_job.job, 1)
    read = form_readings(read_form(export(page, tmp_path)), 1, asked)
    assert judge(asked, read, small_job.job, 1).verdict == "go on"


@pytest.mark.parametrize("share", [-1.001, -0.999, 0.999, 1.001])
def test_bands_are_those_of_the_program(
    phone: Any, field: FieldFacts, small_job: OpenJob, small_sheets: SheetSet, share: float
):
    """At the ends of every band of the joint, the page goes on where ``judge`` does."""
    asked = {
        a.name: a for a in asked_of(json.loads(json_bytes(small_sheets, ())), small_job.job, 1)
    }
    steps = field.stages[0].steps
    number = next(n for n, s in enumerate(steps) if s.entries and s.entries[0].what == "check")
    phone.evaluate("(n) => { kept.step = n; show(false); }", number)
    assert {e.name for e in steps[number].entries} >= {n for n in asked if "/" in n}
    for i, entry in enumerate(steps[number].entries):
        if entry.name not in asked:
            continue
        own = asked[entry.name]
        value = (own.least + own.most) / 2.0 + share * (own.most - own.least) / 2.0
        typed = value + own.opening if entry.whole else value
        fill(phone, i, entry, typed, field)
        said = judge([own], {entry.name: Read(value)}, small_job.job, 1).verdict
        assert said == ("go on" if abs(share) < 1 else "stop")
        box = phone.locator("#body fieldset").nth(i).get_attribute("class")
        assert box in ({"entry go"} if abs(share) < 1 else {"entry hold", "entry stop"})


def test_a_gauge_above_its_stop_stops_and_says_what_to_do(phone: Any, field: FieldFacts):
    steps = field.stages[0].steps
    bar = field.units["pressure"].factor

    def banded(e: Any) -> bool:
        return e.what == "gauge" and None not in ends(e)

    number = next(n for n, s in enumerate(steps) if any(banded(e) for e in s.entries))
    phone.evaluate("(n) => { kept.step = n; show(false); }", number)
    gauge = next(i for i, e in enumerate(steps[number].entries) if banded(e))
    entry = steps[number].entries[gauge]
    stop = next(b for b in entry.bands if b.meaning == "STOP" and b.high is not None)
    box = phone.locator("#body fieldset").nth(gauge).text_content()
    assert "STOP " in box
    assert f"{stop.high / bar:.0f} bar" in box
    fill(phone, gauge, entry, middle(entry), field)
    assert phone.text_content(f"#judged-{gauge}") == "GO ON: inside"
    fill(phone, gauge, entry, stop.high + bar, field)
    assert phone.text_content(f"#judged-{gauge}").startswith("STOP: ")
    assert phone.locator("#verdict strong").text_content() == "STOP"
    for line in field.stop:
        assert line in phone.text_content("#verdict")
    assert phone.locator("#on").is_disabled()
    # what said stop stays written, though it was typed over
    phone.locator(f"#read-{gauge}").blur()
    fill(phone, gauge, entry, middle(entry), field)
    phone.locator(f"#read-{gauge}").blur()
    assert "STOP, Gauge" in phone.locator("#log").text_content()


def test_no_gauge_reading_goes_on_that_fitup_done_stops(
    field: FieldFacts, small_job: OpenJob, small_sheets: SheetSet
):
    loads = {
        a.name: a for a in asked_of(json.loads(json_bytes(small_sheets, ())), small_job.job, 1)
    }
    gauges = [e for s in field.stages[0].steps for e in s.entries if e.what == "gauge"]
    assert gauges
    for entry in gauges:
        high = ends(entry)[1]
        assert high is not None
        assert high * entry.area <= loads[f"load {entry.jack}"].most * (1.0 + 1e-9)


def test_every_event_of_the_procedure_is_a_step(
    field: FieldFacts, small_job: OpenJob, small_sheets: SheetSet
):
    (procedure,) = small_job.certificate.procedures
    events = [e for e in procedure.events if e.verb != "HOLD POINT"]
    steps = field.stages[0].steps[1:]
    # the verbs are those of the move sheet, line by line: a nut run back does not follow
    (crew,) = small_sheets.crews
    asked = {n.number: n.asks.partition(",")[0] for part in crew.parts for n in part.lines}
    assert "NUT BACK" in asked.values()
    assert [s.title.split(" (")[0] for s in steps] == [
        f"Line {e.line}: {asked.get(e.line, e.verb)}" for e in events
    ]
    for step, event in zip(steps, events, strict=True):
        read = [e for e in step.entries if e.what != "pack"]
        assert len(read) == len(event.readings)
        for entry, reading in zip(read, event.readings, strict=True):
            factor = field.units[entry.unit].factor
            if reading.value:
                assert f"{abs(reading.value) / factor:.{field.units[entry.unit].decimals}f}" in (
                    entry.should
                )
            for band, own in zip(entry.bands, (b for b in reading.bands), strict=False):
                assert band.meaning == own.meaning
                if band.high is not None:
                    assert band.high <= own.high


def test_pages_of_all_crews_ask_for_everything_together(closure: OpenJob, axe: Any):
    own = closure
    sheets = build_sheets(own.job, own.survey, own.plan, own.certificate)
    printed = json.loads(json_bytes(sheets, ()))
    assert crews_of(sheets) == (1, 2)
    pages = [field_facts(own.job, sheets, own.certificate.procedures, crew) for crew in (1, 2)]
    for number in {s.number for s in sheets.stages}:
        stages = [s for page in pages for s in page.stages if s.number == number]
        assert len(stages) == 2
        asked = {a.name for a in asked_of(printed, own.job, number)}
        forms = [{row.name for row in stage.form} for stage in stages]
        assert forms[0] | forms[1] == asked
        # what both read is the joint between them, nothing else
        assert all(name.startswith("K1/") for name in forms[0] & forms[1])
        for stage, form in zip(stages, forms, strict=True):
            entries = {e.name for step in stage.steps for e in step.entries}
            jacks = {e.jack for step in stage.steps for e in step.entries if e.jack}
            of_jacks = {f"{what} {jack}" for what in ("ram", "load") for jack in jacks}
            assert form <= entries | of_jacks


def test_only_the_engineer_lets_a_crew_go_on(phone: Any):
    assert phone.locator("#verdict strong").text_content() == "HOLD"
    assert phone.locator("#on").is_disabled()
    phone.click("#free-go")
    assert phone.locator("#on").is_disabled()
    phone.fill("#free-name", "Ines, gauges read by hand")
    phone.click("#free-go")
    assert phone.locator("#on").is_enabled()
    assert "Let go on by Ines" in phone.text_content("#verdict")
    assert "HOLD let go on by Ines" in phone.locator("#log").text_content()


def test_what_is_no_number_holds(phone: Any, field: FieldFacts):
    steps = field.stages[0].steps
    number = next(
        n
        for n, s in enumerate(steps)
        if s.entries and s.entries[0].what == "ram" and s.entries[0].sides
    )
    phone.evaluate("(n) => { kept.step = n; show(false); }", number)
    for text in ("1,2,3", "-3", "abc", "1e3", "٣", "Infinity", "2.5mm"):
        phone.fill("#read-0", text)
        assert phone.text_content("#judged-0").startswith("HOLD: not a number"), text
    for text in ("2,5", "2.5", ".5", "2."):
        phone.fill("#read-0", text)
        assert phone.text_content("#judged-0") == "HOLD: say which side", text
    phone.fill("#read-0", " ")
    assert phone.text_content("#judged-0") == "HOLD: not read"


def test_another_pack_stops_another_order_holds(phone: Any, field: FieldFacts):
    steps = field.stages[0].steps
    number = next(n for n, s in enumerate(steps) if any(e.what == "pack" for e in s.entries))
    i = next(i for i, e in enumerate(steps[number].entries) if e.what == "pack")
    phone.evaluate("(n) => { kept.step = n; show(false); }", number)
    pack = steps[number].entries[i].pack
    phone.fill(f"#read-{i}", "+".join(pack))
    assert phone.text_content(f"#judged-{i}") == "GO ON: as planned"
    phone.fill(f"#read-{i}", " ".join(reversed(pack)))
    assert phone.text_content(f"#judged-{i}").startswith("HOLD: in another order")
    phone.fill(f"#read-{i}", "+".join(pack[:-1]))
    assert phone.text_content(f"#judged-{i}").startswith("STOP: not")


def test_a_reload_loses_nothing(phone: Any, field: FieldFacts, heard: list[str]):
    steps = field.stages[0].steps
    number = next(n for n, s in enumerate(steps) if any(e.sides for e in s.entries))
    i = next(i for i, e in enumerate(steps[number].entries) if e.sides)
    tick_all(phone)
    phone.evaluate("(n) => { kept.step = n; show(false); }", number)
    phone.fill(f"#read-{i}", "1,5")
    phone.check(f"#side-{i}-0")
    phone.reload()
    assert heard.pop(0).startswith("request: file:")
    assert phone.text_content("#title") == steps[number].title
    assert phone.input_value(f"#read-{i}") == "1,5"
    assert phone.is_checked(f"#side-{i}-0")
    phone.click("text=Begin again on this phone")
    phone.click("#clear")
    phone.click("#clear-sure")
    assert phone.text_content("#title") == "Before the first stroke"
    assert phone.locator("#on").is_disabled()


def test_a_phone_that_keeps_nothing_says_so(opened: Callable[..., Any], field_file: Path):
    page = opened(field_file, width=390, height=844)
    assert page.locator("#no-memory").is_hidden()
    page.evaluate("() => { Storage.prototype.setItem = () => { throw new Error('full'); }; }")
    page.locator("#body input[type=checkbox]").first.check()
    assert page.locator("#no-memory").is_visible()


def test_code_and_status_are_at_the_head(phone: Any, field: FieldFacts):
    assert phone.text_content("#code") == field.check_code
    assert phone.text_content("#spoken") == field.spoken
    assert phone.text_content("#status") == "NOT APPROVED - for review. Do not work by this page."
    assert phone.locator("#status").is_visible()


def test_by_keyboard_and_without_anything_for_a_checker_to_find(
    phone: Any, axe: Callable[..., list[str]]
):
    assert axe(phone) == []
    phone.focus("#body input[type=checkbox] >> nth=0")
    for _ in range(phone.locator("#body input[type=checkbox]").count()):
        phone.keyboard.press("Space")
        phone.keyboard.press("Tab")
    assert phone.locator("#on").is_enabled()
    phone.focus("#on")
    phone.keyboard.press("Enter")
    assert phone.evaluate("document.activeElement.id") == "title"
    assert "SET" in phone.text_content("#title")
    phone.keyboard.press("Tab")
    phone.keyboard.press("Space")
    phone.focus("#on")
    phone.keyboard.press("Enter")
    phone.keyboard.press("Tab")
    phone.keyboard.type("999")
    assert phone.locator("#verdict strong").text_content() == "STOP"
    assert axe(phone) == []


@pytest.mark.parametrize("width", [320, 390])
@pytest.mark.parametrize("text", [100, 200])
def test_it_fits_a_phone(
    opened: Callable[..., Any], field_file: Path, field: FieldFacts, width: int, text: int
):
    page = opened(field_file, width=width, height=700)
    page.evaluate(f"document.documentElement.style.fontSize = '{text}%'")
    for number in range(len(field.stages[0].steps)):
        page.evaluate("(n) => { kept.step = n; show(false); }", number)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        for button in page.locator("button:visible").all():
            assert button.bounding_box()["height"] >= 43.9


def test_a_name_cannot_become_markup(
    opened: Callable[..., Any], small_job_writer: Callable[..., Path], tmp_path: Path
):
    text = '"</script><script>window.hacked=1</script>"'
    folder = small_job_writer(
        tmp_path / "evil",
        job=('"Small invented joint"', text),
        pairs=("LEFT", '"<img src=x onerror=window.hacked=1>"'),
    )
    own = open_job(folder)
    sheets = build_sheets(own.job, own.survey, own.plan, own.certificate)
    file = tmp_path / "field.html"
    file.write_bytes(field_page(field_facts(own.job, sheets, own.certificate.procedures, 1)))
    page = opened(file)
    said = ""
    for number in range(page.evaluate("facts.stages[0].steps.length")):
        page.evaluate("(n) => { kept.step = n; show(false); }", number)
        said += page.text_content("main")
    assert page.evaluate("window.hacked") is None
    assert page.locator("img").count() == 0
    assert page.title() == "Crew 1: </script><script>window.hacked=1</script>"
    assert "<img src=x" in page.input_value("#form")


def way_out(own: OpenJob, goal: Goal) -> tuple[Recovery, FieldFacts]:
    """A jack broken in the last line of the lift, and the page of the way out."""
    certificate = own.certificate
    events = certificate.procedures[0].events
    line = [e.line for e in events if e.verb == "RAISE"][-1]
    lines = (*certificate.procedures, *certificate.ways_back)
    stopped = stopped_at(own.job, lines, Stopped(line=line), None)
    answer = own.rescuer.answer(stopped, (goal,))
    recovery = answer.of(goal).recovery
    assert recovery is not None
    name = recovery_id(own.plan.id, recovery)
    sheet = recovery_sheet(
        own.job, own.survey, own.plan, certificate, answer.found, recovery, name, OPEN
    )
    return recovery, recovery_field(own.job, recovery, sheet)


@pytest.mark.parametrize("goal", ["safe", "back"])
def test_a_recovery_on_the_phone_is_judged_as_fitup_done_does(
    opened: Callable[..., Any], small_job: OpenJob, tmp_path: Path, goal: Goal
):
    recovery, facts = way_out(small_job, goal)
    file = tmp_path / "recovery.html"
    file.write_bytes(field_page(facts))
    page = opened(file, width=390, height=844)
    assert facts.check_code in page.text_content("header")
    assert page.text_content("#of") == "Recovery"
    walk(page, facts)
    assert f"GO ON. Recovery {facts.check_code}" in page.text_content("#hold")
    asked = recovery_asked(small_job.job, recovery)
    form = read_form(export(page, tmp_path))
    stage = recovery.stopped.stage
    assert code_of(form, stage) == facts.check_code
    read = form_readings(form, stage, asked)
    assert set(read) == {a.name for a in asked}
    judgement = judge(asked, read, small_job.job, stage)
    assert judgement.verdict == "go on", judgement.reasons

    last = facts.stages[0].steps[-1].entries
    i = next(i for i, entry in enumerate(last) if entry.what == "support")
    other = next(k for k, word in enumerate(last[i].sides) if word != last[i].should)
    page.check(f"#side-{i}-{other}")
    assert page.locator("#verdict strong").text_content() == "STOP"
    read = form_readings(read_form(export(page, tmp_path)), stage, asked)
    assert judge(asked, read, small_job.job, stage).verdict == "stop"
