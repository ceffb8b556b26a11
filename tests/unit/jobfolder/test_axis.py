"""A job with an alignment: points by station, directions and grades left to the axis."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from fitup.errors import InputError
from fitup.frames import joint_axes
from fitup.jobfolder import read_job

#: east along N = 0 from station 1+000 at E = -50, rising 1 %
AXIS = """<LandXML version="1.2"><Units><Metric linearUnit="meter"/></Units><Alignments>
<Alignment name="axis" staStart="1000"><CoordGeom><Line><Start>0 -50</Start><End>0 150</End></Line>
</CoordGeom><Profile><ProfAlign><PVI>1000 9</PVI><PVI>1200 11</PVI></ProfAlign></Profile>
</Alignment></Alignments></LandXML>"""
NAMED = "[[survey]]\nfile", '[alignment]\nfile = "axis.xml"\n\n[[survey]]\nfile'
POINTS = """\
id,segment,E_m,N_m,station,offset_m,side,H_m
A-L,A,20,4,,,,10
A-R,A,,,1+070.000,4,right,10
A-T1,A,1,4,,,,10
A-T2,A,,,1+051.000,4,right,10
B-L,B,20.01,4,,,,10
B-R,B,20.01,-4,,,,10
B-T1,B,,,1+089.000,4,left,10
B-T2,B,39,-4,,,,10
"""
Write = Callable[..., Path]


@pytest.fixture
def write(small_job_writer: Write, tmp_path: Path) -> Write:
    def make(axis: str | None = AXIS, **changes: object) -> Path:
        if axis is not None:
            (tmp_path / "axis.xml").write_text(axis, encoding="utf-8")
            changes.setdefault("job", NAMED)
        return small_job_writer(tmp_path, **changes)

    return make


def test_points_by_station_are_those_by_grid(write: Write, small_case):
    job = read_job(write(points=POINTS))
    for name, point in small_case[0].points.items():
        assert job.points[name].design == pytest.approx(point.design, abs=1e-9), name
    assert job.alignment is not None and job.alignment.name == "axis"


def test_directions_and_grade_come_from_the_axis(write: Write):
    folder = write(
        segments=[("A,90,", "A,,"), ("B,90,", "B,,")], joints=("J1,A,B,90,0,0", "J1,A,B,,,0")
    )
    job = read_job(folder)
    assert [s.azimuth for s in job.segments.values()] == pytest.approx([np.pi / 2] * 2)
    assert job.joints["J1"].axes_in_grid == pytest.approx(joint_axes(np.pi / 2, 0.01, 0.0))


def test_crossfall_of_the_job(write: Write):
    rows = "1+000.000,both,2,right\n1+200.000,both,4,right\n"
    job = read_job(write(crossfall="station,side,slope_pct,falls_to\n" + rows))
    assert job.alignment is not None and job.alignment.crossfall is not None
    assert job.alignment.crossfall.at(1100.0) == pytest.approx(0.03)


def section(station: int, right: float) -> str:
    points = f"<CrossSectPnt>-10 10.2</CrossSectPnt><CrossSectPnt>0 10</CrossSectPnt>\
<CrossSectPnt>10 {right}</CrossSectPnt>"
    return f'<CrossSect sta="{station}"><DesignCrossSectSurf name="deck">{points}\
</DesignCrossSectSurf></CrossSect>'


def with_sections(right: float) -> str:
    inside = f"<CrossSects>{section(1000, right)}{section(1200, right)}</CrossSects>"
    return AXIS.replace("<Profile>", inside + "<Profile>")


EMPTY = ("falls_to\nJ1,A,B,90,0,0,level", "falls_to\nJ1,A,B,90,0,,")


def test_a_joint_takes_the_crossfall_of_the_file(write: Write):
    """2 % falling to the right: from the sections, or from the table that says the same."""
    job = read_job(write(with_sections(9.8), joints=EMPTY))
    assert job.joints["J1"].axes_in_grid == pytest.approx(joint_axes(np.pi / 2, 0.0, 0.02))
    table = "station,side,slope_pct,falls_to\n1+000,both,2.03,right\n1+200,both,2.03,right\n"
    job = read_job(write(with_sections(9.8), joints=EMPTY, crossfall=table))
    assert job.joints["J1"].axes_in_grid == pytest.approx(joint_axes(np.pi / 2, 0.0, 0.0203))
    assert job.alignment is not None and job.alignment.crossfall is not None
    assert job.alignment.crossfall.source == "crossfall.csv"


def test_the_alignment_is_part_of_the_plan_number(write: Write):
    before = read_job(write()).digest
    assert read_job(write(AXIS.replace("9</PVI>", "9.5</PVI>"))).digest != before


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            {"points": POINTS.replace("1+070.000", "10+70.00")},
            "points.csv, row 3, station: found '10+70.00'; allowed: a station in metres with 3 "
            "digits after the plus, such as 12+345.678; correct it",
        ),
        (
            {"points": POINTS.replace("4,right,10\nA-T1", "4,axis,10\nA-T1")},
            "points.csv, row 3, offset_m: found an offset with side 'axis'; allowed: left or right "
            "with an offset above zero, axis with 0; give both",
        ),
        (
            {"points": POINTS.replace("A-R,A,,,", "A-R,A,20,-4,")},
            "points.csv, row 3, E_m: found E, N and a station; allowed: E and N, or station, "
            "offset and side; give one of the two",
        ),
        (
            {"points": POINTS.replace("B-R,B,20.01,-4", "B-R,B,20.01,")},
            "points.csv, row 7, E_m: found E or N missing; allowed: E and N, or station, offset "
            "and side; give one of the two",
        ),
        (
            {"segments": ("A,90,1800,10,", "A,,1800,-60,")},
            "segments.csv, row 2, azimuth_deg: found an empty cell, and 'A' lies beside no part of "
            "the alignment; allowed: a place along it; check its coordinates, or fill the cell in",
        ),
        (
            {"axis": AXIS.replace("1200 11", "1060 9.6"), "joints": ("B,90,0,0", "B,90,,0")},
            "joints.csv, row 2, grade_pct: found an empty cell, and no profile there; allowed: a "
            "grade; fill it in",
        ),
        (
            {"axis": None, "points": POINTS.replace("1+0", "1+0")},
            "points.csv, row 3, station: found '1+070.000', but the job has no alignment; allowed: "
            "E and N, or an alignment in job.toml [alignment]; name its file there",
        ),
        (
            {"axis": None, "segments": ("A,90,", "A,,")},
            "segments.csv, row 2, azimuth_deg: found an empty cell; allowed: a number; fill it in, "
            "or name an alignment in job.toml [alignment]",
        ),
        (
            {"axis": None, "crossfall": "station,side,slope_pct,falls_to\n1+000,both,2,right\n"},
            "crossfall.csv: found a crossfall without an alignment; allowed: an alignment in "
            "job.toml [alignment]; name its file there, or delete the table",
        ),
        (
            {"crossfall": "station,side,slope_pct,falls_to\n1+000,both,2,level\n"},
            "crossfall.csv, row 2, falls_to: found 'level' with a slope; allowed: level with 0, "
            "else left or right; correct one of them",
        ),
        (
            {"crossfall": "station,side,slope_pct,falls_to\n1+000,both,2,left\n"},
            "crossfall.csv: found 1 stations of the left side; it needs two or more; allowed: two "
            "or more stations a side, from the same first to the same last; correct the rows",
        ),
        (
            {
                "axis": with_sections(9.8),
                "crossfall": "station,side,slope_pct,falls_to\n1+000,both,2,right\n"
                "1+100,both,2.1,left\n",
            },
            "crossfall.csv: found 2.10 % falling LEFT on the left at station 1+100.000, but "
            "axis.xml says 2.00 % falling RIGHT there (cross-sections, surface 'deck'); allowed: "
            "one crossfall; ask the design office which is right; correct the table, or delete it",
        ),
        (
            {"joints": EMPTY},
            "joints.csv, row 2, crossfall_pct: found an empty cell, and no crossfall told there; "
            "allowed: a crossfall; fill it in",
        ),
        (
            {"axis": with_sections(10.2), "joints": EMPTY},
            "joints.csv, row 2, crossfall_pct: found an empty cell, and a crown there (2.00 % "
            "falling RIGHT on the left, 2.00 % falling LEFT on the right); allowed: a crossfall; "
            "fill it in",
        ),
        (
            {"joints": ("90,0,0,level", "90,0,,level")},
            "joints.csv, row 2, crossfall_pct: found an empty cell; allowed: a number; give the "
            "slope across, or leave falls_to empty too",
        ),
        (
            {"axis": None, "joints": EMPTY},
            "joints.csv, row 2, crossfall_pct: found an empty cell; allowed: a number; fill it in, "
            "or name an alignment in job.toml [alignment]",
        ),
        (
            {"job": (NAMED[0], NAMED[1].replace("axis.xml", "other.xml"))},
            "job.toml, alignment.file: found 'other.xml', which is not there; allowed: a file in "
            "the job folder; add it",
        ),
        (
            {
                "axis": '<LandXML version="1.2"><Units><Metric linearUnit="meter"/></Units>'
                '<CgPoints><CgPoint name="P">1 2</CgPoint></CgPoints></LandXML>'
            },
            "job.toml: found 'axis.xml' without an alignment; allowed: a file with one; export it",
        ),
    ],
)
def test_message(write: Write, changes: dict[str, object], message: str):
    with pytest.raises(InputError) as refused:
        read_job(write(**changes))
    assert message in [str(p) for p in refused.value.problems]


def test_a_broken_axis_is_told_once(write: Write):
    """Stations and directions left to it are not complained of: they only follow."""
    axis = AXIS.replace('staStart="', 'staStart="x')
    assert axis != AXIS
    segments, joints = [("A,90,", "A,,")], ("90,0,0,level", "90,0,,")
    with pytest.raises(InputError) as refused:
        read_job(write(axis=axis, points=POINTS, segments=segments, joints=joints))
    found = axis.split('staStart="')[1].split('"')[0]
    assert [str(p) for p in refused.value.problems] == [
        f"axis.xml, alignment 'axis': found staStart='{found}'; allowed: a number; correct it in "
        "the design program"
    ]


def test_a_missing_axis_is_told_once(write: Write):
    job = (NAMED[0], NAMED[1].replace("axis.xml", "other.xml"))
    with pytest.raises(InputError) as refused:
        read_job(write(job=job, points=POINTS))
    assert [str(p) for p in refused.value.problems] == [
        "job.toml, alignment.file: found 'other.xml', which is not there; allowed: a file in the "
        "job folder; add it"
    ]
