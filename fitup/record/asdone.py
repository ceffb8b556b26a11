"""What was read after a stage, held against the bands as printed: go on, hold or stop.

The limits are those of the sheet that was printed, to the last printed digit, for that is what the
crew was stated. Whatever is not read is a reason to hold, never taken as right.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

from fitup.model import QUANTITIES, SIDES, Job, Quantity
from fitup.model.checks import kind_of
from fitup.model.procedure import Support
from fitup.record.stage_work import GO_ON, HOLD, LIFT_OFF
from fitup.record.stage_work import STOPPED as STOP
from fitup.units import DISPLAY, DisplayUnits

#: what a reading may be off its printed limit and still be within it [m or N]: nothing but the
#: last bits of a conversion
_BITS: Final = 1e-9

What = Literal["check", "ram", "load", "pack", "support"]
#: what a seat may stand on -> as it is written
SUPPORTS: Final[Mapping[Support, str]] = {
    "pack": "its pack",
    "nut": "lock nut",
    "temporary": "temporary plates",
    "oil": "OIL",
    "friction": "friction",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing the sheet asks to be read after a stage, with its band as printed, in SI.

    ``name`` is what it is called everywhere: ``J1/P1/step``, ``ram J-A1``, ``load J-A1``,
    ``pack A-S1``, ``lift-off J-A1``; after a recovery also ``dial A-S1``, ``temporary A-S1``,
    ``stands A-S1``.
    """

    name: str
    what: What
    dimension: Literal["length", "force"] = "length"
    least: float = 0.0
    most: float = 0.0
    pack: tuple[str, ...] = ()
    sides: tuple[str, str] = ("", "")
    """What a value above and one below zero is called."""
    opening: float | None = None
    """Nominal opening of a gap [m]: it may be read whole."""
    area: float = 0.0
    """Ram area of a load [m2]: it may be read as pressure."""
    gauge: tuple[float, float] = (0.0, 0.0)
    """The same band as it is printed for the gauge [Pa]."""
    marks: tuple[str, ...] = ()
    """Every plate mark of the job, for a pack."""
    stands: Support | None = None
    """What a seat is to stand on when a recovery is carried out."""


@dataclass(frozen=True, slots=True)
class Read:
    """One reading in SI, a pack as built, bottom to top, or what a seat stands on."""

    value: float | None = None
    pack: tuple[str, ...] | None = None
    understood: str = ""
    """How it was written, where it was taken in another way: ``42.9 mm on the tape``."""
    pressure: float | None = None
    """What the gauge showed [Pa], where it was read and not the load."""
    stands: Support | None = None


@dataclass(frozen=True, slots=True)
class Judged:
    """One reading and what follows from it."""

    name: str
    read: Read | None
    verdict: str
    words: str

    def as_json(self) -> dict[str, Any]:
        """Return it for the record, in SI."""
        read = self.read or Read()
        return {
            "read": self.name,
            "value_si": read.value,
            "pack": None if read.pack is None else list(read.pack),
            **({} if read.stands is None else {"stands": read.stands}),
            "verdict": self.verdict,
            "words": self.words,
        }


@dataclass(frozen=True, slots=True)
class Judgement:
    """A whole stage: every reading, and the gravest of their verdicts with its reasons."""

    stage: int
    readings: tuple[Judged, ...]
    against: tuple[str, ...] = ()
    """Why the stage should not have been done at all."""

    @property
    def verdict(self) -> str:
        """Return ``go on``, ``hold`` or ``stop``."""
        said = {r.verdict for r in self.readings} | ({STOP} if self.against else set())
        return next(v for v in (STOP, HOLD, GO_ON) if v in said or v == GO_ON)

    @property
    def reasons(self) -> tuple[str, ...]:
        """Return why it is not ``go on``, the gravest first."""
        graded = [r for v in (STOP, HOLD) for r in self.readings if r.verdict == v and r.read]
        missing = ", ".join(r.name for r in self.readings if r.read is None)
        return (
            *self.against,
            *(f"{r.name}: {r.words}" for r in graded),
            *((f"not read: {missing}",) if missing else ()),
        )

    def stopped(self, against: tuple[str, ...]) -> Judgement:
        """Return it with reasons why the stage should not have been done."""
        return replace(self, against=against)


def asked_of(sheets: Mapping[str, Any], job: Job, stage: int) -> tuple[Asked, ...]:
    """Return what a printed set of sheets asks to be read after a stage.

    Parameters
    ----------
    sheets : mapping
        Content of its ``sheets.json``.
    job : Job
        As it was planned, for openings, units and the band of moves.
    stage : int

    Returns
    -------
    tuple of Asked
        Empty where there is no such stage.
    """
    printed = {_key(tuple(p["key"])): float(p["value_si"]) for p in sheets["printed"]}
    if stage == LIFT_OFF:
        return tuple(
            Asked(
                f"lift-off {k[1]}",
                "load",
                "force",
                most=v,
                area=job.jacks[str(k[1])].ram_area,
                gauge=(0.0, printed["lift-off", k[1], "pressure_stop"]),
            )
            for k, v in printed.items()
            if k[0] == "lift-off" and k[2] == "load_stop"
        )
    tables = sheets["tables"]
    quantities = {r["check"]: r["quantity"] for r in tables["checks"]}
    # crews of one stage read the joint between them both; it is asked for once
    checks = dict.fromkeys(r["check"] for r in tables.get("expected", ()) if r["stage"] == stage)
    jacks = [(r["jack"], r["seat"]) for r in tables.get("jacks", ()) if r["stage"] == stage]
    seats = dict.fromkeys(seat for _, seat in jacks)
    packs = {
        r["seat"]: tuple(r["build_up_bottom_first"].split())
        for r in tables["moves"]
        if r["seat"] in seats and r["held_by"] == "packs"
    }
    marks = tuple(job.plates)
    lines = [r for r in tables.get("procedure", ()) if r["stage"] == stage]
    return (
        *(_check(job, printed, stage, name, quantities[name]) for name in checks),
        *(_ram(job, printed, stage, jack, lines) for jack, _ in jacks),
        *(_load(job, printed, stage, jack, lines) for jack, _ in jacks),
        *(Asked(f"pack {seat}", "pack", pack=pack, marks=marks) for seat, pack in packs.items()),
    )


def _key(path: tuple[Any, ...]) -> tuple[Any, ...]:
    """Return the path of a printed number as a short key; sheets of old have those already."""
    match path:
        case ("stages", stage, "jacks", *rest):
            return ("jack", stage, *rest)
        case ("stages", stage, "expected", check, end):
            return ("stage", stage, check, {"low": "from", "high": "to"}.get(end, end))
        case ("lift_offs", *rest):
            return ("lift-off", *rest)
        case ("procedures", _, "events", line, "readings", reading, *rest):
            return ("event", line, *reading.split(" ", 1), *rest[rest[:1] == ["bands"] :])
    return path


def judge(asked: Sequence[Asked], read: Mapping[str, Read], job: Job, stage: int) -> Judgement:
    """Hold what was read against what was asked.

    Parameters
    ----------
    asked : sequence of Asked
        All that the sheets ask for after the stage.
    read : mapping of str to Read
        By the name of what is asked; what is missing counts as not read.
    job : Job
        For its units.
    stage : int
        0 for the lift-off.
    """
    units = DISPLAY[job.units]
    return Judgement(stage, tuple(_judged(a, read.get(a.name), units) for a in asked))


def say(asked: Asked, value: float, units: DisplayUnits) -> str:
    """Say a value of what is asked, its side in a word.

    Parameters
    ----------
    asked
    value : float
        In SI [m or N].
    units : DisplayUnits
        Those of the job.
    """
    shown = units.move if asked.dimension == "length" else units.force
    side = asked.sides[0 if value > 0.0 else 1] if shown.number(value) else ""
    return f"{shown.text(abs(value))} {side}".strip()


def _check(job: Job, printed: Mapping[Any, float], stage: int, name: str, named: str) -> Asked:
    pair = next((p for p in job.pairs.values() if name == f"{p.joint}/{p.id}/gap"), None)
    ends = (printed["stage", stage, name, end] for end in ("from", "to"))
    least, most = sorted(ends)
    quantity: Quantity = next(q for q in QUANTITIES if q == named)
    return Asked(
        name,
        "check",
        "force" if kind_of(quantity) == "force" else "length",
        least,
        most,
        sides=SIDES[quantity],
        opening=pair.opening if pair else None,
    )


#: a printed number by its key
_Printed = Mapping[Any, float]
#: a line of the table of the procedure
_Lines = Sequence[Mapping[str, Any]]


def _ram(job: Job, printed: _Printed, stage: int, jack: str, lines: _Lines) -> Asked:
    """Return where a ram was brought to: at the last line of the sheet that works it."""
    lifts = job.seats[job.jacks[jack].seat].pushes == "up"
    sides = ("above START", "below START") if lifts else ("beyond START", "short of START")
    worked = ("ram", jack, "STOP")
    own = [r for r in lines if (r["instrument"], r["at"], r["outside_it"]) == worked]
    if own:
        key = ("event", own[-1]["line"], "ram", jack, "STOP")
        ends = (printed[*key, "low"], printed[*key, "high"])
        return Asked(f"ram {jack}", "ram", "length", *ends, sides=sides)
    steps = sorted(k[3:] for k in printed if k[:3] == ("jack", stage, jack) and len(k) == 5)
    last = [s for s in steps if s[0] == "down"] or [s for s in steps if s[0] == "up"]
    end = printed["jack", stage, jack, *last[-1]] if last else 0.0
    band = printed["jack", stage, jack, "move_band"]
    return Asked(f"ram {jack}", "ram", "length", end - band, end + band, sides=sides)


def _load(job: Job, printed: _Printed, stage: int, jack: str, lines: _Lines) -> Asked:
    """Return the greatest load on the way: below its lower end it never came onto the jack.

    The greatest of a stage may be at any line: it is held between the least and the greatest stop
    that the sheet prints for the gauge of the jack.
    """
    area, own = (
        job.jacks[jack].ram_area,
        [
            ("event", r["line"], "gauge", jack, "STOP")
            for r in lines
            if (r["instrument"], r["at"], r["outside_it"]) == ("gauge", jack, "STOP")
        ],
    )
    lows = [v for key in own if (v := printed.get((*key, "low"))) is not None and v > 0.0]
    highs = [v for key in own if (v := printed.get((*key, "high"))) is not None]
    if highs:
        gauge = (min(lows, default=0.0), max(highs))
        ends = (gauge[0] * area, gauge[1] * area)
    else:
        low, high = (printed["jack", stage, jack, f"pressure_{end}"] for end in ("low", "stop"))
        gauge = (low, high)
        ends = (printed["jack", stage, jack, "load_low"], printed["jack", stage, jack, "load_stop"])
    return Asked(f"load {jack}", "load", "force", *ends, area=area, gauge=gauge)


def _judged(asked: Asked, read: Read | None, units: DisplayUnits) -> Judged:
    if read is None:
        return Judged(asked.name, None, HOLD, "not read")
    if asked.what == "pack":
        return _pack(asked, read)
    if asked.stands is not None:
        return _stands(asked, asked.stands, read)
    value = read.value or 0.0
    said = say(asked, value, units) + (f" ({read.understood})" if read.understood else "")
    if asked.what == "load":
        return _loaded(asked, read, said, units)
    if asked.least - _BITS <= value <= asked.most + _BITS:
        return Judged(asked.name, read, GO_ON, said)
    ends = f"{say(asked, asked.least, units)} to {say(asked, asked.most, units)}"
    return Judged(asked.name, read, STOP, f"{said}, outside {ends}")


def _loaded(asked: Asked, read: Read, said: str, units: DisplayUnits) -> Judged:
    """Judge a load by the band of the instrument it was read from."""
    value, (least, most), shown = read.value or 0.0, (asked.least, asked.most), units.force
    if read.pressure is not None:
        value, (least, most), shown = read.pressure, asked.gauge, units.pressure
    bits = _BITS * max(1.0, most)
    if value > most + bits:
        return Judged(asked.name, read, STOP, f"{said}, above {shown.text(most)}")
    if value < least - bits:
        return Judged(asked.name, read, STOP, f"{said}, below {shown.text(least)}")
    return Judged(asked.name, read, GO_ON, said)


def _stands(asked: Asked, wanted: Support, read: Read) -> Judged:
    if read.stands is None:
        return Judged(asked.name, None, HOLD, "not read")
    said = SUPPORTS[read.stands]
    if read.stands == wanted:
        return Judged(asked.name, read, GO_ON, said)
    return Judged(asked.name, read, STOP, f"{said}, not {SUPPORTS[wanted]}")


def _pack(asked: Asked, read: Read) -> Judged:
    built = read.pack or ()
    said = ("+".join(built) or "no plates") + (f" ({read.understood})" if read.understood else "")
    if built == asked.pack:
        return Judged(asked.name, read, GO_ON, said)
    planned = "+".join(asked.pack) or "no plates"
    if sorted(built) == sorted(asked.pack):
        return Judged(asked.name, read, HOLD, f"{said}, in another order than {planned}")
    return Judged(asked.name, read, STOP, f"{said} was built, not {planned}")
