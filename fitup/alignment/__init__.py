"""The design axis: line, arc and clothoid, profile and crossfall, from open files; both ways."""

from fitup.alignment.alignment import Alignment, Place
from fitup.alignment.landxml import LandXml, read_landxml

__all__ = ["Alignment", "LandXml", "Place", "read_landxml"]
