"""Every message of ``job.toml``, whole."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from fitup.model import Gates, Job, Objectives, Tolerance, Working

Tell = Callable[..., list[str]]
TOP = (
    "name, units, grid, reference_temperature_C, reference_temperature_F, stage, tolerance, "
    "gates, working, staging, objectives, uncertainty, lockoff, learning, exclude, names, waive, "
    "influence, alignment, network, ride, survey"
)
LENGTHS = "value_m, value_mm, value_cm, value_in, value_ft, value_ftUS"
NO_KEY = "found no such key; allowed: a text in quotes; add it"
ABOVE = "allowed: above zero; correct it"
QUANTITIES = (
    "gap, step, offset, kink_grade, kink_plan, twist, level, line, station, lean, tension, "
    "straightedge, slope_change, tilt_along, tilt_across, bore_step, bore_offset, bolt_along, "
    "bolt_across, bolt_up"
)
#: what is replaced, by what, and the whole message after "job.toml"
CASES = [
    ('name = "Small invented joint"\n', "", f", name: {NO_KEY}"),
    ('"Small invented joint"', "5", ", name: found 5; allowed: a text in quotes; add it"),
    ('"Small invented joint"', '" "', ", name: found ' '; allowed: a text in quotes; add it"),
    ('units = "metric"\n', "", f", units: {NO_KEY}"),
    (
        '"metric"',
        '"imperial"',
        ", units: found 'imperial'; allowed: metric or US; choose what is printed",
    ),
    ('grid = "invented site grid"\n', "", f", grid: {NO_KEY}"),
    (
        "name =",
        "zzzzz = 1\nname =",
        f", zzzzz: found an unknown key; allowed: {TOP}; delete it or correct its name",
    ),
    (
        "name =",
        "nme = 1\nname =",
        f", nme: found an unknown key; allowed: {TOP}; did you mean name?",
    ),
    (
        "reference_temperature_C = 15.0\n",
        "",
        ", reference_temperature_C: found no such key; allowed: one of: "
        "reference_temperature_C, reference_temperature_F; add it",
    ),
    (
        "temperature_C = 15.0",
        "temperature = 15.0",
        ", reference_temperature: found no unit; allowed: one of: "
        "reference_temperature_C, reference_temperature_F; add the unit",
    ),
    (
        "temperature_C = 15.0",
        "temperature_C = 15.0\nreference_temperature_F = 59.0",
        ", reference_temperature_F: found the same value in two units; allowed: one unit; "
        "delete one",
    ),
    *(
        (
            "temperature_C = 15.0",
            f"temperature_C = {text}",
            f", reference_temperature_C: found {shown}; allowed: a finite number; correct it",
        )
        for text, shown in (("nan", "nan"), ("true", "True"), ('"15"', "'15'"), ("-inf", "-inf"))
    ),
    (
        "value_mm = 2.0",
        "value = 2.0",
        f", tolerance.step.value: found no unit; allowed: one of: {LENGTHS}; add the unit",
    ),
    (
        "value_mm = 2.0\n",
        "",
        f", tolerance.step.value_m: found no such key; allowed: one of: {LENGTHS}; add it",
    ),
    ("value_mm = 2.0", "value_mm = 0", f", tolerance.step.value_mm: found 0; {ABOVE}"),
    ("value_mm = 2.0", "value_in = -0.1", f", tolerance.step.value_in: found -0.1; {ABOVE}"),
    (
        "value_mm = 2.0",
        "value_mm = 2.0\nweight = -1",
        ", tolerance.step.weight: found -1; allowed: not below zero; correct it",
    ),
    (
        "value_mm = 2.0",
        "value_mm = 2.0\nwieght = 1",
        f", tolerance.step.wieght: found an unknown key; allowed: {LENGTHS}, value, source, "
        "weight, rule, thickness, throat; did you mean weight?",
    ),
    ('source = "invented specification, clause 1"\n', "", f", tolerance.step.source: {NO_KEY}"),
    (
        "[tolerance.step]",
        "[tolerance.stepp]",
        f", tolerance.stepp: found an unknown key; allowed: {QUANTITIES}; did you mean step?",
    ),
    (
        "[[survey]]",
        "[gates]\nhours_apart = 2\n[[survey]]",
        ", gates.hours_apart: found no unit; allowed: one of: hours_apart_h, hours_apart_min; "
        "add the unit",
    ),
    (
        "[[survey]]",
        "[gates]\nhours_apart_h = -2\n[[survey]]",
        ", gates.hours_apart_h: found -2; allowed: at least 0; correct it",
    ),
    (
        "[[survey]]",
        "[working]\njack_reserve = 0.5\n[[survey]]",
        ", working.jack_reserve: found 0.5; allowed: at least 1; correct it",
    ),
    (
        "[[survey]]",
        "[working]\nlift_step_mm = 0\n[[survey]]",
        f", working.lift_step_mm: found 0; {ABOVE}",
    ),
    (
        "[[survey]]",
        "[objectives]\ntime_limit_s = 0\n[[survey]]",
        f", objectives.time_limit_s: found 0; {ABOVE}",
    ),
    (
        "[[survey]]",
        "[objectives]\ntime_limit = 5\n[[survey]]",
        ", objectives.time_limit: found no unit; allowed: one of: time_limit_s; add the unit",
    ),
    (
        "[[survey]]",
        "[objectives]\npatience = 5\n[[survey]]",
        ", objectives.patience: found an unknown key; allowed: worst_ratio_goal, squares_slack, "
        "squares_slack_floor, search_effort, time_limit_s, risk, leave_alone; delete it or correct "
        "its name",
    ),
    (
        "[[survey]]",
        "[objectives]\nrisk = 0\n[[survey]]",
        f", objectives.risk: found 0; {ABOVE}",
    ),
    (
        "[[survey]]",
        "[objectives]\nrisk = 0.5\n[[survey]]",
        ", objectives.risk: found 0.5; allowed: below 0.5; correct it",
    ),
    (
        "[[survey]]",
        "[uncertainty]\nbedding_mm = -1\n[[survey]]",
        ", uncertainty.bedding_mm: found -1; allowed: at least 0; correct it",
    ),
    (
        "[[survey]]",
        "[lockoff]\nsurvey_age = 5\n[[survey]]",
        ", lockoff.survey_age: found no unit; allowed: one of: survey_age_h, survey_age_min; "
        "add the unit",
    ),
    (
        "name =",
        "gates = 3\nname =",
        ", gates: found 3; allowed: a table [gates]; see the template",
    ),
    (
        "[[survey]]",
        '[exclude]\nB-T1 = ""\n[[survey]]',
        ", exclude.B-T1: found ''; allowed: the reason and who decided; write it down",
    ),
    (
        "[[survey]]",
        '[exclude]\nB-T9 = "trodden on, engineer"\n[[survey]]',
        ", exclude.B-T9: found 'B-T9'; allowed: an id of points.csv or readings.csv; "
        "correct it; a name that is not there excludes nothing",
    ),
    *(
        (
            "u_mm = 0.5",
            f"u_mm = 0.5\nwidths = {widths}",
            f", survey 1.widths: found {widths}; allowed: the characters of each column, such as "
            "[8, 12, 12, 9]; count them in the list",
        )
        for widths in ("8", "[]", "[8, 0]", "[8, 12.5]", "[8, '9']")
    ),
    (
        "[[survey]]",
        '[names]\n101 = "B-T9"\n[[survey]]',
        ", names.101: found 'B-T9'; allowed: an id of points.csv or control.csv; correct it",
    ),
    (
        "[[survey]]",
        '[names]\nB-T1 = "A-T1"\n[[survey]]',
        ", names.B-T1: found 'B-T1', itself the id of a point; allowed: a name that no point has; "
        "take it out: a point goes by its own id",
    ),
    (
        "[[survey]]",
        "[names]\n101 = 7\n[[survey]]",
        ", names.101: found 7; allowed: an id; write it down",
    ),
    ("[[survey]]", "[survey]", ", survey: found not a list of tables; allowed: [[survey]]; "
     "use double brackets"),
    ('file = "survey.csv"\n', "", f", survey 1.file: {NO_KEY}"),
    *(
        (
            old,
            new,
            f", survey 1.taken: found {shown}; allowed: a date and time such as "
            "2031-04-02T04:10:00; write it down",
        )
        for old, new, shown in (
            ("taken = 2031-04-02T04:10:00\n", "", "no such key"),
            ("2031-04-02T04:10:00", '"yesterday"', "'yesterday'"),
        )
    ),
    (
        "steel_temperature_C = 15.0\n",
        "",
        ", survey 1.steel_temperature_C: found no such key; allowed: one of: "
        "steel_temperature_C, steel_temperature_F; add it",
    ),
    (
        "deck_load_kN = 0.0",
        "deck_load = 0.0",
        ", survey 1.deck_load: found no unit; allowed: one of: deck_load_N, deck_load_kN, "
        "deck_load_MN, deck_load_lbf, deck_load_kip; add the unit",
    ),
    (
        "u_mm = 0.5",
        "u_mm = -0.5",
        ", survey 1.u_mm: found -0.5; allowed: above zero; give the standard uncertainty",
    ),
    (
        "u_mm = 0.5",
        "u = 0.5",
        ", survey 1.u: found no unit; allowed: one of: u_m, u_mm, u_cm, u_in, u_ft, u_ftUS; "
        "add the unit",
    ),
    (
        "u_mm = 0.5",
        'unit = "yd"',
        ", survey 1.unit: found 'yd'; allowed: m, mm, cm, in, ft, ftUS; name the unit of the list",
    ),
    (
        "u_mm = 0.5",
        'order = "id"',
        ', survey 1.order: found \'id\'; allowed: a list such as ["id", "N", "E", "H"]; correct it',
    ),
    (
        "u_mm = 0.5",
        'decimal = ";"',
        ', survey 1.decimal: found \';\'; allowed: "." or ","; correct it',
    ),
    (
        'units = "metric"',
        "units = metric",
        ": found broken TOML (Invalid value (at line 2, column 9)); allowed: TOML 1.0; "
        "correct the line",
    ),
    (
        '"survey.csv"',
        '"none.csv"',
        ", survey 1.file: found 'none.csv', which is not there; allowed: a file in the job "
        "folder; add it",
    ),
    *(
        (
            '"survey.csv"',
            f'"{name}"',
            f", survey 1.file: found '{name}'; allowed: a file inside the job folder; copy it in",
        )
        for name in ("../survey.csv", "/survey.csv", "night/../../survey.csv")
    ),
    (
        "[[survey]]",
        '[influence]\ntable = "none.csv"\n[[survey]]',
        ", influence.table: found 'none.csv', which is not there; allowed: a file in the job "
        "folder; add it",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "message"), CASES)
def test_message(problems_of: Tell, old: str, new: str, message: str) -> None:
    assert problems_of(job=(old, new)) == [f"job.toml{message}"]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (None, "found no such file; allowed: a text file; create it or correct its name"),
        (
            b"name = \x00",
            "found binary data; allowed: plain text; export it as CSV, not as a workbook",
        ),
    ],
)
def test_no_settings_at_all(problems_of: Tell, content: bytes | None, message: str) -> None:
    assert problems_of(job=content) == [f"job.toml: {message}"]


def test_no_tolerances_and_no_survey(problems_of: Tell, small_files: dict[str, str]) -> None:
    top = small_files["job.toml"].split("[tolerance.step]")[0]
    assert problems_of(job=top) == [
        "job.toml, tolerance: found no tolerances; allowed: at least [tolerance.step] or "
        "[tolerance.gap]; add them",
        "job.toml, survey: found no survey; allowed: [[survey]] with file, taken, ...; add one",
    ]


def test_tolerance_that_is_no_table(problems_of: Tell, small_files: dict[str, str]) -> None:
    top, rest = small_files["job.toml"].split("[tolerance.step]")
    survey = rest[rest.index("[[survey]]") :]
    assert problems_of(job=f"{top}[tolerance]\nstep = 2\n{survey}") == [
        "job.toml, tolerance.step: found 2; allowed: a table with value and source; "
        "see the template"
    ]


def test_misspelt_influence_table(problems_of: Tell) -> None:
    stated = problems_of(job=("[[survey]]", '[influence]\ntabel = "x.csv"\n[[survey]]'))
    assert stated == [
        "job.toml, influence.tabel: found an unknown key; allowed: table, model; "
        "did you mean table?",
    ]


def test_values_in_si(job_of: Callable[..., Job]) -> None:
    extra = """
[tolerance.gap]
value_in = 0.125
source = "clause 9"
weight = 2
[gates]
hours_apart_min = 90
temperature_apart_F = 9
deviation_most_ft = 1
[working]
insertion_mm = 7
jack_reserve = 2
[objectives]
squares_slack = 0
time_limit_s = 3
[exclude]
B-T1 = "trodden on, engineer"
[[survey]]"""
    job = job_of(job=[("reference_temperature_C = 15.0", "reference_temperature_F = 59.0"),
                      ("\n[[survey]]", extra)])  # fmt: skip
    assert job.reference_temperature == pytest.approx(288.15, abs=1e-9)
    assert job.tolerances["gap"] == Tolerance(0.125 * 0.0254, "clause 9", 2.0)
    assert job.gates.hours_apart == 5400.0
    assert job.gates.temperature_apart == pytest.approx(5.0, rel=1e-12)
    assert job.gates.deviation_most == pytest.approx(0.3048, rel=1e-12)
    assert job.gates.temperature_off == Gates().temperature_off
    assert job.working == Working(insertion=0.007, jack_reserve=2.0)
    assert job.objectives == Objectives(squares_slack=0.0, time_limit=3.0)
    assert dict(job.excluded) == {"B-T1": "trodden on, engineer"}
    (epoch,) = job.epochs
    assert (epoch.file, epoch.taken) == ("survey.csv", "2031-04-02T04:10")
    assert (epoch.temperature, epoch.deck_load) == (288.15, 0.0)
    assert epoch.uncertainty == pytest.approx(0.0005, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            'model = "shell"',
            "job.toml, influence.model: found 'shell'; allowed: rigid, table or frame; correct it",
        ),
        (
            'model = "table"',
            "job.toml, influence.table: found no such key; allowed: a file in the job folder; "
            "name it",
        ),
    ],
)
def test_influence_of_another_kind(problems_of: Tell, text: str, expected: str) -> None:
    assert problems_of(job=("[[survey]]", f"[influence]\n{text}\n[[survey]]")) == [expected]


OBJECTIVES = "[objectives]\nsearch_effort = 7\n"


def test_a_table_under_its_old_name_is_read_with_a_note(
    job_of: Callable[..., Job], small_files: dict[str, str]
) -> None:
    toml = small_files["job.toml"] + "\n" + OBJECTIVES.replace("objectives", "wishes")
    with pytest.warns(FutureWarning, match=r"job.toml: \[wishes\] is called \[objectives\] now"):
        job = job_of(job=toml)
    assert job.objectives.search_effort == 7.0


def test_a_table_under_both_names_is_refused(
    problems_of: Tell, small_files: dict[str, str]
) -> None:
    toml = small_files["job.toml"] + "\n" + OBJECTIVES + OBJECTIVES.replace("objectives", "wishes")
    assert problems_of(job=toml) == [
        "job.toml, wishes: found [wishes] beside [objectives]; allowed: [objectives]; "
        "delete [wishes]"
    ]
