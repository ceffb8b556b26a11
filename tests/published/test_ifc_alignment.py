"""IFC alignments against files of the standard's own test sets, and against another generator.

[1] buildingSMART International, repository IFC4.x-IF, commit ca49cd9d, alignment atomic test set,
    HorizontalAlignment/Clothoid_100.0_inf_300_1_Meter.ifc; where it ends is published with the
    generated geometry (see test_fresnel_clothoid.py). Tolerance 1e-9 m, its last digit but one.
[2] The same, VerticalAlignment/CircularArc, ParabolicArc and ConstantGradient_100.0_10.0_0.0_0.5:
    100 m level from a height of 10 m, level to a rise of 50 %; heights by the closed forms of the
    circle and the parabola. The last is a straight grade with two grades, and refused.
[3] The same repository, commit f9d00fec, tests/BC003_AL01/Dataset/BC003_AL01_Reference.ifc, a
    cable route that somebody else exported: seven segments with map conversion, figures
    re-entered. The file states its length and where it ends; its numbers carry five decimals, so
    that the end is good to 2e-5 m.
[4] ifcopenshell (LGPL), ``api.alignment.create_by_pi_method``: three points, R = 300, a parabola of
    400; figures of the tangents by hand. Tolerance 1e-6 of the unit, its printed digits.
"""

from __future__ import annotations

import importlib
import math
from pathlib import Path

import pytest

from fitup.alignment import Alignment, read_design
from fitup.errors import InputError

HEAD = """ISO-10303-21;
HEADER;
FILE_DESCRIPTION(('ViewDefinition [CoordinationView]'),'2;1');
FILE_NAME('x.ifc','2022-02-22T22:00:00',(''),(''),'','','');
FILE_SCHEMA(('IFC4X3'));
ENDSEC;
DATA;
#1=IFCPROJECT('0000000000000000000001',$,'p',$,$,$,$,(#5),#4);
#2=IFCSIUNIT(*,.LENGTHUNIT.,$,.METRE.);
#3=IFCSIUNIT(*,.PLANEANGLEUNIT.,$,.RADIAN.);
#4=IFCUNITASSIGNMENT((#2,#3));
#5=IFCGEOMETRICREPRESENTATIONCONTEXT($,'Model',3,1.E-5,#7,$);
#6=IFCCARTESIANPOINT((0.,0.,0.));
#7=IFCAXIS2PLACEMENT3D(#6,$,$);
#8=IFCLOCALPLACEMENT($,#7);
#9=IFCALIGNMENT('0000000000000000000009',$,'axis',$,$,#8,$,$);
#10=IFCALIGNMENTHORIZONTAL('0000000000000000000010',$,$,$,$,$,$);
#11=IFCALIGNMENTVERTICAL('0000000000000000000011',$,$,$,$,$,$);
"""


def written(folder: Path, plan: list[str], profile: list[str], more: str = "") -> Path:
    """Write an alignment of segments with the parameters of the files."""
    lines, number = [], 100
    for under, kind, rows in (("10", "HORIZONTAL", plan), ("11", "VERTICAL", profile)):
        parts = []
        for row in rows:
            if kind == "HORIZONTAL":
                point, _, rest = row.partition(";")
                lines.append(f"#{number}=IFCCARTESIANPOINT(({point}));")
                values = f"#{number},{rest}"
            else:
                values = row
            lines.append(f"#{number + 1}=IFCALIGNMENT{kind}SEGMENT($,$,{values});")
            segment = f"IFCALIGNMENTSEGMENT('{number + 2:022d}',$,$,$,$,$,$,#{number + 1})"
            lines.append(f"#{number + 2}={segment};")
            parts.append(f"#{number + 2}")
            number += 3
        if parts:
            lines.append(
                f"#{number}=IFCRELNESTS('{number:022d}',$,$,$,#{under},({','.join(parts)}));"
            )
            number += 1
    layouts = "(#10,#11)" if profile else "(#10)"
    lines.append(f"#{number}=IFCRELNESTS('{number:022d}',$,$,$,#9,{layouts});")
    path = folder / "x.ifc"
    path.write_text(HEAD + more + "\n".join(lines) + "\nENDSEC;\nEND-ISO-10303-21;\n")
    return path


def axis_of(path: Path) -> Alignment:
    axis = read_design(path).alignment
    assert axis is not None
    return axis


def test_clothoid_of_the_test_set(tmp_path: Path):
    """[1]."""
    (curve,) = axis_of(written(tmp_path, ["0.,0.;0.,0.,300.,100.,$,.CLOTHOID."], [])).curves
    assert curve.end == pytest.approx([99.7225792178275, 5.54454236562881], abs=1e-9)


@pytest.mark.parametrize(
    ("kind", "drop"),
    [
        # a circle through 100 m level whose slope goes from 0 to atan(0.5): R = 100 / sin
        ("CIRCULARARC", 100.0 / math.sin(math.atan(0.5)) * (1.0 - math.cos(math.atan(0.5)))),
        ("PARABOLICARC", 100.0 * 0.5 / 2.0),
    ],
)
def test_vertical_curves_of_the_test_set(tmp_path: Path, kind: str, drop: float):
    """[2]."""
    plan = ["0.,0.;0.,0.,0.,100.,$,.LINE."]
    axis = axis_of(written(tmp_path, plan, [f"0.,100.,10.,0.,0.5,$,.{kind}."]))
    assert axis.level(100.0) == pytest.approx(10.0 + drop, abs=1e-9)
    assert axis.grade(100.0) == pytest.approx(0.5, abs=1e-12)
    assert axis.grade(0.0) == pytest.approx(0.0, abs=1e-12)


def test_a_straight_grade_with_two_grades_is_refused(tmp_path: Path):
    """[2]."""
    plan = ["0.,0.;0.,0.,0.,100.,$,.LINE."]
    with pytest.raises(InputError) as refused:
        read_design(written(tmp_path, plan, ["0.,100.,10.,0.,0.5,$,.CONSTANTGRADIENT."]))
    assert "found grades 0 and 0.5 of a straight grade" in str(refused.value)


def test_a_route_somebody_else_exported(tmp_path: Path):
    """[3]."""
    plan = [
        "166.7503,12.61521;-4.29188308171545,0.0,0.0,0.65008,$,.LINE.",
        "166.48493,13.20865;-4.29188308171584,50.0,50.0,5.00201,$,.CIRCULARARC.",
        "164.21819,17.66523;-4.19184295672888,25.0,25.0,8.42709,$,.CIRCULARARC.",
        "158.8853,24.13873;-3.85475954306626,0.0,0.0,12.02101,$,.LINE.",
        "149.79388,32.00326;-3.85475954306316,-25.0,-25.0,8.42709,$,.CIRCULARARC.",
        "144.46099,38.47676;-4.19184294452138,-50.0,-50.0,5.00201,$,.CIRCULARARC.",
        "142.19425,42.93334;-4.29188312827995,0.0,0.0,0.65008,$,.LINE.",
    ]
    more = (
        "#20=IFCPROJECTEDCRS('EPSG:3944',$,$,$,$,$,#2);\n"
        "#21=IFCMAPCONVERSION(#5,#20,1891846.0,3126623.0,0.0,$,$,$);\n"
    )
    axis = axis_of(written(tmp_path, plan, [], more))
    assert axis.end == pytest.approx(40.1793540328856, abs=2e-5)
    assert axis.curves[-1].end == pytest.approx([1891987.92887195, 3126666.52678499], abs=2e-5)
    for a, b in zip(axis.curves, axis.curves[1:], strict=False):
        assert a.end == pytest.approx(b.start, abs=2e-5)
        assert a.azimuth_at(a.length) == pytest.approx(b.azimuth, abs=2e-6)


def test_an_alignment_another_generator_made(tmp_path: Path):
    """[4]: in feet, with a referent where it begins and segments without length at its ends."""
    parts = ("alignment", "project", "root", "unit", "context")
    api = {p: importlib.import_module(f"ifcopenshell.api.{p}") for p in parts}
    file = api["project"].create_file(version="IFC4X3_ADD2")
    api["root"].create_entity(file, ifc_class="IfcProject", name="p")
    foot = api["unit"].add_conversion_based_unit(file, name="foot")
    api["unit"].assign_unit(file, units=[foot])
    model = api["context"].add_context(file, context_type="Model")
    api["context"].add_context(
        file,
        context_type="Model",
        context_identifier="Axis",
        target_view="MODEL_VIEW",
        parent=model,
    )
    api["alignment"].create_by_pi_method(
        file,
        "A",
        hpoints=[(0.0, 0.0), (1000.0, 0.0), (1500.0, 866.0254)],
        radii=[300.0],
        vpoints=[(0.0, 100.0), (600.0, 110.5), (1800.0, 98.5)],
        lengths=[400.0],
        start_station=10000.0,
    )
    file.write(str(tmp_path / "pi.ifc"))
    axis, foot_m = axis_of(tmp_path / "pi.ifc"), 0.3048
    assert [c.kind for c in axis.curves] == ["line", "arc", "line"]
    assert axis.unit == "ft"
    assert axis.stations.text(axis.start, 2) == "100+00.00"
    assert axis.curves[1].start / foot_m == pytest.approx([826.794919, 0.0], abs=1e-6)
    assert axis.curves[1].length / foot_m == pytest.approx(314.159265, abs=1e-6)
    assert axis.curves[2].end / foot_m == pytest.approx([1500.0, 866.0254], abs=1e-6)
    for along, height in ((400.0, 107.0), (800.0, 108.5), (1800.0, 98.5)):
        level = axis.level(axis.start + along * foot_m)
        assert level is not None
        assert level / foot_m == pytest.approx(height, abs=1e-6)
    # the middle of the parabola: e = L (g2 - g1) / 8 above its vertex
    middle = axis.level(axis.start + 600.0 * foot_m)
    assert middle is not None
    assert middle / foot_m == pytest.approx(110.5 - 400.0 * 0.0275 / 8.0, abs=1e-9)
