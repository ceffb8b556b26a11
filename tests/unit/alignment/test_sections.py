"""Crossfall told by a LandXML file: read where the schema says what it means, else named."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fitup.alignment import Alignment, DesignFile, read_landxml
from fitup.errors import InputError

#: 100 m straight to the north, a quarter to the left with R = 100 m, 100 m straight
FILE = """<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">
<Units><Metric linearUnit="meter"/></Units><Alignments><Alignment name="axis" staStart="50">
<CoordGeom><Line><Start>0 0</Start><End>100 0</End></Line>
<Curve rot="ccw"><Start>100 0</Start><Center>100 -100</Center><End>200 -100</End></Curve>
<Line><Start>200 -100</Start><End>200 -200</End></Line></CoordGeom>
{inside}</Alignment></Alignments></LandXML>"""
WHERE = "axis.xml, alignment 'axis'"
TABLE = "give the crossfall as a table: station, side, slope, falls_to"
#: a crown of 2.5 %, then 4 % falling to the left
DECK = [(60, [(-10, 9.75), (0, 10), (8, 9.8)]), (300, [(-10, 9.6), (0, 10), (8, 10.32)])]
Read = Callable[..., DesignFile]


def section(station: float, points: list[tuple[float, float]], more: str = "") -> str:
    inner = "".join(f"<CrossSectPnt>{o} {z}</CrossSectPnt>" for o, z in points)
    return (
        f'<CrossSect sta="{station}"><DesignCrossSectSurf name="deck"{more}>{inner}'
        "</DesignCrossSectSurf></CrossSect>"
    )


def sections(*own: tuple[float, list[tuple[float, float]]]) -> str:
    return "<CrossSects>" + "".join(section(s, p) for s, p in own) + "</CrossSects>"


def superelevation(full: str = "4", more: str = "<AdverseSE>non-adverse</AdverseSE>") -> str:
    return (
        "<Superelevation><BeginRunoutSta>130</BeginRunoutSta><BeginRunoffSta>140</BeginRunoffSta>"
        f"<FullSuperSta>160</FullSuperSta><FullSuperelev>{full}</FullSuperelev>"
        f"<RunoffSta>300</RunoffSta>{more}</Superelevation>"
    )


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def call(inside: str, unit: str = "meter", surface: str | None = None) -> DesignFile:
        text = FILE.format(inside=inside).replace('linearUnit="meter"', f'linearUnit="{unit}"')
        if unit != "meter":
            text = text.replace("Metric", "Imperial")
        (tmp_path / "axis.xml").write_text(text, encoding="utf-8")
        return read_landxml(tmp_path / "axis.xml", surface=surface)

    return call


def axis_of(file: DesignFile) -> Alignment:
    assert file.alignment is not None
    return file.alignment


def test_design_sections(read: Read):
    """An offset is positive to the right in the file, and a slope rises to the left inside."""
    file = read(sections(*DECK))
    assert file.notes == ()
    fall = axis_of(file).crossfall
    assert fall is not None
    assert fall.source == "cross-sections, surface 'deck'"
    assert fall.stations == (60.0, 300.0)
    # the crown falls to the left on the left; the right side falls to the right
    assert fall.left == pytest.approx((-0.025, -0.04))
    assert fall.right == pytest.approx((0.025, -0.04))
    assert fall.reach == (10.0, 8.0)
    assert fall.at(180.0, -5.0) == pytest.approx(-0.0075)
    assert (fall.at(180.0, 10.5), fall.at(180.0, -8.5), fall.at(59.0)) == (None, None, None)
    assert (fall.plane(60.0), fall.plane(300.0)) == (None, pytest.approx(-0.04))


def test_feet_change_lengths_and_no_slope(read: Read):
    fall = axis_of(read(sections(*DECK), unit="foot")).crossfall
    assert fall is not None
    assert fall.stations == pytest.approx((60 * 0.3048, 300 * 0.3048))
    assert fall.left == pytest.approx((-0.025, -0.04))
    assert fall.reach == pytest.approx((3.048, 8 * 0.3048))


def test_stations_of_sections_know_no_equations(read: Read):
    equation = '<StaEquation staInternal="200" staBack="200" staAhead="1000"/>'
    axis = axis_of(read(equation + sections(*DECK)))
    assert axis.crossfall is not None
    assert axis.crossfall.stations == (60.0, 300.0)
    assert axis.stations.text(300.0) == "1+100.000 zone 2"
    file = read(equation + sections(DECK[0], (1100, DECK[1][1])))
    assert [str(n) for n in file.notes] == [
        f"{WHERE}, CrossSects: found a section at 1100, which is not on the alignment; allowed: "
        f"stations counted without equations, as the schema has them; {TABLE}"
    ]


def test_a_side_that_breaks_holds_up_to_its_break(read: Read):
    kerb = [(-12, 9.9), (-10, 9.75), (-5, 9.875), (0, 10), (8, 9.8)]
    file = read(sections((60, kerb), DECK[1]))
    fall = axis_of(file).crossfall
    assert fall is not None
    assert (fall.left[0], fall.reach) == (pytest.approx(-0.025), (10.0, 8.0))
    assert [str(n) for n in file.notes] == [
        f"{WHERE}, CrossSects: found surface 'deck' breaks; its slope beside the axis is taken; "
        "allowed: a straight surface; taken up to 10.000 left and 8.000 right of the axis; "
        "beyond, the crossfall is not known"
    ]


def test_a_surface_without_a_point_on_the_axis(read: Read):
    """One line over the axis is the slope of both sides."""
    file = read(sections((60, [(-10, 9.8), (10, 10.2)]), (300, [(-10, 9.8), (10, 10.2)])))
    fall = axis_of(file).crossfall
    assert fall is not None
    assert (fall.left, fall.right) == (pytest.approx((-0.02, -0.02)),) * 2


def test_superelevation_falls_to_the_inside(read: Read):
    file = read(superelevation())
    fall = axis_of(file).crossfall
    assert fall is not None
    assert (fall.stations, fall.left, fall.right) == (
        (160.0, 300.0),
        (-0.04,) * 2,
        (-0.04,) * 2,
    )
    assert [str(n) for n in file.notes] == [
        f"{WHERE}, Superelevation: found runoff and runout, in which the crown is not stated; "
        "allowed: slopes on both sides; the crossfall is taken between FullSuperSta and "
        f"RunoffSta; for the rest {TABLE}"
    ]
    adverse = axis_of(read(superelevation(more="<AdverseSE>adverse</AdverseSE>"))).crossfall
    assert adverse is not None and adverse.left == (0.04, 0.04)


def test_what_is_taken_for_granted_is_said(read: Read):
    file = read(superelevation(more=""))
    assert axis_of(file).crossfall is not None
    assert str(file.notes[0]) == (
        f"{WHERE}, Superelevation: found no <AdverseSE> at station 0+160.000; allowed: adverse or "
        "non-adverse; taken as falling to the inside of the bend, LEFT: check it"
    )


def test_gaps_between_bends_are_gaps(read: Read):
    first = superelevation().replace("300</RunoffSta>", "180</RunoffSta>")
    second = superelevation("5").replace("160</Full", "200</Full").replace("300</Run", "240</Run")
    fall = axis_of(read(first + second)).crossfall
    assert fall is not None and fall.gaps == ((180.0, 200.0),)
    assert (fall.at(180.0), fall.at(190.0), fall.at(200.0)) == (-0.04, None, -0.05)


def test_file_against_itself(read: Read):
    with pytest.raises(InputError) as refused:
        read(sections(*DECK) + superelevation())
    assert str(refused.value) == (
        f"{WHERE}: found cross-sections with 0.21 % falling LEFT on the right at station "
        "0+160.000, but a superelevation with 4.00 % falling LEFT; allowed: one crossfall; "
        "correct one of them in the design program and export it again"
    )
    both = [(s, DECK[1][1]) for s in (60, 300)]
    assert axis_of(read(sections(*both) + superelevation())).crossfall is not None


@pytest.mark.parametrize(
    ("inside", "message"),
    [
        (
            sections(DECK[0]),
            "CrossSects: found 1 section with surface 'deck'; allowed: two or more",
        ),
        (
            sections(*DECK).replace('name="deck"', 'name="base"', 1),
            "CrossSects: found 2 design surfaces; allowed: 'base', 'deck'; name the deck's: "
            "surface",
        ),
        (
            sections(DECK[0], (60, DECK[1][1])),
            "CrossSects: found two sections at station 0+060.000; allowed: one at each",
        ),
        (
            sections(*DECK).replace(
                "<CrossSectPnt>0", '<CrossSectPnt dataFormat="Slope Distance">0'
            ),
            "CrossSects: found points as 'Slope Distance' at station 0+060.000; allowed: Offset "
            "Elevation",
        ),
        (
            sections(*DECK).replace("<CrossSectPnt>0", '<CrossSectPnt alignRef="ramp">0'),
            "CrossSects: found points beside alignment 'ramp' at station 0+060.000; allowed: "
            "'axis'",
        ),
        (
            sections((60, [(1, 10), (8, 9.8)]), DECK[1]),
            "CrossSects: found a surface that does not reach over the axis to the left at station "
            "0+060.000; allowed: both sides",
        ),
        (
            sections((60, [(-10, 9.8), (-10, 9), (0, 10), (8, 9.8)]), DECK[1]),
            "CrossSects: found two heights at one offset at station 0+060.000; allowed: one height "
            "at each offset",
        ),
        (
            sections((60, [(-10, 9800), (0, 10), (8, 9.8)]), DECK[1]),
            "CrossSects: found a slope of 9.79e+04 % on the left at station 0+060.000; allowed: "
            "50 % or less; offsets and heights in one unit",
        ),
        (
            "<CrossSects>" + section(60, DECK[0][1], ' closedArea="true"') + "</CrossSects>",
            "CrossSects: found no design surface that is a line; allowed: <DesignCrossSectSurf> of "
            "the deck",
        ),
        (
            superelevation("0.04"),
            "Superelevation: found FullSuperelev 0.04; allowed: per cent, as the schema has it, "
            "from 0.5 to 15",
        ),
        (
            superelevation("-4"),
            "Superelevation: found FullSuperelev -4; allowed: per cent, as the schema has it, from "
            "0.5 to 15",
        ),
        (
            superelevation().replace("<RunoffSta>300</RunoffSta>", ""),
            "Superelevation: found no <RunoffSta> in one element; allowed: one",
        ),
        (
            superelevation().replace("160</Full", "120</Full"),
            "Superelevation: found full superelevation at station 0+120.000 along no single bend; "
            "allowed: a bend to one side: the inside is where it falls to",
        ),
        (
            superelevation(more="<AdverseSE>left</AdverseSE>"),
            "Superelevation: found AdverseSE 'left'; allowed: adverse or non-adverse",
        ),
        (
            superelevation() + superelevation("5"),
            "Superelevation: found full superelevations that overlap; allowed: one after the other",
        ),
        (
            superelevation(more="<Widening/>"),
            "Superelevation: found <Widening>; allowed: the elements of the schema",
        ),
        (
            "<Cant/>",
            "Cant: found the cant of rails, which is not read; allowed: a crossfall",
        ),
    ],
)
def test_what_is_not_understood_is_named(read: Read, inside: str, message: str):
    file = read(inside)
    assert axis_of(file).crossfall is None
    stated = [str(n) for n in file.notes]
    do = "" if message.endswith("surface") else f"; {TABLE}"
    assert f"{WHERE}, {message}{do}" in stated
    assert axis_of(file).notes == tuple(stated)


def test_a_surface_named_for_a_file_without_sections(read: Read):
    file = read("", surface="top")
    assert [str(n) for n in file.notes] == [
        f"{WHERE}, CrossSects: found no sections, so no surface 'top'; allowed: sections with it; "
        "export them, or take surface out of job.toml [alignment]"
    ]


def test_the_deck_among_several_surfaces(read: Read):
    base = sections(*DECK).replace('name="deck"', 'name="base"').replace("10.32", "10.16")
    both = sections(*DECK) + base
    fall = axis_of(read(both, surface="base")).crossfall
    assert fall is not None and fall.right[1] == pytest.approx(-0.02)
    file = read(both, surface="top")
    assert [str(n) for n in file.notes] == [
        f"{WHERE}, CrossSects: found no surface 'top'; allowed: 'deck', 'base'; name one of them"
    ]


def test_a_number_that_is_none_is_refused(read: Read):
    with pytest.raises(InputError) as refused:
        read(sections(*DECK).replace(">0 10<", ">0 ten<"))
    assert str(refused.value).splitlines()[0] == (
        f"{WHERE}: found <CrossSectPnt> '0 ten'; allowed: 2 numbers or more; correct it in the "
        "design program"
    )
