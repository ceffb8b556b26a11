"""What people hold in their hands: move sheets, shim schedule, report, figures and tables.

``build_sheets`` rounds a certified plan once into a :class:`SheetSet`; every renderer prints
that model and computes nothing of its own.
"""

from fitup.sheets.build import build_sheets
from fitup.sheets.model import SheetSet
from fitup.sheets.write import write_sheets

__all__ = ["SheetSet", "build_sheets", "write_sheets"]
