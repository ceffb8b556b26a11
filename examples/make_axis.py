"""Write the example axis: an invented line over the crossing, as a design office exports it.

Run ``python examples/make_axis.py`` to write ``skerrin-axis`` beside this file again. It passes
the closure joint K1 of the other examples at station 0+180.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np

from fitup.alignment.curves import Curve

HERE = Path(__file__).parent
JOINT, AZIMUTH, GRADE = np.array([4210.0, 8875.0, 61.5]), np.radians(62.0), 0.008
#: length [m] and bend to the left at its beginning and end [1/m]
SHAPE = [
    (300.0, 0, 0),
    (80.0, 0, 1 / 450),
    (120.0, 1 / 450, 1 / 450),
    (80.0, 1 / 450, 0),
    (60.0, 0, 0),
]
AT_JOINT = 180.0
#: PVI station, height, length of the parabola there [m]
PROFILE = [(0.0, 60.06, 0.0), (420.0, 63.42, 160.0), (640.0, 60.78, 0.0)]
DECK = """\
id,station,offset_m,side,H_m
W7-L,0+180.000,11.5,left,61.730
W7-C,0+180.000,0,axis,61.500
W7-R,0+180.000,11.5,right,61.270
E9-L,0+352.500,11.5,left,63.003
E9-R,0+352.500,11.5,right,62.543
"""


def curves() -> list[Curve]:
    """The elements, one after the other."""
    way = np.array([np.sin(AZIMUTH), np.cos(AZIMUTH)])
    place, azimuth = JOINT[:2] - AT_JOINT * way, float(AZIMUTH)
    result = []
    for length, first, last in SHAPE:
        result.append(Curve(float(place[0]), float(place[1]), azimuth, length, first, last))
        place, azimuth = result[-1].end, result[-1].azimuth_at(length)
    return result


def point(tag: str, place: np.ndarray) -> str:
    """A point of an element, north before east."""
    return f"<{tag}>{place[1]:.6f} {place[0]:.6f}</{tag}>"


def element(curve: Curve) -> str:
    """One element of the plan."""
    ends = point("Start", curve.start), point("End", curve.end)
    length = f'length="{curve.length:.6f}"'
    if curve.kind == "line":
        dir_ = math.degrees(curve.azimuth) % 360.0
        return f'<Line {length} dir="{dir_:.7f}">{ends[0]}{ends[1]}</Line>'
    left = np.array([-math.cos(curve.azimuth), math.sin(curve.azimuth)])
    if curve.kind == "arc":
        centre = curve.start + left / curve.bend_in
        return (
            f'<Curve rot="ccw" {length} radius="{1 / curve.bend_in:.6f}">'
            f"{ends[0]}{point('Center', centre)}{ends[1]}</Curve>"
        )
    radii = ["INF" if b == 0.0 else f"{1 / b:.6f}" for b in (curve.bend_in, curve.bend_out)]
    apart, turn = curve.end - curve.start, curve.turn(curve.length)
    way = np.array([math.sin(curve.azimuth), math.cos(curve.azimuth)])
    meeting = curve.start + way * (apart @ way - (apart @ left) / math.tan(turn))
    return (
        f'<Spiral spiType="clothoid" rot="ccw" {length} radiusStart="{radii[0]}" '
        f'radiusEnd="{radii[1]}">{ends[0]}{point("PI", meeting)}{ends[1]}</Spiral>'
    )


def vertical(station: float, height: float, length: float) -> str:
    """One vertical point."""
    if length == 0.0:
        return f"<PVI>{station:.3f} {height:.4f}</PVI>"
    return f'<ParaCurve length="{length:.3f}">{station:.3f} {height:.4f}</ParaCurve>'


def landxml() -> str:
    """The whole file."""
    plan = "\n        ".join(element(c) for c in curves())
    profile = "\n          ".join(vertical(*v) for v in PROFILE)
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2" date="2031-01-15" \
time="09:00:00">
  <Units>
    <Metric linearUnit="meter" areaUnit="squareMeter" volumeUnit="cubicMeter" \
temperatureUnit="celsius" pressureUnit="milliBars" directionUnit="decimal degrees"/>
  </Units>
  <CgPoints>
    <CgPoint name="CP1">8851.2140 4172.3050 58.1120</CgPoint>
    <CgPoint name="CP2">8930.4480 4241.9070 62.0460</CgPoint>
  </CgPoints>
  <Alignments>
    <Alignment name="Skerrin axis" length="{sum(s[0] for s in SHAPE):.6f}" staStart="0.000">
      <CoordGeom>
        {plan}
      </CoordGeom>
      <Profile>
        <ProfAlign name="Skerrin grade">
          {profile}
        </ProfAlign>
      </Profile>
    </Alignment>
  </Alignments>
</LandXML>
"""


#: where the local zero of the IFC file lies on the map
MAP_EAST, MAP_NORTH = 4000.0, 8500.0


def ifc() -> str:
    """The same axis as IFC 4.3: design parameters only, local coordinates and a map conversion."""
    lines = [
        "IFCPROJECT('0SkerrinAxis000000001',$,'Skerrin',$,$,$,$,(#5),#4)",
        "IFCSIUNIT(*,.LENGTHUNIT.,$,.METRE.)",
        "IFCSIUNIT(*,.PLANEANGLEUNIT.,$,.RADIAN.)",
        "IFCUNITASSIGNMENT((#2,#3))",
        "IFCGEOMETRICREPRESENTATIONCONTEXT($,'Model',3,1.E-05,#7,$)",
        "IFCCARTESIANPOINT((0.,0.,0.))",
        "IFCAXIS2PLACEMENT3D(#6,$,$)",
        "IFCPROJECTEDCRS('local grid',$,$,$,$,$,#2)",
        f"IFCMAPCONVERSION(#5,#8,{MAP_EAST!r},{MAP_NORTH!r},0.,1.,0.,1.)",
        "IFCLOCALPLACEMENT($,#7)",
        "IFCALIGNMENT('0SkerrinAxis000000002',$,'Skerrin axis',$,$,#10,$,$)",
        "IFCALIGNMENTHORIZONTAL('0SkerrinAxis000000003',$,$,$,$,$,$)",
        "IFCALIGNMENTVERTICAL('0SkerrinAxis000000004',$,$,$,$,$,$)",
        "IFCRELNESTS('0SkerrinAxis000000005',$,$,$,#11,(#12,#13))",
        "IFCRELAGGREGATES('0SkerrinAxis000000006',$,$,$,#1,(#11))",
        "IFCPOINTBYDISTANCEEXPRESSION(IFCLENGTHMEASURE(0.),$,$,$,#18)",
        "IFCAXIS2PLACEMENTLINEAR(#16,$,$)",
        "IFCPOLYLINE((#6,#19))",
        "IFCCARTESIANPOINT((1.,0.,0.))",
        "IFCLINEARPLACEMENT($,#17,$)",
        "IFCREFERENT('0SkerrinAxis000000007',$,'0+000',$,$,#20,$,.STATION.)",
        "IFCPROPERTYSINGLEVALUE('Station',$,IFCLENGTHMEASURE(0.),$)",
        "IFCPROPERTYSET('0SkerrinAxis000000008',$,'Pset_Stationing',$,(#22))",
        "IFCRELDEFINESBYPROPERTIES('0SkerrinAxis000000009',$,$,$,(#21),#23)",
        "IFCRELNESTS('0SkerrinAxis000000010',$,$,$,#11,(#21))",
    ]

    def add(text: str) -> str:
        lines.append(text)
        return f"#{len(lines)}"

    def nest(under: str, parts: list[str], tag: str) -> None:
        own = [
            add(f"IFCALIGNMENTSEGMENT('0Skerrin{tag}{k:010d}',$,$,$,$,$,$,{part})")
            for k, part in enumerate(parts, 1)
        ]
        add(f"IFCRELNESTS('0Skerrin{tag}0000000000',$,$,$,{under},({','.join(own)}))")

    nest("#12", [add(horizontal(c, add)) for c in curves()], "Plan")
    nest("#13", [add(v) for v in verticals()], "Prof")
    body = "\n".join(f"#{k}={text};" for k, text in enumerate(lines, 1))
    return f"""ISO-10303-21;
HEADER;
FILE_DESCRIPTION(('ViewDefinition [Alignment-basedView]'),'2;1');
FILE_NAME('axis.ifc','2031-01-15T09:00:00',(''),(''),'','','');
FILE_SCHEMA(('IFC4X3_ADD2'));
ENDSEC;
DATA;
{body}
ENDSEC;
END-ISO-10303-21;
"""


def horizontal(curve: Curve, add: Callable[[str], str]) -> str:
    """One segment of the plan: angles from east, counter-clockwise."""
    kind = {"line": "LINE", "arc": "CIRCULARARC", "clothoid": "CLOTHOID"}[curve.kind]
    place = add(f"IFCCARTESIANPOINT(({curve.east - MAP_EAST:.9f},{curve.north - MAP_NORTH:.9f}))")
    radii = [0.0 if b == 0.0 else 1.0 / b for b in (curve.bend_in, curve.bend_out)]
    return (
        f"IFCALIGNMENTHORIZONTALSEGMENT($,$,{place},{math.pi / 2 - curve.azimuth:.12f},"
        f"{radii[0]:.9f},{radii[1]:.9f},{curve.length:.9f},$,.{kind}.)"
    )


def verticals() -> list[str]:
    """The segments of the profile: the parabola between two grades."""
    (s0, h0, _), (s1, h1, length), (s2, h2, _) = PROFILE
    first, last = (h1 - h0) / (s1 - s0), (h2 - h1) / (s2 - s1)
    begin, end = s1 - length / 2, s1 + length / 2
    rows = [
        (s0, begin - s0, h0, first, first, "CONSTANTGRADIENT"),
        (begin, length, h1 - first * length / 2, first, last, "PARABOLICARC"),
        (end, s2 - end, h1 + last * length / 2, last, last, "CONSTANTGRADIENT"),
    ]
    return [
        f"IFCALIGNMENTVERTICALSEGMENT($,$,{','.join(f'{v:.9f}' for v in values)},$,.{kind}.)"
        for *values, kind in rows
    ]


if __name__ == "__main__":
    folder = HERE / "skerrin-axis"
    folder.mkdir(exist_ok=True)
    (folder / "axis.xml").write_text(landxml(), encoding="utf-8")
    (folder / "axis.ifc").write_text(ifc(), encoding="utf-8")
    (folder / "deck.csv").write_text(DECK, encoding="utf-8")
