"""Reading IFC: units, places, stations, and every fault named in one line."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.alignment import AxisPlace, DesignFile, ifc, read_design
from fitup.errors import InputError

ROOT = Path(__file__).parents[3]
AXIS = ROOT / "examples" / "skerrin-axis" / "axis.ifc"
TEXT = AXIS.read_text("utf-8")
Read = Callable[..., DesignFile]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def call(*changes: tuple[str, str], name: str | None = None) -> DesignFile:
        text = TEXT
        for old, new in changes:
            assert old in text, old
            text = text.replace(old, new)
        (tmp_path / "axis.ifc").write_text(text, encoding="utf-8")
        return read_design(tmp_path / "axis.ifc", name=name)

    return call


def test_the_same_axis_from_both_files():
    """0.01 mm; the LandXML file carries six decimals."""
    one, other = read_design(AXIS).alignment, read_design(AXIS.with_suffix(".xml")).alignment
    assert one is not None and other is not None
    assert (one.name, one.unit, one.start, one.notes) == (other.name, "m", 0.0, ())
    assert one.end == pytest.approx(other.end, abs=1e-5)
    for station in range(0, 641, 16):
        for left in (0.0, 11.5, -11.5):
            place = one.from_grid(*other.to_grid(AxisPlace(station, left)))
            assert place is not None
            assert (place.station, place.left) == pytest.approx((station, left), abs=1e-5)
        assert one.level(station) == pytest.approx(other.level(station), abs=1e-5)
        assert one.grade(station) == pytest.approx(other.grade(station), abs=1e-7)
        turned = one.azimuth(station) - other.azimuth(station)
        assert math.remainder(turned, math.tau) == pytest.approx(0.0, abs=1e-7)


def test_feet_and_degrees(read: Read):
    foot = (
        "#2=IFCSIUNIT(*,.LENGTHUNIT.,$,.METRE.);",
        "#2=IFCCONVERSIONBASEDUNIT(#902,.LENGTHUNIT.,'US survey foot',#901);\n"
        "#900=IFCSIUNIT(*,.LENGTHUNIT.,$,.METRE.);\n"
        "#901=IFCMEASUREWITHUNIT(IFCRATIOMEASURE(0.304800609601219),#900);\n"
        "#902=IFCDIMENSIONALEXPONENTS(1,0,0,0,0,0,0);",
    )
    degree = (
        "#3=IFCSIUNIT(*,.PLANEANGLEUNIT.,$,.RADIAN.);",
        "#3=IFCCONVERSIONBASEDUNIT(#904,.PLANEANGLEUNIT.,'degree',#903);\n"
        "#903=IFCMEASUREWITHUNIT(IFCPLANEANGLEMEASURE(0.0174532925199433),#905);\n"
        "#904=IFCDIMENSIONALEXPONENTS(0,0,0,0,0,0,0);\n"
        "#905=IFCSIUNIT(*,.PLANEANGLEUNIT.,$,.RADIAN.);",
    )
    metres = read_design(AXIS).alignment
    axis = read(foot).alignment
    assert metres is not None and axis is not None
    assert axis.unit == "ftUS"
    assert axis.end == pytest.approx(640.0 * 1200.0 / 3937.0, abs=1e-9)
    assert axis.curves[0].east == pytest.approx(metres.curves[0].east * 1200 / 3937, abs=1e-6)
    # angles of radians read as degrees tear the axis apart
    with pytest.raises(InputError) as refused:
        read(degree)
    assert "segment 2 (CLOTHOID): found begins 142669.05 mm from where" in str(refused.value)
    stated = re.findall(r"(?<=#\d\d,)0\.\d{12}(?=,)", TEXT)
    assert len(stated) == 5
    axis = read(
        degree, *((t, f"{math.degrees(float(t)):.10f}") for t in dict.fromkeys(stated))
    ).alignment
    assert axis is not None
    assert axis.curves[3].end == pytest.approx(metres.curves[3].end, abs=1e-8)


def test_placements_and_map_are_turned_and_shifted(read: Read):
    """A placement turned by a quarter to the left, then a map turned by atan(3/4) to the left."""
    plain = read_design(AXIS).alignment
    axis = read(
        ("#10=IFCLOCALPLACEMENT($,#7)", "#10=IFCLOCALPLACEMENT($,#907)"),
        (
            "#8=",
            "#905=IFCCARTESIANPOINT((10.,20.,3.));\n#906=IFCDIRECTION((0.,1.,0.));\n"
            "#907=IFCAXIS2PLACEMENT3D(#905,$,#906);\n#8=",
        ),
        ("4000.0,8500.0,0.,1.,0.,1.)", "3980.0,8510.0,-1.,0.8,0.6,1.)"),
    ).alignment
    assert plain is not None and axis is not None
    for one, other in zip(axis.curves, plain.curves, strict=True):
        x, y = other.start - (4000.0, 8500.0)
        x, y = 10.0 - y, 20.0 + x
        there = (3980.0 + 0.8 * x - 0.6 * y, 8510.0 + 0.6 * x + 0.8 * y)
        assert one.start == pytest.approx(there, abs=1e-9)
        left = math.pi / 2.0 + math.atan(0.75)
        assert one.azimuth == pytest.approx(other.azimuth - left, abs=1e-12)
        assert one.bend_in == other.bend_in
    assert axis.level(180.0) == pytest.approx(61.5 + 3.0 - 1.0)


def test_stations_start_and_jump(read: Read):
    """Referents: 1+000 at the start, 1+200 back equal to 5+000 ahead after 200 m."""
    jump = (
        "#27=",
        "#910=IFCPOINTBYDISTANCEEXPRESSION(IFCLENGTHMEASURE(200.),$,$,$,#18);\n"
        "#911=IFCAXIS2PLACEMENTLINEAR(#910,$,$);\n#912=IFCLINEARPLACEMENT($,#911,$);\n"
        "#913=IFCREFERENT('0SkerrinAxis000000017',$,'jump',$,$,#912,$,.STATION.);\n"
        "#914=IFCPROPERTYSINGLEVALUE('Station',$,IFCLENGTHMEASURE(5000.),$);\n"
        "#915=IFCPROPERTYSINGLEVALUE('IncomingStation',$,IFCLENGTHMEASURE(1200.),$);\n"
        "#916=IFCPROPERTYSET('0SkerrinAxis000000018',$,'Pset_Stationing',$,(#914,#915));\n"
        "#917=IFCRELDEFINESBYPROPERTIES('0SkerrinAxis000000019',$,$,$,(#913),#916);\n#27=",
    )
    start = ("'Station',$,IFCLENGTHMEASURE(0.)", "'Station',$,IFCLENGTHMEASURE(1000.)")
    both = ("#11,(#21))", "#11,(#21,#913))")
    axis = read(jump, start, both).alignment
    assert axis is not None
    assert axis.stations.text(1199.0) == "1+199.000 zone 1"
    assert axis.stations.text(1201.0) == "5+001.000 zone 2"
    assert axis.level(1180.0) == pytest.approx(61.5)
    with pytest.raises(InputError) as refused:
        read(jump, start, both, ("'IncomingStation'", "'Incoming'"))
    assert str(refused.value) == (
        "axis.ifc, alignment 'Skerrin axis', referent 'jump': found station 5000.000 m, but "
        "lengths from the start give 1200.000 m; allowed: one station; a station equation without "
        "IncomingStation? Export it again"
    )


WHERE = "axis.ifc, alignment 'Skerrin axis'"
AGAIN = "correct it in the design program and export it again"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            ".CLOTHOID.",
            ".BLOSSCURVE.",
            f"{WHERE}, segment 2 (BLOSSCURVE): found segment type BLOSSCURVE; allowed: LINE, "
            "CIRCULARARC, CLOTHOID; only these are computed here",
        ),
        (
            ".PARABOLICARC.",
            ".CLOTHOID.",
            f"{WHERE}, profile, segment 2 (CLOTHOID): found segment type CLOTHOID; allowed: "
            "CONSTANTGRADIENT, PARABOLICARC, CIRCULARARC; only these are computed here",
        ),
        (
            "450.000000000,450.000000000",
            "450.000000000,460.000000000",
            f"{WHERE}, segment 3 (CIRCULARARC): found an arc with two radii, or none; allowed: "
            f"one radius; {AGAIN}",
        ),
        (
            "120.000000000,$,.CIRCULARARC.",
            "120.300000000,$,.CIRCULARARC.",
            f"{WHERE}, segment 4 (CLOTHOID): found begins 300.00 mm from where the element before "
            "it ends; allowed: the same point; correct the elements, or cut the alignment there",
        ),
        (
            "120.000000000,$,.CIRCULARARC.",
            "abc,$,.CIRCULARARC.",
            None,
        ),
        (
            "62.780000000",
            "62.880000000",
            f"{WHERE}, profile, segment 2: found begins 100.00 mm in height from where the one "
            f"before it ends; allowed: the same point; {AGAIN}",
        ),
        (
            "0.008000000,0.008000000",
            "0.008000000,0.009000000",
            f"{WHERE}, profile, segment 1 (CONSTANTGRADIENT): found grades 0.008 and 0.009 of a "
            f"straight grade; allowed: one grade; {AGAIN}",
        ),
        (
            "0.008000000,-0.012000000,$",
            "0.008000000,-0.012000000,7000.",
            f"{WHERE}, profile, segment 2 (PARABOLICARC): found radius 7000.000 m, but grades and "
            f"length give 8000.000 m; allowed: one; {AGAIN}",
        ),
        (
            ".METRE.",
            ".PASCAL.",
            "axis.ifc, IFC: found length unit 'PASCAL'; allowed: one of metre, centimetre, "
            "millimetre, foot, US survey foot, inch; export it in one",
        ),
        (
            "8500.0,0.,1.,0.,1.)",
            "8500.0,0.,1.,0.,0.9996)",
            f"{WHERE}: found a map conversion that scales lengths by -400.000 ppm; allowed: none: "
            "lengths of the alignment are those of the grid; export it in grid coordinates",
        ),
        (
            "#10=IFCLOCALPLACEMENT($,#7)",
            "#907=IFCDIRECTION((0.,0.1,1.));\n#906=IFCAXIS2PLACEMENT3D(#6,#907,$);\n"
            "#10=IFCLOCALPLACEMENT($,#906)",
            f"{WHERE}: found a tilted placement; allowed: one that is turned in plan only; export "
            "the alignment alone again",
        ),
        (
            "'Model',3,1.E-05,#7,$)",
            "'Model',3,1.E-05,#908,$);\n#908=IFCAXIS2PLACEMENT3D(#909,$,$);\n"
            "#909=IFCCARTESIANPOINT((100.,0.,0.))",
            "axis.ifc, IFC: found a world that is shifted or turned; allowed: one at the origin, "
            "not turned; export the alignment alone again",
        ),
        (
            "'IFC4X3_ADD2'",
            "'IFC4X1'",
            "axis.ifc: found schema 'IFC4X1'; allowed: IFC 4.3: IFC4X3_ADD2, IFC4X3, IFC4X3_TC1, "
            "IFC4X3_ADD1; export it as IFC 4.3",
        ),
        (
            "(#12,#13)",
            "(#13)",
            f"{WHERE}: found no IfcAlignmentHorizontal; allowed: one, with its segments; export "
            "the design parameters of the alignment, not its drawn curve alone",
        ),
    ],
)
def test_message(read: Read, old: str, new: str, message: str | None):
    with pytest.raises(InputError) as refused:
        read((old, new))
    lines = [str(p) for p in refused.value.problems]
    if message is None:
        assert len(lines) == 1
        assert "found broken IFC (" in lines[0]
    else:
        assert lines[0] == message


def test_an_end_without_length_is_no_segment(read: Read):
    """The standard closes a layout with a segment of no length."""
    plain = read_design(AXIS).alignment
    assert plain is not None
    east, north = plain.curves[-1].end - (4000.0, 8500.0)
    end = (
        "ENDSEC;\nEND-ISO",
        f"#920=IFCCARTESIANPOINT(({east:.9f},{north:.9f}));\n"
        "#921=IFCALIGNMENTHORIZONTALSEGMENT($,$,#920,0.9331561,0.,0.,0.,$,.LINE.);\n"
        "#922=IFCALIGNMENTSEGMENT('0SkerrinPlan0000000099',$,$,$,$,$,$,#921);\nENDSEC;\nEND-ISO",
    )
    nested = next(line for line in TEXT.splitlines() if "0SkerrinPlan0000000000" in line)
    axis = read(end, (nested, nested.replace("));", ",#922));"))).alignment
    assert axis is not None and len(axis.curves) == 5
    wrong = (end[0], end[1].replace(f"{east:.9f}", f"{east + 0.01:.9f}"))
    with pytest.raises(InputError) as refused:
        read(wrong, (nested, nested.replace("));", ",#922));")))
    assert "an end 10.00 mm from that of the segments" in str(refused.value)


def test_what_is_not_read_is_named(read: Read):
    file = read(
        ("(#12,#13)", "(#12,#13,#930)"),
        ("#14=", "#930=IFCALIGNMENTCANT('0SkerrinCant0000000001',$,$,$,$,$,$,1.5);\n#14="),
        ("'Station',$", "'Other',$"),
        ("#9=IFCMAPCONVERSION(#5,#8,4000.0,8500.0,0.,1.,0.,1.);\n", ""),
    )
    assert [str(n) for n in file.notes] == [
        f"{WHERE}: found no map conversion; allowed: one, or x to the east and y to the north as "
        "here; used without",
        f"{WHERE}: found the cant of rails, which is not read; allowed: plan and profile; used "
        "without",
        f"{WHERE}, referent '0+000': found no station; allowed: a distance along and Station in "
        "Pset_Stationing; the referent is not used",
        f"{WHERE}: found no station where it begins; allowed: an IfcReferent with "
        "Pset_Stationing; stations count from 0",
    ]


def test_a_file_cut_off_is_refused_before_it_is_parsed(tmp_path: Path, monkeypatch):
    monkeypatch.setattr(subprocess, "run", None)
    (tmp_path / "axis.ifc").write_text(TEXT[: len(TEXT) // 2])
    with pytest.raises(InputError) as refused:
        read_design(tmp_path / "axis.ifc")
    assert str(refused.value) == (
        "axis.ifc: found an IFC file that ends too early; allowed: END-ISO-10303-21; at its end; "
        "export the alignment alone again"
    )
    with (tmp_path / "axis.ifc").open("ab") as out:
        out.truncate(51_000_000)
    with pytest.raises(InputError) as refused:
        read_design(tmp_path / "axis.ifc")
    assert str(refused.value) == (
        "axis.ifc: found 51 MB; allowed: at most 50 MB; is this the right file?"
    )


@pytest.mark.parametrize(
    ("script", "message"),
    [
        (
            "import sys; sys.exit(3)",
            "axis.ifc: found IFC, for which a library is not installed; allowed: ifcopenshell "
            "beside fitup; pip install 'fitup[ifc]', or export LandXML instead",
        ),
        (
            "import os; os.abort()",
            "axis.ifc: found broken IFC (its parser broke down); allowed: whole IFC; export the "
            "alignment alone again",
        ),
        (
            "import time; time.sleep(60)",
            "axis.ifc: found IFC that takes over 2 minutes to read; allowed: less; export the "
            "alignment alone again",
        ),
    ],
)
def test_a_parser_that_fails_takes_nothing_with_it(
    tmp_path: Path, monkeypatch, script: str, message: str
):
    (tmp_path / "worker.py").write_text(script)
    monkeypatch.setattr(ifc.ifcextract, "__file__", str(tmp_path / "worker.py"))
    own = subprocess.run
    monkeypatch.setattr(subprocess, "run", lambda *a, **k: own(*a, **{**k, "timeout": 1.0}))
    (tmp_path / "axis.ifc").write_text(TEXT)
    with pytest.raises(InputError) as refused:
        read_design(tmp_path / "axis.ifc")
    assert str(refused.value) == message


def test_without_the_library_the_process_says_so():
    """A blocked import ends with the code that :mod:`fitup.alignment.ifc` knows."""
    script = (
        "import sys; sys.modules['ifcopenshell'] = None; sys.argv = ['x', sys.argv[1]]\n"
        "import runpy; runpy.run_path(sys.argv[1], run_name='__main__')"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, ifc.ifcextract.__file__], capture_output=True, check=False
    )
    assert done.returncode == ifc.ifcextract.NO_LIBRARY
