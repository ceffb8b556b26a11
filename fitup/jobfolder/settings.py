"""Read ``job.toml``: name, units, tolerances, gates, how the crew works, objectives, surveys."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Final, Literal

from fitup import units
from fitup.errors import InputError, Problem
from fitup.jobfolder.epochs import read_epochs
from fitup.jobfolder.keys import FILE, KeyReader, spellings, take_new_names
from fitup.jobfolder.staging import read_staging
from fitup.model import (
    QUANTITIES,
    STRAIGHTEDGE,
    Epoch,
    Gates,
    Learning,
    LockOff,
    NetworkRules,
    Objectives,
    Quantity,
    Staging,
    Tolerance,
    Uncertainties,
    Working,
    kind_of,
)
from fitup.model.rules import RULES
from fitup.plainfile import parse_toml, read_text

_GATES: Final = {
    "hours_apart": "time",
    "temperature_apart": "temperature_step",
    "temperature_off": "temperature_step",
    "deck_load_apart": "force",
    "deviation_most": "length",
}
_WORKING: Final = {
    "insertion": "length",
    "lift_step": "length",
    "follow_up": "length",
    "jack_reserve": "",
    "move_band": "length",
    "load_band": "",
}
_OBJECTIVES: Final = {
    "worst_ratio_goal": "",
    "squares_slack": "",
    "squares_slack_floor": "",
    "search_effort": "",
    "time_limit": "time_s",
    "risk": "",
}
_UNCERTAINTY: Final = {
    "steel": "temperature_step",
    "expansion": "",
    "plate": "length",
    "bedding": "length",
    "dial": "length",
    "stiffness": "",
    "influence": "",
    "cables": "temperature_step",
    "shot": "length",
    "reading": "length",
    "fabrication": "length",
}
_LOCKOFF: Final = {
    "survey_age": "time",
    "survey_takes": "time",
    "survey_change": "length",
    "air_lag": "time",
}
#: values that must be above zero, and shares that must stay below a bound
_ABOVE: Final = frozenset(
    {"lift_step", "search_effort", "time_limit", "risk", "survey_age", "survey_takes"}
    | {"survey_change", "shot", "reading"}
)
_BELOW: Final = {"risk": 0.5, "expansion": 1.0, "stiffness": 1.0}
_LEARNING: Final = {"settlement": "length", "movement": "", "gauge": "", "load_reading": ""}
_TOP: Final = (
    "name",
    "units",
    "grid",
    "reference_temperature",
    "stage",
    "tolerance",
    "gates",
    "working",
    "staging",
    "objectives",
    "uncertainty",
    "lockoff",
    "learning",
    "exclude",
    "names",
    "waive",
    "influence",
    "alignment",
    "network",
    "ride",
    "survey",
)
_NETWORK: Final = {"refraction": (-1.0, 1.0), "projection_scale": (0.99, 1.01)}
_SWITCHES: Final = ("collimation", "prism", "air", "curvature", "sea_level")


@dataclass(slots=True)
class Settings:
    """What ``job.toml`` says, in SI."""

    name: str = ""
    units: str = "metric"
    grid: str = ""
    reference_temperature: float = math.nan
    stage: str = ""
    tolerances: dict[Quantity, Tolerance] = field(default_factory=dict)
    gates: Gates = Gates()
    working: Working = Working()
    staging: Staging = Staging()
    objectives: Objectives = Objectives()
    uncertainties: Uncertainties = Uncertainties()
    lockoff: LockOff = LockOff()
    learning: Learning = Learning()
    excluded: dict[str, str] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)
    waived: dict[str, str] = field(default_factory=dict)
    influence_table: str | None = None
    straightedge: float = STRAIGHTEDGE
    alignment_file: str | None = None
    alignment_name: str | None = None
    alignment_surface: str | None = None
    influence_by: Literal["rigid", "table", "frame"] = "rigid"
    network: NetworkRules = NetworkRules()
    epochs: tuple[Epoch, ...] = ()


def read_settings(folder: Path, problems: list[Problem]) -> Settings:
    """Read and check ``job.toml``.

    Parameters
    ----------
    folder : Path
    problems : list of Problem
        What is wrong is added to it.
    """
    settings = Settings()
    try:
        document = parse_toml(read_text(folder / FILE, FILE), FILE)
    except InputError as error:
        problems.extend(error.problems)
        return settings
    reader = KeyReader(problems)
    take_new_names(reader, document)
    top = [*_TOP[:3], *spellings("reference_temperature", "temperature"), *_TOP[4:]]
    bare = "reference_temperature"
    reader.unknown("", {k: v for k, v in document.items() if k != bare}, top)
    settings.name = reader.text("", document, "name")
    settings.grid = reader.text("", document, "grid")
    settings.units = reader.text("", document, "units")
    if settings.units and settings.units not in units.DISPLAY:
        reader.complain("units", repr(settings.units), "metric or US", "choose what is printed")
    value = reader.number("", document, bare, "temperature", needed=True)
    settings.reference_temperature = math.nan if value is None else value
    settings.stage = reader.text("", document, "stage", needed=False)
    settings.straightedge = _straightedge(reader, document)
    settings.tolerances = _tolerances(reader, _table(reader, document, "tolerance"), settings)
    settings.gates = _record(reader, Gates, _GATES, document, "gates")
    settings.working = _record(reader, Working, _WORKING, document, "working")
    settings.staging = read_staging(
        reader, _table(reader, document, "staging"), settings.working.jack_reserve, spellings
    )
    settings.objectives = _objectives(reader, document)
    settings.uncertainties = _record(reader, Uncertainties, _UNCERTAINTY, document, "uncertainty")
    settings.lockoff = _record(reader, LockOff, _LOCKOFF, document, "lockoff")
    settings.learning = _record(reader, Learning, _LEARNING, document, "learning")
    settings.excluded = _reasons(reader, _table(reader, document, "exclude"), "exclude")
    settings.names = _reasons(reader, _table(reader, document, "names"), "names", "an id")
    settings.waived = _reasons(reader, _table(reader, document, "waive"), "waive")
    influence = _table(reader, document, "influence")
    _influence(reader, settings, influence)
    axis = _table(reader, document, "alignment")
    reader.unknown("alignment.", axis, ["file", "name", "surface"])
    if axis:
        settings.alignment_file = reader.text("alignment.", axis, "file") or None
        settings.alignment_name = reader.text("alignment.", axis, "name", needed=False) or None
        surface = reader.text("alignment.", axis, "surface", needed=False)
        settings.alignment_surface = surface or None
    settings.network = _network(reader, _table(reader, document, "network"))
    settings.epochs = read_epochs(reader, document.get("survey"))
    return settings


def _table(reader: KeyReader, document: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    table = document.get(key, {})
    if not isinstance(table, dict):
        reader.complain(key, repr(table), f"a table [{key}]", "see the template")
        return {}
    return table


def _influence(reader: KeyReader, settings: Settings, table: Mapping[str, Any]) -> None:
    reader.unknown("influence.", table, ["table", "model"])
    if "table" in table:
        settings.influence_table = reader.text("influence.", table, "table") or None
    model = table.get("model", "rigid" if settings.influence_table is None else "table")
    if model not in ("rigid", "table", "frame"):
        reader.complain("influence.model", repr(model), "rigid, table or frame", "correct it")
    elif model == "table" and "table" not in table:
        reader.complain("influence.table", "no such key", "a file in the job folder", "name it")
    else:
        settings.influence_by = model


def _tolerances(
    reader: KeyReader, table: Mapping[str, Any], settings: Settings
) -> dict[Quantity, Tolerance]:
    if not table:
        reader.complain(
            "tolerance", "no tolerances", "at least [tolerance.step] or [tolerance.gap]", "add them"
        )
    result: dict[Quantity, Tolerance] = {}
    reader.unknown("tolerance.", table, list(QUANTITIES))
    for quantity in QUANTITIES:
        entry = table.get(quantity)
        if entry is None:
            continue
        where = f"tolerance.{quantity}."
        if not isinstance(entry, dict):
            reader.complain(
                where[:-1], repr(entry), "a table with value and source", "see the template"
            )
            continue
        dimension = kind_of(quantity)
        allowed = [*spellings("value", dimension), "value", "source", "weight"]
        sized = {k: v for k, v in entry.items() if k not in _RULE_SIZES}
        reader.unknown(where, sized, [*allowed, "rule", "thickness", "throat"])
        value: float | None
        if "rule" in entry:
            value, source = tolerance_by_rule(reader, where, entry, quantity, settings)
        else:
            value = reader.number(where, entry, "value", dimension, needed=True)
            source = reader.text(where, entry, "source")
        weight = reader.number(where, entry, "weight", "")
        weight = 1.0 if weight is None else weight
        if value is not None and value <= 0.0 and "rule" not in entry:
            key, written = reader.given(entry, "value", dimension)
            reader.complain(f"{where}{key}", written, "above zero", "correct it")
        elif weight < 0.0:
            reader.complain(f"{where}weight", f"{weight:g}", "not below zero", "correct it")
        elif value is not None and source:
            result[quantity] = Tolerance(value, source, weight)
    return result


def _record(
    reader: KeyReader,
    kind: type[Any],
    dimensions: Mapping[str, str],
    document: Mapping[str, Any],
    key: str,
    other: tuple[str, ...] = (),
) -> Any:
    """Read the numbers of a table; its ``other`` keys are read elsewhere."""
    table = _table(reader, document, key)
    allowed = [*(s for n, d in dimensions.items() for s in spellings(n, d)), *other]
    known = {*dimensions, *other}
    reader.unknown(f"{key}.", {k: v for k, v in table.items() if k not in known}, allowed)
    given: dict[str, float] = {}
    for name in (f.name for f in fields(kind) if f.name in dimensions):
        value = reader.number(f"{key}.", table, name, dimensions[name])
        if value is None:
            continue
        least = 1.0 if name == "jack_reserve" else 0.0
        above = name in _ABOVE
        if value < least or (above and value == 0.0):
            spelled, written = reader.given(table, name, dimensions[name])
            allowed_text = "above zero" if above else f"at least {least:g}"
            reader.complain(f"{key}.{spelled}", written, allowed_text, "correct it")
            continue
        if value >= _BELOW.get(name, math.inf):
            spelled, written = reader.given(table, name, dimensions[name])
            reader.complain(f"{key}.{spelled}", written, f"below {_BELOW[name]:g}", "correct it")
            continue
        given[name] = value
    return kind(**given)


def _objectives(reader: KeyReader, document: Mapping[str, Any]) -> Objectives:
    objectives: Objectives = _record(
        reader, Objectives, _OBJECTIVES, document, "objectives", ("leave_alone",)
    )
    names = _table(reader, document, "objectives").get("leave_alone", [])
    if not isinstance(names, list) or not all(isinstance(n, str) for n in names):
        allowed = 'a list of seats such as ["A-S1", "A-S2"]'
        reader.complain("objectives.leave_alone", repr(names), allowed, "correct it")
        return objectives
    return replace(objectives, leave_alone=tuple(dict.fromkeys(names)))


#: what a rule may need, in any unit
_RULE_SIZES: Final = (*spellings("thickness", "length"), *spellings("throat", "length"))


def tolerance_by_rule(
    reader: KeyReader,
    where: str,
    entry: Mapping[str, Any],
    quantity: Quantity,
    settings: Settings,
) -> tuple[float | None, str]:
    """Return value and source of a tolerance that a rule gives; what is wrong is stated.

    Parameters
    ----------
    reader, entry, quantity, settings
    where : str
        Key of the table ``entry``, with a point at its end.
    """
    fits = [r for r in RULES if quantity in r.quantities]
    rule = next((r for r in fits if r.name == entry["rule"]), None)
    if rule is None:
        names = ", ".join(f"'{r.name}'" for r in fits) or "no rule: give value and source"
        reader.complain(f"{where}rule", repr(entry["rule"]), names, "list them with: fitup rules")
        return None, ""
    own = [k for n in ("value", "source") for k in entry if k == n or k.startswith(f"{n}_")]
    if own:
        found, do = "a value of its own beside a rule", "delete one: the rule gives both"
        reader.complain(f"{where}{own[0]}", found, "value and source, or a rule", do)
        return None, ""
    size = 0.0
    for name in ("thickness", "throat"):
        needed = rule.needs == name
        given = reader.number(where, entry, name, "length", needed=needed)
        if given is not None and not needed:
            found, allowed = f"a {name}, which '{rule.name}' does not need", rule.needs or "none"
            reader.complain(f"{where}{name}", found, allowed, "delete it")
            return None, ""
        if needed and given is None:
            return None, ""
        size = given or size
    try:
        return rule.amount(size, settings.straightedge, settings.units), rule.source(size)
    except ValueError as error:
        reader.complain(f"{where}rule", f"'{rule.name}' here", str(error), "choose another rule")
        return None, ""


def _straightedge(reader: KeyReader, document: Mapping[str, Any]) -> float:
    table = _table(reader, document, "ride")
    bare = "straightedge"
    rest = {k: v for k, v in table.items() if k != bare}
    reader.unknown("ride.", rest, spellings(bare, "length"))
    value = reader.number("ride.", table, bare, "length", needed=bool(table))
    if value is not None and not 0.5 <= value <= 10.0:
        key, written = reader.given(table, bare, "length")
        reader.complain(f"ride.{key}", written, "from 0.5 to 10 m", "give its length")
        return STRAIGHTEDGE
    return STRAIGHTEDGE if value is None else value


def _reasons(
    reader: KeyReader,
    table: Mapping[str, Any],
    where: str,
    allowed: str = "the reason and who decided",
) -> dict[str, str]:
    result: dict[str, str] = {}
    for key, reason in table.items():
        if not isinstance(reason, str) or not reason.strip():
            reader.complain(f"{where}.{key}", repr(reason), allowed, "write it down")
        else:
            result[key] = reason.strip()
    return result


def _network(reader: KeyReader, table: Mapping[str, Any]) -> NetworkRules:
    reader.unknown("network.", table, ["datum", *_NETWORK, *_SWITCHES])
    given: dict[str, Any] = {}
    if "datum" in table:
        if table["datum"] in ("control", "free"):
            given["datum"] = table["datum"]
        else:
            reader.complain("network.datum", repr(table["datum"]), "control or free", "correct it")
    for name, (least, most) in _NETWORK.items():
        value = reader.number("network.", table, name, "")
        if value is None:
            continue
        if least <= value <= most:
            given[name] = value
        else:
            allowed = f"from {least:g} to {most:g}"
            reader.complain(f"network.{name}", f"{value:g}", allowed, "correct it")
    for name in _SWITCHES:
        if name not in table:
            continue
        if isinstance(table[name], bool):
            given[name] = table[name]
        else:
            reader.complain(f"network.{name}", repr(table[name]), "true or false", "correct it")
    return NetworkRules(**given)
