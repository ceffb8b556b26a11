"""How far a stage or a way out of it is: what was reported, what is missing, what stops it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from fitup.record.check_code import check_code
from fitup.record.events import Event

GO_ON: Final = "go on"
HOLD: Final = "hold"
STOPPED: Final = "stop"
#: the measured lift-off is reported and released like a stage
LIFT_OFF: Final = 0

#: goal of a recovery -> how it leaves the stage
LEAVES: Final[Mapping[str, str]] = {
    "safe": "rests on steel in the middle of",
    "back": "has not begun",
    "end": "is at the end of",
}


@dataclass(frozen=True, slots=True)
class Called:
    """A STOP that somebody called."""

    entry: int
    who: str
    when: str
    why: str
    about: str = ""
    """Recovery whose reading it is; empty where somebody called it."""

    @property
    def words(self) -> str:
        """Return it in a line."""
        how = "was read" if self.about else "was called"
        return f"STOP {how} (entry {self.entry}): {self.why}"


@dataclass(frozen=True, slots=True)
class Reported:
    """What one report says of one reading."""

    verdict: str
    words: str
    entry: int


@dataclass(frozen=True, slots=True)
class StageWork:
    """A stage of one plan: what was reported since its hold point was last released.

    Parameters
    ----------
    number : int
    readings : mapping of str to Reported
        Worst report of each reading that was taken.
    asked : frozenset of str
        Every reading asked for.
    against : tuple of str
        Why it should not have been done at all.
    reports : tuple of int
        Entries in which it was reported since the last release.
    released : int
        Entry of the last release, 0 while there is none.
    taken : frozenset of str
        Every reading ever taken of it, released or not.
    """

    number: int
    readings: Mapping[str, Reported] = field(default_factory=dict)
    asked: frozenset[str] = frozenset()
    against: tuple[str, ...] = ()
    reports: tuple[int, ...] = ()
    released: int = 0
    taken: frozenset[str] = frozenset()

    @property
    def missing(self) -> tuple[str, ...]:
        """Return what was asked for and not read."""
        return tuple(sorted(self.asked - self.readings.keys()))

    @property
    def verdict(self) -> str:
        """Return ``go on``, ``hold`` or ``stop``, the worst of all reports; empty without one."""
        if not self.reports:
            return ""
        said = {r.verdict for r in self.readings.values()}
        if self.against or STOPPED in said:
            return STOPPED
        return HOLD if self.missing or HOLD in said else GO_ON

    @property
    def reasons(self) -> tuple[str, ...]:
        """Return why it is not ``go on``, the gravest first."""
        graded = [
            f"{name}: {r.words} (entry {r.entry})"
            for verdict in (STOPPED, HOLD)
            for name, r in self.readings.items()
            if r.verdict == verdict
        ]
        missing = (f"not read: {', '.join(self.missing)}",) if self.missing else ()
        return (*self.against, *graded, *missing)

    @property
    def open(self) -> bool:
        """True while it was reported and not released since."""
        return bool(self.reports)

    @property
    def name(self) -> str:
        """Return what it is called."""
        return "the lift-off" if self.number == LIFT_OFF else f"stage {self.number}"


@dataclass(frozen=True, slots=True)
class RecoveryWork:
    """A way out of a stage: who approved it, and whether it was carried out (its entry, else 0).

    ``report`` is what was read of it; it is carried out when nothing of that is missing.
    """

    id: str
    plan: str
    stage: int
    crew: int
    goal: str
    approved: Event | None = None
    done: int = 0
    report: StageWork = field(default_factory=lambda: StageWork(0))
    own: frozenset[str] = frozenset()
    """Jacks and seats of the crew, once it was reported; empty where that is not known."""

    @property
    def code(self) -> str:
        """Return its check code."""
        return check_code(self.id)

    @property
    def words(self) -> str:
        """Say where it stands; empty while nobody has approved it."""
        crew = f"crew {self.crew}"
        if self.done:
            return f"{crew} {LEAVES[self.goal]} stage {self.stage} (entry {self.done})"
        if self.report.reports:
            missing = ", ".join(self.report.missing)
            return f"recovery {self.code} of stage {self.stage}, {crew}: not read: {missing}"
        if self.approved is not None:
            return f"recovery {self.code} of stage {self.stage}, {crew}: to be carried out"
        return ""
