"""Reading LandXML: units, references, and every fault named."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.alignment import DesignFile, read_landxml
from fitup.errors import InputError

PLAIN = """<?xml version="1.0"?>
<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2" date="2031-01-02" \
time="03:04">
<Units><Metric linearUnit="meter" directionUnit="decimal degrees"/></Units>
<CgPoints><CgPoint name="A">0 0 5</CgPoint><CgPoint name="B">100 0</CgPoint></CgPoints>
<Alignments><Alignment name="axis" length="357.0796" staStart="50">
<CoordGeom>
<Line length="100" dir="0"><Start pntRef="A"/><End>100 0</End></Line>
<Curve rot="cw" length="157.079633" radius="100" dirStart="0" dirEnd="90">\
<Start>100 0</Start><Center>100 100</Center><End>200 100</End></Curve>
<Line length="100" dir="90"><Start>200 100</Start><End>200 200</End></Line>
</CoordGeom>
<Profile><ProfAlign name="p"><PVI>50 10</PVI><ParaCurve length="60">150 12</ParaCurve>\
<PVI>407.0796 10</PVI></ProfAlign></Profile>
</Alignment></Alignments></LandXML>
"""
#: straight to R = 300 m over 100 m, turned to the left of east
SPIRAL = """<Spiral spiType="clothoid" rot="ccw" length="100" radiusStart="INF" radiusEnd="300">\
<Start>0 0</Start><PI>0 66.7706</PI><End>5.544542 99.722579</End></Spiral>"""

Read = Callable[..., DesignFile]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def call(*changes: tuple[str, str], name: str | None = None) -> DesignFile:
        text = PLAIN
        for old, new in changes:
            assert old in text, old
            text = text.replace(old, new)
        (tmp_path / "axis.xml").write_text(text, encoding="utf-8")
        return read_landxml(tmp_path / "axis.xml", name=name)

    return call


def test_what_is_read(read: Read):
    file = read()
    axis = file.alignment
    assert axis is not None and axis.profile is not None
    assert (axis.start, axis.unit, file.made, file.notes) == (50.0, "m", "2031-01-02 03:04", ())
    assert [c.kind for c in axis.curves] == ["line", "arc", "line"]
    assert axis.curves[1].bend_in == pytest.approx(-0.01)
    assert axis.level(150.0) == pytest.approx(12.0 - (0.02 + 2.0 / 257.0796) * 60.0 / 8.0)
    assert [p.id for p in file.points] == ["A", "B"]
    assert file.points[0].position.tolist() == [0.0, 0.0, 5.0]


@pytest.mark.parametrize(
    ("word", "system", "metres", "unit"),
    [
        ("foot", "Imperial", 0.3048, "ft"),
        ("USSurveyFoot", "Imperial", 1200 / 3937, "ftUS"),
        ("centimeter", "Metric", 1e-2, "m"),
    ],
)
def test_units_of_the_file(read: Read, word: str, system: str, metres: float, unit: str):
    changes = [('Metric linearUnit="meter"', f'{system} linearUnit="{word}"')]
    axis = read(*changes).alignment
    assert axis is not None
    assert axis.unit == unit
    assert axis.end == pytest.approx((50.0 + 357.0796) * metres, rel=1e-6)
    assert axis.curves[1].bend_in == pytest.approx(-0.01 / metres)


def test_spiral_and_its_ends(read: Read):
    line = PLAIN[PLAIN.index("<Line") : PLAIN.index("</CoordGeom>")]
    axis = read(
        (line, SPIRAL),
        (' length="357.0796"', ""),
        ("<Profile>", "<Other>"),
        ("</Profile>", "</Other>"),
    ).alignment
    assert axis is not None
    (curve,) = axis.curves
    assert curve.kind == "clothoid"
    assert curve.end == pytest.approx([99.722579, 5.544542], abs=1e-6)


ALIGNMENT = "axis.xml, alignment 'axis'"
AGAIN = "correct it in the design program and export it again"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            '<Curve rot="cw" length="157.079633"',
            '<Curve rot="cw" length="239.568633"',
            f"{ALIGNMENT}, element 2 (Curve): found length 239.569 m, but its points give "
            f"157.080 m; allowed: one length; {AGAIN}",
        ),
        (
            "<Start>200 100</Start>",
            "<Start>200.3 100</Start>",
            f"{ALIGNMENT}, element 3 (Line): found begins 300.00 mm from where the element before "
            "it ends; allowed: the same point; correct the elements, or cut the alignment there",
        ),
        (
            'radius="100"',
            'radius="-100"',
            f"{ALIGNMENT}, element 2 (Curve): found a radius of minus 100.000 m; allowed: a radius "
            f"above zero; rot tells the side; {AGAIN}",
        ),
        (
            'radius="100"',
            'radius="110"',
            f"{ALIGNMENT}, element 2 (Curve): found radius 110.000 m, but its points lie on one of "
            f"100.000 m; allowed: one radius; {AGAIN}",
        ),
        (
            'rot="cw"',
            'rot="ccw"',
            f"{ALIGNMENT}, element 2 (Curve): found rot='ccw', but centre and length say it turns "
            "the other way; allowed: one side; correct rot, or the sign of the radius it came from",
        ),
        (
            "<End>200 200</End>",
            "<End>200.5 200</End>",
            f"{ALIGNMENT}, element 3 (Line): found breaks from the direction of the element before "
            "it by 5.00 mm/m; allowed: one tangent; correct the elements, or cut the alignment "
            "there",
        ),
        (
            'length="357.0796"',
            'length="439.569"',
            f"{ALIGNMENT}: found length 439.569 m, but its elements sum to 357.080 m; allowed: one "
            "length; an element is missing or a length is stale: export it again",
        ),
        (
            'dirEnd="90"',
            'dirEnd="100"',
            f"{ALIGNMENT}, element 2 (Curve): found dirEnd 100.0000 deg, but its points give "
            f"90.0000 deg; allowed: one direction; {AGAIN}",
        ),
        (
            "<PVI>407.0796 10</PVI>",
            "<PVI>170 12</PVI>",
            f"{ALIGNMENT}, profile: found the last vertical curve ends 10.000 m beyond the profile"
            "; allowed: points and curves one after the other; correct the profile",
        ),
        (
            '<ParaCurve length="60">150 12</ParaCurve>',
            '<CircCurve length="60" radius="1000">150 12</CircCurve>',
            f"{ALIGNMENT}, profile, vertical point 2: found length 60.000 m, but radius and grades "
            "give 27.777 m; allowed: one length; correct radius or length",
        ),
        (
            'linearUnit="meter"',
            'linearUnit="cubit"',
            "axis.xml, Units: found linearUnit='cubit'; allowed: meter, millimeter, centimeter, "
            "foot, USSurveyFoot, inch; export it in one",
        ),
        (
            '<Units><Metric linearUnit="meter" directionUnit="decimal degrees"/></Units>',
            "",
            "axis.xml, LandXML: found no <Units>; allowed: <Units> with <Metric> or <Imperial>; "
            "export it with its units",
        ),
        (
            'version="1.2" ',
            'version="2.0" ',
            "axis.xml, LandXML: found version '2.0'; allowed: 1.1 or 1.2; export it as LandXML 1.2",
        ),
        (
            'pntRef="A"',
            'pntRef="Z"',
            f"{ALIGNMENT}, element 1 (Line): found <Start> at point 'Z'; allowed: a point of "
            "<CgPoints>; add the point",
        ),
        (
            "<End>100 0</End>",
            "<End>100 nil</End>",
            f"{ALIGNMENT}, element 1 (Line): found <End> '100 nil'; allowed: 2 numbers or more; "
            "correct it in the design program",
        ),
        (
            'name="B"',
            'name="A"',
            "axis.xml, CgPoint 'A': found the name a second time; allowed: each name once; "
            "rename one",
        ),
    ],
)
def test_message(read: Read, old: str, new: str, message: str):
    with pytest.raises(InputError) as refused:
        read((old, new))
    # a wrong point shows in the directions too
    assert str(refused.value.problems[0]) == message
    assert all("(Line): found dir " in str(p) for p in refused.value.problems[1:])


def test_degrees_that_were_gon(read: Read):
    """Directions scaled by 10/9, as a published exchange file had them."""
    with pytest.raises(InputError) as refused:
        read(
            ('dirEnd="90"', 'dirEnd="100"'),
            ('dir="90"', 'dir="100"'),
            ('dirStart="0"', 'dirStart="0.0"'),
        )
    assert str(refused.value) == (
        f"{ALIGNMENT}: found directions that fit its points only as grads (they are 10/9 of the "
        "degrees); allowed: decimal degrees, as <Units> says; somewhere degrees and gon were mixed "
        "up: export it again, and trust no angle of it"
    )


def test_points_in_the_wrong_order_are_seen_by_directions(read: Read):
    with pytest.raises(InputError) as refused:
        read(
            ('dir="0"', 'dir="33"'),
            ('dirStart="0"', 'dirStart="33"'),
            ('dirEnd="90"', 'dirEnd="61"'),
        )
    assert "directions that fit its points in no sense (4 stated)" in str(refused.value)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('rot="ccw"', 'rot="cw"', "rot='cw', but its <PI> says it turns the other way"),
        ('radiusEnd="300"', 'radiusEnd="320"', "length and radii that end "),
        ('spiType="clothoid"', 'spiType="bloss"', "spiType='bloss'; allowed: clothoid"),
        ('radiusEnd="300"', 'radiusEnd="-300"', "radiusEnd='-300'; allowed: a radius above zero"),
        ("66.7706", "68.7706", "off the tangent that length and radii give"),
    ],
)
def test_spiral_faults(read: Read, old: str, new: str, message: str):
    line = PLAIN[PLAIN.index("<Line") : PLAIN.index("</CoordGeom>")]
    spiral = (
        SPIRAL.replace(old, new)
        if old != "66.7706"
        else SPIRAL.replace("<PI>0 66.7706", "<PI>0.1 66.7706")
    )
    assert spiral != SPIRAL
    with pytest.raises(InputError) as refused:
        read((line, spiral), (' length="357.0796"', ""))
    assert message in str(refused.value)
    assert "element 1 (Spiral)" in str(refused.value)


def test_small_faults_are_notes(read: Read):
    file = read(
        ("<Start>200 100</Start>", "<Start>200.0004 100</Start>"),
        ("<End>200 200</End>", "<End>200.0004 200</End>"),
    )
    assert [str(n) for n in file.notes] == [
        f"{ALIGNMENT}, element 3 (Line): found begins 0.40 mm from where the element before it "
        "ends; allowed: the same point; small: used as it is"
    ]


def test_several_alignments(read: Read):
    second = re.search(r"<Alignment .*</Alignment>", PLAIN, re.DOTALL)
    assert second
    both = (second[0], second[0] + second[0].replace('name="axis"', 'name="ramp"'))
    with pytest.raises(InputError) as refused:
        read(both)
    assert str(refused.value) == (
        "axis.xml, Alignments: found 2 alignments; allowed: 'axis', 'ramp'; name the one meant"
    )
    chosen = read(both, name="ramp").alignment
    assert chosen is not None and chosen.name == "ramp"
    with pytest.raises(InputError) as refused:
        read(both, name="ramps")
    assert str(refused.value) == (
        "axis.xml, Alignments: found 'ramps'; allowed: 'axis', 'ramp'; did you mean 'ramp'?"
    )


def test_station_equations(read: Read):
    equation = '<StaEquation staInternal="200" staBack="200" staAhead="1000"/><CoordGeom>'
    axis = read(("<CoordGeom>", equation)).alignment
    assert axis is not None
    assert axis.stations.text(250.0) == "1+050.000 zone 2"


BOMB = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
REFUSED = (
    "axis.xml: found a document type or entities; allowed: plain XML without <!DOCTYPE or "
    "<!ENTITY; export it again; do not open it elsewhere, it may be harmful"
)


@pytest.mark.parametrize(
    "text",
    [
        f"{BOMB}<LandXML>&b;</LandXML>",
        '<!DOCTYPE x SYSTEM "http://example.invalid/x.dtd"><LandXML/>',
        '<!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/hostname">]><LandXML>&f;</LandXML>',
    ],
)
def test_nothing_harmful_is_expanded(tmp_path: Path, text: str):
    (tmp_path / "axis.xml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as refused:
        read_landxml(tmp_path / "axis.xml")
    assert str(refused.value) == REFUSED


def test_files_that_are_none(tmp_path: Path):
    for content, message in (
        (
            b"",
            "axis.xml: found broken XML (no element found: line 1, column 0); allowed: whole XML; "
            "export it again",
        ),
        (
            b"<a>",
            "axis.xml: found broken XML (no element found: line 1, column 3); allowed: whole XML; "
            "export it again",
        ),
        (
            b"<a/>",
            "axis.xml, LandXML: found <a>; allowed: <LandXML> version 1.1 or 1.2; "
            "export it as LandXML",
        ),
    ):
        (tmp_path / "axis.xml").write_bytes(content)
        with pytest.raises(InputError) as refused:
            read_landxml(tmp_path / "axis.xml")
        assert str(refused.value) == message
    with pytest.raises(InputError) as refused:
        read_landxml(tmp_path / "none.xml")
    assert str(refused.value) == (
        "none.xml: found no such file; allowed: a LandXML file; create it or correct its name"
    )


def test_a_huge_file_is_refused_unread(tmp_path: Path):
    with (tmp_path / "axis.xml").open("wb") as out:
        out.truncate(51_000_000)
    with pytest.raises(InputError) as refused:
        read_landxml(tmp_path / "axis.xml")
    assert str(refused.value) == (
        "axis.xml: found 51 MB; allowed: at most 50 MB; export the alignment alone"
    )
