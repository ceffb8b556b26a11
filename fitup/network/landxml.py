"""Raw observations of a LandXML file as the rows of an observation file.

LandXML 1.2 (2008), elements InstrumentSetup, ObservationGroup, RawObservation and TargetPoint; the
names of elements and attributes from memory. A set-up is free unless its station is a point of the
job and its instrument height is given. Distances are taken as displayed, air and prism as the
instrument applied them.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Final

from fitup.alignment.fileunits import ANGLE_UNITS, Units, read_units
from fitup.alignment.xmlfile import XmlElement, read_xml
from fitup.errors import InputError, Problem

_HEADER: Final = (
    "setup",
    "target",
    "face",
    "hz_rad",
    "v_rad",
    "sd_m",
    "target_height_m",
    "over",
    "instrument_height_m",
)


def observation_rows(path: Path, shown: str, known: Collection[str]) -> str:
    """Return the raw observations of a LandXML file as the text of an observation file.

    Parameters
    ----------
    path : Path
    shown : str
        Its name in messages.
    known : collection of str
        Names of points that an instrument may stand over.

    Raises
    ------
    InputError
        With everything that keeps it from being read.
    """
    problems: list[Problem] = []
    root = XmlElement("LandXML", shown, problems, read_xml(path, shown))
    if root.tag != "LandXML":
        root.complain(f"<{root.tag}>", "<LandXML> version 1.2", "export it as LandXML")
        raise InputError(problems)
    units = read_units(root)
    rows = [] if units is None else list(_rows(root, units, known))
    if not rows and not problems:
        root.complain("no RawObservation", "raw observations", "export what the instrument read")
    if problems:
        raise InputError(problems)
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([_HEADER, *rows])
    return text.getvalue()


def _rows(root: XmlElement, units: Units, known: Collection[str]) -> Iterator[tuple[str, ...]]:
    angles = _angle_unit(root)
    for survey in root.all("Survey"):
        setups = {node.text("id"): node for node in survey.all("InstrumentSetup")}
        prisms = {node.text("id"): node for node in survey.all("TargetSetup")}
        for group in (*survey.all("InstrumentSetup"), *survey.all("ObservationGroup")):
            for node in group.all("RawObservation"):
                own = node.text("setupID") or group.text("setupID") or group.text("id")
                setup = setups.get(own)
                if setup is None:
                    allowed = "an InstrumentSetup of the file"
                    node.complain(f"setupID '{own[:20]}'", allowed, "export it whole")
                    continue
                stated = node.text("targetHeight")
                height = node if stated else prisms.get(node.text("targetSetupID"))
                yield _row(node, own, setup, height, units, angles, known)


def _row(
    node: XmlElement,
    own: str,
    setup: XmlElement,
    height: XmlElement | None,
    units: Units,
    angles: str,
    known: Collection[str],
) -> tuple[str, ...]:
    target = node.first("TargetPoint")
    name = "" if target is None else target.text("name") or target.text("pntRef")
    place = node.named(f"RawObservation from '{own}' to '{name}'")
    if not name:
        place.complain("no name of a target", "<TargetPoint name=...>", "name it")
    station, stands = setup.text("stationName"), setup.text("instrumentHeight")
    over = station in known and bool(stands)

    def angle(attribute: str) -> str:
        value = place.number(attribute)
        return "" if value is None else repr(units.angle(value, angles))

    def length(at: XmlElement | None, attribute: str) -> str:
        value = None if at is None else at.named(place.where).number(attribute)
        return "" if value is None else repr(units.metres(value))

    direct = node.text("directFace").casefold()
    return (
        own,
        name,
        "2" if direct in ("false", "0") else "1",
        angle("horizAngle"),
        angle("zenithAngle"),
        length(place, "slopeDistance"),
        length(height, "targetHeight"),
        station if over else "",
        length(setup, "instrumentHeight") if over else "",
    )


def _angle_unit(root: XmlElement) -> str:
    """Unit of angles, which a file may declare apart from that of directions."""
    node = root.first("Units")
    system = None if node is None else node.first("Metric") or node.first("Imperial")
    word = "" if system is None else system.text("angularUnit")
    if word and word not in ANGLE_UNITS:
        root.complain(f"angularUnit '{word[:20]}'", ", ".join(ANGLE_UNITS), "export it again")
    return ANGLE_UNITS.get(word, "rad")
