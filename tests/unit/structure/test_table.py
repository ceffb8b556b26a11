"""The engineer's influence table: round trip against the rigid one, and every message, whole."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.checks import checks_of
from fitup.errors import InputError
from fitup.model import LENGTHS, Influence, Job
from fitup.structure import influence_from_table, influence_of, rigid_influence
from fitup.survey import Survey

#: unit of a row -> what one of it is in SI
METRIC = {"length": ("mm_per_mm", 1.0), "slope": ("mm_per_m_per_mm", 1.0),
          "reaction": ("kN_per_mm", 1e6)}  # fmt: skip
SI = {"length": ("m_per_m", 1.0), "slope": ("rad_per_m", 1.0), "reaction": ("N_per_m", 1.0)}
US = {
    "length": ("in_per_in", 1.0),
    "slope": ("rad_per_in", 1.0 / 0.0254),
    "reaction": ("kip_per_in", 4448.2216152605 / 0.0254),
}


@pytest.fixture(scope="module")
def known(small_case: tuple[Job, Survey]) -> tuple[Job, Survey, Influence]:
    """The small job with a present reaction at every seat, and its rigid influence."""
    job, survey = small_case
    effect = rigid_influence(job, survey)
    seats = {
        name: replace(seat, reaction_now=float(effect.r0[i]))
        for i, (name, seat) in enumerate(job.seats.items())
    }
    return replace(job, seats=seats), survey, effect


def written(job: Job, effect: Influence, units: dict[str, tuple[str, float]]) -> str:
    """The influence as a table, with seats and rows in another order than the job's."""
    kinds = {c.id: "length" if c.quantity in LENGTHS else "slope" for c in checks_of(job)}
    kinds |= {f"reaction/{s}": "reaction" for s in effect.seats}
    rows = [*zip(effect.checks, effect.A, strict=True)]
    rows += [(f"reaction/{s}", r) for s, r in zip(effect.seats, effect.R, strict=True)]
    lines = ["# exported from the invented analysis", "row,unit," + ",".join(effect.seats[::-1])]
    for name, row in rows[::-1]:
        unit, factor = units[kinds[name]]
        lines.append(f"{name},{unit}," + ",".join(repr(float(v) / factor) for v in row[::-1]))
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("units", [METRIC, SI, US], ids=["metric", "SI", "US"])
def test_round_trip(
    known: tuple[Job, Survey, Influence], tmp_path: Path, units: dict[str, tuple[str, float]]
) -> None:
    plain, survey, _ = known
    # a fourth seat each, or no move would change a reaction
    seats = dict(plain.seats)
    for name in ("A", "B"):
        place = plain.segments[name].centre + np.array([0.0, 4.0, -1.0])
        seats[f"{name}-S4"] = replace(
            seats[f"{name}-S1"], id=f"{name}-S4", position=place, reaction_now=None
        )
    bare = {n: replace(s, reaction_now=None) for n, s in seats.items()}
    effect = rigid_influence(replace(plain, seats=bare), survey)
    assert np.abs(effect.R).max() > 1e7
    now = dict(zip(effect.seats, effect.r0.tolist(), strict=True))
    job = replace(plain, seats={n: replace(s, reaction_now=now[n]) for n, s in bare.items()})
    (tmp_path / "effect.csv").write_text(written(job, effect, units))
    read = influence_of(
        replace(job, influence_table="effect.csv", influence_by="table"), survey, tmp_path
    )
    assert (read.checks, read.seats, read.origin) == (effect.checks, effect.seats, "table")
    assert pytest.approx(effect.A, rel=1e-9, abs=1e-12) == read.A
    # reactions are of the order of 1e8 N/m
    assert pytest.approx(effect.R, rel=1e-9, abs=1e-1) == read.R
    assert read.r0 == pytest.approx(effect.r0, rel=1e-9)


def test_without_a_table_segments_are_rigid(
    known: tuple[Job, Survey, Influence], tmp_path: Path
) -> None:
    job, survey, effect = known
    assert influence_of(job, survey, tmp_path).origin == "rigid"
    assert pytest.approx(effect.A, abs=0.0) == influence_of(job, survey, tmp_path).A


@pytest.fixture
def stated(
    known: tuple[Job, Survey, Influence], tmp_path: Path
) -> Callable[[Callable[[str], str]], list[str]]:
    """Problems of the table after its text was changed."""
    job, _, effect = known

    def tell(change: Callable[[str], str], job: Job = job) -> list[str]:
        path = tmp_path / "effect.csv"
        path.write_text(change(written(job, effect, METRIC)))
        with pytest.raises(InputError) as caught:
            influence_from_table(path, "effect.csv", job)
        return [str(problem) for problem in caught.value.problems]

    return tell


Tell = Callable[..., list[str]]
CASES = [
    (
        "reaction/B-S3,kN_per_mm",
        "reaction/B-S9,kN_per_mm",
        "effect.csv, row 3, row: found 'reaction/B-S9'; allowed: a check as 'fitup joints' names "
        "it, or reaction/SEAT; correct it or delete the row",
        "reaction/B-S3",
    ),
    (
        "J1/twist,mm_per_m_per_mm",
        "J1/twist,mm_per_mm",
        "effect.csv, row 21, unit: found 'mm_per_mm'; allowed: one of: mm_per_m_per_mm, "
        "rad_per_m, rad_per_in; name the unit of the row",
        "J1/twist",
    ),
    (
        "J1/P1/step,mm_per_mm",
        "J1/P1/step,",
        "effect.csv, row 28, unit: found ''; allowed: one of: mm_per_mm, in_per_in, m_per_m; name "
        "the unit of the row",
        "J1/P1/step",
    ),
    (
        "reaction/A-S1,kN_per_mm",
        "reaction/A-S1,kN",
        "effect.csv, row 8, unit: found 'kN'; allowed: one of: kN_per_mm, kip_per_in, N_per_m; "
        "name the unit of the row",
        "reaction/A-S1",
    ),
]


@pytest.mark.parametrize(("old", "new", "message", "row"), CASES)
def test_row_that_does_not_fit_leaves_a_gap(
    stated: Tell, old: str, new: str, message: str, row: str
) -> None:
    assert stated(lambda text: text.replace(old, new)) == [
        message,
        f"effect.csv, row: found no row '{row}'; allowed: a row for each; export it too",
    ]


def test_row_twice(stated: Tell) -> None:
    def twice(text: str) -> str:
        return text + next(ln for ln in text.splitlines() if ln.startswith("J1/twist")) + "\n"

    assert stated(twice) == [
        "effect.csv, row 30, row: found 'J1/twist' again; allowed: each row once; delete one"
    ]


@pytest.mark.parametrize("odd", ["NaN", "", "1_0", "inf", "big"])
def test_cell_that_is_no_number(stated: Tell, odd: str) -> None:
    def spoil(text: str) -> str:
        lines = text.splitlines()
        cells = lines[20].split(",")
        assert cells[0] == "J1/twist"
        lines[20] = ",".join([*cells[:-1], odd])
        return "\n".join(lines)

    assert stated(spoil) == [
        f"effect.csv, row 21, A-S1: found '{odd}'; allowed: a number of mm_per_m_per_mm; correct it"
    ]


def test_cut_off_row(stated: Tell) -> None:
    assert stated(lambda text: text.rstrip("\n").rsplit(",", 2)[0]) == [
        "effect.csv, row 29: found 6 cells; allowed: 8 cells as in the header; a comma too many or "
        "too few, or a cut-off file",
        "effect.csv, row: found no row 'J1/P1/gap'; allowed: a row for each; export it too",
    ]


def test_header(stated: Tell) -> None:
    renamed = stated(lambda text: text.replace(",B-S3,", ",B-S9,", 1))
    assert renamed == [
        "effect.csv, row 1, B-S3: found no such column; allowed: one column for each seat; add it",
        "effect.csv, row 1, B-S9: found unknown column 'B-S9'; allowed: ids of seats.csv; delete "
        "it or add the seat",
    ]
    doubled = stated(lambda text: text.replace(",B-S3,", ",B-S2,", 1))
    assert doubled == [
        "effect.csv, row 1, B-S2: found the column twice; allowed: one column for each seat; "
        "add it",
        "effect.csv, row 1, B-S3: found no such column; allowed: one column for each seat; add it",
    ]
    nameless = stated(lambda text: text.replace("row,unit,", "check,units,"))
    assert nameless == [
        "effect.csv, row 1: found check, units; allowed: row, unit, then one column for each seat; "
        "name the columns so"
    ]


def test_broken_and_missing_files(
    stated: Tell, tmp_path: Path, small_case: tuple[Job, Survey]
) -> None:
    assert stated(lambda text: text.replace("J1/twist", '"J1/twist')) == [
        "effect.csv: found broken CSV (unexpected end of data); allowed: one record a line; "
        "export it again"
    ]
    with pytest.raises(InputError) as caught:
        influence_from_table(tmp_path / "none.csv", "none.csv", small_case[0])
    assert str(caught.value) == (
        "none.csv: found no such file; allowed: a text file; create it or correct its name"
    )


def test_only_a_remark(stated: Tell) -> None:
    assert stated(lambda text: "# nothing yet\n"), "refused without a word"


def test_every_seat_needs_its_present_reaction(
    stated: Tell, small_case: tuple[Job, Survey]
) -> None:
    bare = replace(
        small_case[0],
        seats={
            n: replace(s, reaction_now=None if n in ("A-S1", "B-S3") else 6e5)
            for n, s in small_case[0].seats.items()
        },
    )
    assert stated(lambda text: text, bare) == [
        f"seats.csv, reaction_now: found seat {seat} without reaction_now; allowed: a present "
        "reaction at every seat when an influence table is used; fill it in from the analysis or "
        "from gauges"
        for seat in ("A-S1", "B-S3")
    ]


def test_several_problems_at_once(stated: Tell) -> None:
    def spoil(text: str) -> str:
        text = text.replace("J1/twist,mm_per_m_per_mm", "J1/twist,mm_per_mm")
        return text.replace("level/A-R,", "level/A-X,")

    messages = stated(spoil)
    assert len(messages) == 4
    assert np.all([m.startswith("effect.csv, row") for m in messages])


@pytest.fixture(scope="module")
def stiff(known: tuple[Job, Survey, Influence]) -> tuple[Job, Influence]:
    """The small job on four seats a segment, one too many: reactions answer to moves."""
    plain, survey, _ = known
    seats = dict(plain.seats)
    for name in ("A", "B"):
        place = plain.segments[name].centre + np.array([-7.0, 6.0, -1.0])
        seats[f"{name}-S4"] = replace(
            seats[f"{name}-S1"], id=f"{name}-S4", position=place, reaction_now=None
        )
    bare = {n: replace(s, reaction_now=None) for n, s in seats.items()}
    effect = rigid_influence(replace(plain, seats=bare), survey)
    now = dict(zip(effect.seats, effect.r0.tolist(), strict=True))
    job = replace(plain, seats={n: replace(s, reaction_now=now[n]) for n, s in bare.items()})
    return job, effect


def said(tmp_path: Path, job: Job, effect: Influence) -> list[str]:
    """What is held against a table."""
    (tmp_path / "effect.csv").write_text(written(job, effect, METRIC))
    try:
        influence_from_table(tmp_path / "effect.csv", "effect.csv", job)
    except InputError as error:
        return [str(problem) for problem in error.problems]
    return []


def lifting(job: Job, effect: Influence) -> list[int]:
    return [i for i, s in enumerate(effect.seats) if job.seats[s].lifts]


def test_an_honest_table_is_believed(
    stiff: tuple[Job, Influence], known: tuple[Job, Survey, Influence], tmp_path: Path
) -> None:
    assert said(tmp_path, *stiff) == []
    assert said(tmp_path, known[0], known[2]) == []
    # printed with three digits
    job, effect = stiff
    rough = replace(effect, A=np.array([[float(f"{v:.3g}") for v in r] for r in effect.A]),
                    R=np.array([[float(f"{v:.3g}") for v in r] for r in effect.R]))  # fmt: skip
    assert said(tmp_path, job, rough) == []


@pytest.mark.parametrize("reactions", [True, False])
def test_every_vertical_column_negated_is_named(
    stiff: tuple[Job, Influence], tmp_path: Path, reactions: bool
) -> None:
    job, effect = stiff
    A, R = effect.A.copy(), effect.R.copy()
    A[:, lifting(job, effect)] *= -1.0
    if reactions:
        R[:, lifting(job, effect)] *= -1.0
    (problem,) = said(tmp_path, job, replace(effect, A=A, R=R))
    if reactions:
        assert problem.startswith("effect.csv: found a seat that is raised loses load: ")
        # each that answers the wrong way is named, but for one that hardly answers
        hardly = 0.02 * np.abs(R).max()
        falls = [s for s, r in zip(effect.seats, np.diag(R), strict=True) if r < -hardly]
        assert 0 < len(falls) < len(effect.seats)
        assert f"loses load: {', '.join(falls)}; allowed" in problem
    else:
        assert problem == (
            "effect.csv: found checks go down where all seats of a segment are raised together; "
            "allowed: a point that rises with its segment; turn the sign of every column of a "
            "seat that pushes up"
        )


@pytest.mark.parametrize("names", [("A-S1", "A-S2"), ("B-S1", "B-S3"), ("A-S2", "B-S2")])
@pytest.mark.parametrize("four", [True, False])
def test_two_exchanged_columns_are_named(
    stiff: tuple[Job, Influence],
    known: tuple[Job, Survey, Influence],
    tmp_path: Path,
    names: tuple[str, str],
    four: bool,
) -> None:
    job, effect = stiff if four else (known[0], known[2])
    i, j = (effect.seats.index(n) for n in names)
    A, R = effect.A.copy(), effect.R.copy()
    A[:, [i, j]], R[:, [i, j]] = A[:, [j, i]], R[:, [j, i]]
    (problem,) = said(tmp_path, job, replace(effect, A=A, R=R))
    a, b = (effect.seats[k] for k in sorted((i, j)))
    assert f"with the columns {a} and {b} exchanged" in problem


def test_a_row_against_its_neighbours_is_named(
    stiff: tuple[Job, Influence], tmp_path: Path
) -> None:
    job, effect = stiff
    for name in ("J1/P2/step", "J1/kink_grade"):
        A = effect.A.copy()
        A[effect.checks.index(name)] *= -1.0
        (problem,) = said(tmp_path, job, replace(effect, A=A))
        assert problem.startswith(f"effect.csv: found '{name}' changes by ")
        assert problem.endswith("by geometry; turn its sign")


def test_a_reaction_that_answers_one_way_only_is_named(
    stiff: tuple[Job, Influence], tmp_path: Path
) -> None:
    job, effect = stiff
    R = effect.R.copy()
    R[effect.seats.index("A-S1"), effect.seats.index("A-S2")] *= 0.5
    (problem,) = said(tmp_path, job, replace(effect, R=R))
    assert "allowed: the same both ways (Maxwell-Betti)" in problem
