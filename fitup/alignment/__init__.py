"""The design axis: line, arc and clothoid, profile and crossfall, from open files; both ways."""

from fitup.alignment.alignment import Alignment, AxisPlace
from fitup.alignment.designfile import read_design
from fitup.alignment.landxml import DesignFile, read_landxml

__all__ = ["Alignment", "AxisPlace", "DesignFile", "read_design", "read_landxml"]
