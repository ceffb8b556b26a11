"""``fitup start``: a job folder laid out from a few dimensions, or a small whole example."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from fitup import units
from fitup.cli.text import json_option, say_json
from fitup.jobfolder import start_job, start_laid_out

if TYPE_CHECKING:
    from fitup.jobfolder.layout import Layout

Command = TypeVar("Command", bound=Callable[..., Any])


@dataclass(frozen=True)
class _Asked:
    """A dimension: an option, and a question where nobody gave it."""

    name: str
    kind: str
    metric: str
    us: str
    meaning: str
    needed: bool = True
    choices: tuple[str, ...] = ()

    def unit(self, display: str) -> str:
        return self.us if display == "US" else self.metric

    @property
    def type(self) -> click.ParamType[Any]:
        if self.choices:
            return click.Choice(self.choices)
        return click.INT if self.kind == "count" else click.FLOAT


_DIMENSIONS: Final = (
    _Asked("segments", "count", "", "", "segments, one after the other"),
    _Asked("deck", "word", "", "", "kind of deck", choices=("box", "girders")),
    _Asked("seats", "count", "", "", "upward seats of a segment: 4, 6, 8 ..., or 3 for a box"),
    _Asked("length", "length", "m", "ft", "length of a segment"),
    _Asked("width", "length", "m", "ft", "width of the deck"),
    _Asked("depth", "length", "m", "ft", "depth from deck to soffit"),
    _Asked("weight", "force", "kN", "kip", "weight of a segment with all that is fixed to it"),
    _Asked("along", "length", "m", "ft", "between the two lines of seats, along the segment"),
    _Asked("across", "length", "m", "ft", "between the outer seats of a line, across"),
    _Asked("opening", "length", "mm", "in", "nominal opening of a joint"),
    _Asked("push-along", "count", "", "", "seats of a segment that push it along: 0, 1, 2", False),
    _Asked("push-across", "count", "", "", "seats of a segment that push it across", False),
    _Asked("azimuth", "angle", "deg", "deg", "direction of increasing station", False),
    _Asked("grade", "slope", "pct", "pct", "rise going ahead; falling is negative", False),
    _Asked("crossfall", "slope", "pct", "pct", "slope across, without a sign", False),
    _Asked("stiffness", "stiffness", "kN_per_mm", "kip_per_in", "of every upward seat", False),
    _Asked("pack-most", "length", "mm", "in", "greatest pack at an upward seat", False),
    _Asked("reaction-least", "force", "kN", "kip", "least bearing at an upward seat", False),
    _Asked("reaction-most", "force", "kN", "kip", "greatest reaction at an upward seat", False),
    _Asked("capacity", "force", "kN", "kip", "rated capacity of every upward jack", False),
    _Asked("ram-area", "area", "cm2", "in2", "effective ram area of it", False),
    _Asked("stroke", "length", "mm", "in", "full stroke of it", False),
    _Asked("resolution", "length", "mm", "in", "least movement it can be set to", False),
)
#: what is the same at every upward seat, and at every upward jack
_SEAT: Final = ("stiffness", "pack_most", "reaction_least", "reaction_most")
_JACK: Final = ("capacity", "ram_area", "stroke", "resolution")


def _dimensions(command: Command) -> Command:
    """Give a command an option for every dimension."""
    for one in reversed(_DIMENSIONS):
        unit = f" [{one.metric} or {one.us}]" if one.metric != one.us else ""
        unit = unit or (f" [{one.metric}]" if one.metric else "")
        words = f"{one.meaning[0].upper()}{one.meaning[1:]}{unit}."
        command = click.option(f"--{one.name}", type=one.type, help=words)(command)
    return command


@click.command("start")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--units", "display", type=click.Choice(["metric", "US"]), help="Units of it all.")
@_dimensions
@click.option("--falls-to", type=click.Choice(["left", "right"]), help="Side of the crossfall.")
@click.option("--lock-nuts/--no-lock-nuts", default=None, help="Whether jacks have lock nuts.")
@click.option("--origin", type=float, nargs=3, help="E N H of the first back face, on the axis.")
@click.option("--observations", is_flag=True, help="A survey of what the instrument read.")
@click.option("--with", "extras", multiple=True, help="A table besides, such as pumps or limits.")
@click.option("--example", is_flag=True, help="A small whole job with numbers, to be looked at.")
@click.option("--frame", is_flag=True, help="With --example: its structure is a frame of members.")
@json_option
def command(
    folder: Path,
    display: str | None,
    falls_to: str | None,
    lock_nuts: bool | None,
    origin: tuple[float, float, float] | None,
    observations: bool,
    extras: tuple[str, ...],
    example: bool,
    frame: bool,
    as_json: bool,
    **given: Any,
) -> None:
    """Lay out a job folder from a few dimensions, with no more tables than it needs.

    Dimensions are in m, mm, kN, or with --units US in ft, in, kip. At a terminal those that are
    not given are asked for. Places are those of a regular deck: hold them against the drawings.
    What nobody can lay out stays empty, and fitup check names it.

    \b
    Example:
      fitup start closure-k1
      fitup start closure-k1 --segments 2 --deck box --seats 4 --length 30 --width 12 --depth 3 \\
        --weight 4180 --along 24 --across 7 --opening 10 --with limits --with pumps
      fitup start closure-k1 --example
    """
    if example:
        _refuse_dimensions(given, display, extras)
        written = start_job(folder, frame=frame, observations=observations)
    elif frame:
        raise click.UsageError("a frame is not laid out: start from --example --frame")
    else:
        asking = not any(v is not None for v in given.values()) and sys.stdin.isatty()
        if asking:
            display, observations, extras = _ask(given, display, observations, extras)
        display = display or "metric"
        _require(given)
        deck = _layout(given, display, origin, falls_to, lock_nuts)
        files = tuple(_file(name) for name in extras)
        written = start_laid_out(
            folder, deck, display=display, observations=observations, extras=files
        )
    if as_json:
        say_json({"written": [str(path) for path in written]})
        return
    for path in written:
        click.echo(f"wrote {path}")
    click.echo(f"Fill in the tables, then: fitup check {folder}")
    if not example:
        click.echo(
            "Hold places, weights and centres of gravity against the drawings: they are laid"
        )
        click.echo("out for a regular deck. Other tables: fitup add --help")


def _refuse_dimensions(
    given: Mapping[str, Any], display: str | None, extras: tuple[str, ...]
) -> None:
    """Refuse dimensions for the example, which has its own."""
    if display or extras or any(value is not None for value in given.values()):
        raise click.UsageError("--example has dimensions, units and tables of its own")


def _ask(
    given: dict[str, Any], display: str | None, observations: bool, extras: tuple[str, ...]
) -> tuple[str, bool, tuple[str, ...]]:
    """Ask for what is needed, in place."""
    units_wanted = click.Choice(["metric", "US"])
    display = display or click.prompt("units", type=units_wanted, default="metric")
    assert display is not None
    for one in _DIMENSIONS:
        if one.needed:
            unit = f" [{one.unit(display)}]" if one.metric else ""
            given[one.name.replace("-", "_")] = click.prompt(one.meaning + unit, type=one.type)
    if not observations:
        kind = click.Choice(["coordinates", "observations"])
        observations = click.prompt("survey", type=kind, default="coordinates") == "observations"
    if not extras:
        wanted = click.prompt("tables besides, such as: pumps limits ride", default="none")
        extras = () if wanted == "none" else tuple(wanted.replace(",", " ").split())
    return display, observations, extras


def _require(given: Mapping[str, Any]) -> None:
    missing = [f"--{d.name}" for d in _DIMENSIONS if d.needed and given[d.name] is None]
    if missing:
        raise click.UsageError(f"give {', '.join(missing)} too; or --example for a small whole job")


def _layout(
    given: Mapping[str, Any],
    display: str,
    origin: tuple[float, float, float] | None,
    falls_to: str | None,
    lock_nuts: bool | None,
) -> Layout:
    """Return the deck in SI."""
    from fitup.jobfolder.layout import Layout

    si = {
        d.name.replace("-", "_"): _si(d, given[d.name.replace("-", "_")], display)
        for d in _DIMENSIONS
    }
    seat = {name: value for name in _SEAT if (value := si.pop(name)) is not None}
    jack = {name: value for name in _JACK if (value := si.pop(name)) is not None}
    if lock_nuts is not None:
        jack["lock_nut"] = "yes" if lock_nuts else "no"
    fall = si.pop("crossfall")
    if (fall is None) != (falls_to is None):
        raise click.UsageError("--crossfall and --falls-to go together")
    if fall is not None:
        si["fall"] = fall if falls_to == "right" else -fall
    if origin is not None:
        unit = "ft" if display == "US" else "m"
        si["origin"] = tuple(units.to_si(value, "length", unit) for value in origin)
    return Layout(**{k: v for k, v in si.items() if v is not None}, seat=seat, jack=jack)


def _si(one: _Asked, value: Any, display: str) -> Any:
    if value is None or not one.metric:
        return value
    return units.to_si(value, one.kind, one.unit(display))


def _file(name: str) -> str:
    return name if name.endswith(".csv") else f"{name}.csv"
