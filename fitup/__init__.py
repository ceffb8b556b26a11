"""fitup: bring deck segments to their final geometry, and prove it before anyone moves a jack.

The names of this page are all that a notebook needs; each is loaded when it is first used.

    import fitup

    opened = fitup.open_job("closure-k1")
    opened.plan.inside
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from fitup.checks import joint_state
    from fitup.dataframes import from_frame, to_frame
    from fitup.errors import FitupError, InputError
    from fitup.jobfolder import read_job
    from fitup.openjob import OpenJob, open_job
    from fitup.plan import make_plan
    from fitup.sheets import build_sheets, write_sheets
    from fitup.structure import influence_of
    from fitup.survey import read_survey

__version__ = "0.1.0"

#: name -> module that it is loaded from
_HOME: Final = {
    "FitupError": "fitup.errors",
    "InputError": "fitup.errors",
    "OpenJob": "fitup.openjob",
    "build_sheets": "fitup.sheets",
    "from_frame": "fitup.dataframes",
    "influence_of": "fitup.structure",
    "joint_state": "fitup.checks",
    "make_plan": "fitup.plan",
    "open_job": "fitup.openjob",
    "read_job": "fitup.jobfolder",
    "read_survey": "fitup.survey",
    "to_frame": "fitup.dataframes",
    "write_sheets": "fitup.sheets",
}

__all__ = [
    "FitupError",
    "InputError",
    "OpenJob",
    "__version__",
    "build_sheets",
    "from_frame",
    "influence_of",
    "joint_state",
    "make_plan",
    "open_job",
    "read_job",
    "read_survey",
    "to_frame",
    "write_sheets",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'fitup' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME})
