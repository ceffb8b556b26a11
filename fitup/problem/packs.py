"""Every pack a seat may hold: whole plates from the stock, within the rules of the seat."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitup.frames import Array
from fitup.model import Job, Plate, Seat

#: two packs whose settings differ by less than this are one setting [m]
SAME_SETTING = 1e-9


@dataclass(frozen=True, slots=True)
class Choice:
    """One possible state of a seat: move [m], plates used, and what it costs to get there."""

    setting: float
    marks: tuple[str, ...]
    """Finished pack, bottom to top; the present pack when nothing is done."""
    disturbed: bool
    plates_changed: int

    @property
    def work(self) -> tuple[int, int, int]:
        """Seats disturbed, plates that go in or out, plates in the new pack."""
        return (int(self.disturbed), self.plates_changed, len(self.marks) * self.disturbed)


@dataclass(frozen=True, slots=True)
class OnPack:
    """A seat that comes onto its pack: pressed, a new pack loses its bedding [m]."""

    bedding: float

    def settings(self, taller: float) -> tuple[float, ...]:
        """Return the move [m] by a new pack taller than the present one by so much [m]."""
        return (taller - self.bedding,)

    def taller(self, window: tuple[float, float]) -> tuple[float, float]:
        """Return by how much new packs are taller [m] whose moves lie in a window."""
        return window[0] + self.bedding, window[1] + self.bedding


@dataclass(frozen=True, slots=True)
class Pushed:
    """A seat that stays where a ram pushed it, on a mark of its scale, the pack loose behind it."""

    mark: float
    """Step of the ram's scale [m]."""
    room: float
    """Least room over a new pack, to slide it in [m]."""
    thinnest: float
    """Of the plates that it may hold [m]: with so much more room there would be one more."""

    def settings(self, taller: float) -> tuple[float, ...]:
        """Return the moves [m] that let in a new pack taller than the present one by so much."""
        first = math.ceil((taller + self.room) / self.mark - 1e-9)
        return self._marks(first, first + max(1, round(self.thinnest / self.mark)))

    def alone(self) -> tuple[float, ...]:
        """Return the moves [m] behind which there is no room for a plate: the pack stays."""
        return self._marks(1, math.ceil((self.thinnest + self.room) / self.mark - 1e-9))

    def taller(self, window: tuple[float, float]) -> tuple[float, float]:
        """Return by how much new packs are taller [m] whose moves lie in a window."""
        low = window[0] - self.room - self.thinnest - self.mark
        return max(2.0 * SAME_SETTING, low), window[1] - self.room

    def _marks(self, first: int, end: int) -> tuple[float, ...]:
        return tuple(round(k * self.mark, 9) for k in range(first, end))


def pushed_past(job: Job, seat: Seat, room: float) -> Pushed:
    """Return how a seat that stays where it is pushed gets a room [m] for its pack.

    Parameters
    ----------
    job, seat
    room : float
        [m]
    """
    thin = [p.measured for p in job.plates.values() if seat.may_hold(p)]
    mark = max(j.resolution for j in job.jacks_at(seat.id))
    return Pushed(mark, room, min(thin, default=mark))


def stack_order(marks: Sequence[str], plates: Mapping[str, Plate]) -> tuple[str, ...]:
    """Return a pack bottom to top: thickest at the bottom, next on top, thin ones between.

    Thin plates between thick ones stay flat and in place (common practice, no source).

    Parameters
    ----------
    marks : sequence of str
        Plates of the pack, a mark as often as it is used.
    plates : mapping of str to Plate
        Ordered by their measured thickness.

    Examples
    --------
    >>> kinds = (("P20", 0.02), ("P5", 0.005), ("P1", 0.001))
    >>> p = {m: Plate(m, t, t, 9, 0.2, 0.2) for m, t in kinds}
    >>> stack_order(["P1", "P20", "P5"], p)
    ('P20', 'P1', 'P5')
    """
    ordered = sorted(marks, key=lambda m: (-plates[m].measured, m))
    if len(ordered) < 3:
        return tuple(ordered)
    return (ordered[0], *ordered[2:], ordered[1])


def stay(seat: Seat) -> Choice:
    """Return the choice of leaving a seat as it is."""
    return Choice(0.0, seat.pack, False, 0)


def pack_choices(
    seat: Seat,
    plates: Mapping[str, Plate],
    available: Mapping[str, int],
    window: tuple[float, float],
    pushed: Pushed | None = None,
) -> tuple[Choice, ...]:
    """Return every choice of a shimmed seat whose move lies in a window, lowest first.

    Parameters
    ----------
    seat : Seat
    plates : mapping of mark to Plate
    available : mapping of mark to int
        Most plates of each mark one pack could use.
    window : (float, float)
        Least and greatest move [m].
    pushed : Pushed, optional
        How a seat that does not come onto its pack is pushed.

    Returns
    -------
    tuple of Choice
        Sorted by setting, then by marks; the present pack is offered as 'stay', and for pushes
        behind which no plate has room.
    """
    marks = sorted(
        (m for m in available if seat.may_hold(plates[m])),
        key=lambda m: (-plates[m].measured, m),
    )
    now = sum(plates[m].measured for m in seat.pack)
    present = Counter(seat.pack)
    rest = OnPack(seat.bedding) if pushed is None else pushed
    least, most = rest.taller(window)
    lowest = max(seat.pack_least, least + now) - SAME_SETTING
    highest = min(seat.pack_most, most + now) + SAME_SETTING
    result = [stay(seat)] if window[0] <= 0.0 <= window[1] else []
    if seat.hold:
        return tuple(result)

    def grow(start: int, chosen: list[str], height: float) -> None:
        if chosen and lowest <= height <= highest:
            counts = Counter(chosen)
            if counts != present:
                changed = (counts - present).total() + (present - counts).total()
                moves = rest.settings(height - now)
                result.extend(Choice(v, tuple(chosen), True, changed) for v in moves)
        if len(chosen) == seat.most_plates:
            return
        for i in range(start, len(marks)):
            mark = marks[i]
            taller = height + plates[mark].measured
            if taller > highest or chosen.count(mark) >= available[mark]:
                continue
            # the tallest pack still possible with this plate as the thickest that follows
            if taller + (seat.most_plates - len(chosen) - 1) * plates[mark].measured < lowest:
                continue
            grow(i, [*chosen, mark], taller)

    grow(0, [], 0.0)
    if pushed is not None:
        result.extend(Choice(v, seat.pack, True, 0) for v in pushed.alone())
    inside = [c for c in result if window[0] <= c.setting + SAME_SETTING]
    inside = [c for c in inside if c.setting - SAME_SETTING <= window[1]]
    return tuple(
        Choice(
            c.setting,
            stack_order(c.marks, plates) if c.disturbed else c.marks,
            c.disturbed,
            c.plates_changed,
        )
        for c in sorted(inside, key=lambda c: (c.setting, c.marks))
    )


def nut_choices(seat: Seat, resolution: float, window: tuple[float, float]) -> tuple[Choice, ...]:
    """Return the settings of a lock-nut seat: whole steps of its resolution in a window.

    Parameters
    ----------
    seat : Seat
        One that is held stays as it is, whatever the window.
    resolution : float
        [m]
    window : (float, float)
        Least and greatest move [m].
    """
    if seat.hold:
        return (stay(seat),)
    first = int(np.ceil((window[0] - SAME_SETTING) / resolution))
    last = int(np.floor((window[1] + SAME_SETTING) / resolution))
    return tuple(
        Choice(k * resolution, (), k != 0, 0)
        for k in range(min(first, 0), max(last, 0) + 1)
        if first <= k <= last
    )


def plate_counts(choices: Sequence[Choice], marks: Sequence[str]) -> Array:
    """Return how many plates of each mark every choice uses (k, t).

    Parameters
    ----------
    choices : sequence of Choice
    marks : sequence of str
        Order of the columns; every mark of the choices must be among them.
    """
    column = {m: i for i, m in enumerate(marks)}
    counts = np.zeros((len(choices), len(marks)), dtype=np.int64)
    for i, choice in enumerate(choices):
        for mark in choice.marks:
            counts[i, column[mark]] += 1
    return counts
