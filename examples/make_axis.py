"""Write the example axis: an invented line over the crossing, as a design office would export it.

Run ``python examples/make_axis.py`` to write ``skerrin-axis`` beside this file again. It passes
the closure joint K1 of the other examples at station 0+180.
"""

from __future__ import annotations

import math
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


if __name__ == "__main__":
    folder = HERE / "skerrin-axis"
    folder.mkdir(exist_ok=True)
    (folder / "axis.xml").write_text(landxml(), encoding="utf-8")
    (folder / "deck.csv").write_text(DECK, encoding="utf-8")
