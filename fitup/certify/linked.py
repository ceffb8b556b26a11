"""Linked jacks once more: one pressure a circuit, strokes as equilibrium makes them.

Jacks on one valve push with one pressure, so their loads are as their ram areas (Pascal's law).
Work goes to the ram reading of the first of them; how far the others are out follows from the
equilibrium of the deck. Of a circuit of n seats one setting is given, the other n - 1 are *free*:
their equations are those of the pressure, load_i / area_i = load_lead / area_lead.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fitup.certify.limits import Shake, Work
from fitup.certify.springs import Response, respond, softer
from fitup.frames import Array
from fitup.model import SPRINGS, Circuit, Job, circuits_of

#: in these the work goes to the ram readings of jacks that lead
_TO_RAMS: Final = ("RAISE", "LOWER", "FREE")
#: loads of one pressure agree to this [m], as what their packs would spring by
_EVEN = 1e-10
#: a nut bears from so far on [m], and no longer where it would pull by so much [N]
_TOUCH, _PULL = 1e-7, 1.0


@dataclass(frozen=True, eq=False)
class Links:
    """The circuits of some seats (k) that move together.

    Parameters
    ----------
    free, lead : Array (m,) of int
        Seats whose strokes follow from equilibrium, and the seat that leads each.
    ratio : Array (m,)
        Ram area at each free seat over that at its lead.
    spring : Array (k,)
        Stiffness of every seat [N/m].
    """

    circuits: tuple[Circuit, ...]
    free: Array
    lead: Array
    ratio: Array
    spring: Array

    def __bool__(self) -> bool:
        return bool(self.circuits)

    def rows(self, slope: Array) -> Array:
        """Return how free seats' differences from one pressure (m, k) go with settings.

        Parameters
        ----------
        slope : Array (k, k)
            Change of the loads for a unit of each setting [N/m].
        """
        apart = slope[self.free] - self.ratio[:, None] * slope[self.lead]
        return np.asarray(apart / self.spring[self.free, None])

    def apart(self, loads: Array) -> Array:
        """Return how far free seats (m,) are from one pressure, as springs of their packs [m].

        Parameters
        ----------
        loads : Array (k,)
            [N].
        """
        apart = loads[self.free] - self.ratio * loads[self.lead]
        return np.asarray(apart / self.spring[self.free])


@dataclass(frozen=True, eq=False)
class Shut:
    """A circuit behind a shut valve: its oil goes from ram to ram, and stays as much.

    A ram that goes in until its nut bears goes no further: there the nut carries what the pressure
    does not.

    Parameters
    ----------
    seats : Array (m,) of int
        Their indices in the crew, that of the leading jack first.
    areas : Array (m,)
        Of the rams at each [m2].
    rams, nuts : Array (m,)
        Readings from START and gaps at the nuts as the valve was shut [m].
    spring : Array (m,)
        Stiffness of the seats [N/m].
    borne : Array (m,) of bool
        Whose nut bears.
    """

    seats: Array
    areas: Array
    rams: Array
    nuts: Array
    spring: Array
    borne: Array

    @property
    def _first(self) -> int:
        """The first whose whole load is on oil: its pressure is that of the circuit."""
        return int(np.flatnonzero(~self.borne)[0])

    def _ratio(self) -> Array:
        return np.asarray(self.areas / self.areas[self._first])

    def rows(self, plain: Array, slope: Array) -> Array:
        """Return the rows (m, k) of its seats in the equations of a crew.

        Parameters
        ----------
        plain : Array (k, k)
            Rows of rams that stay at their readings.
        slope : Array (k, k)
            Change of the loads for a unit of each setting [N/m].
        """
        first, share = self._first, self.areas / self.areas.sum()
        apart = slope[self.seats] - self._ratio()[:, None] * slope[self.seats[first]]
        own = plain[self.seats]
        found = np.where(
            self.borne[:, None], own + apart / SPRINGS.nut, apart / self.spring[:, None]
        )
        found[first] = share[~self.borne] @ own[~self.borne]
        return np.asarray(found)

    def miss(self, plain: Array, loads: Array) -> Array:
        """Return by how much its equations (m,) are missed [m].

        Parameters
        ----------
        plain : Array (k,)
            By how much those of rams that stay at their readings are.
        loads : Array (k,)
            [N].
        """
        first, share = self._first, self.areas / self.areas.sum()
        apart = self.pushed(loads)
        own = plain[self.seats]
        found = np.where(self.borne, own - self._down() - apart / SPRINGS.nut, -apart / self.spring)
        gone = self.rams - own
        found[first] = share @ (self.rams - np.where(self.borne, self.rams - self._down(), gone))
        return np.asarray(found)

    def _down(self) -> Array:
        """Return how far rams (m,) whose nuts bear went in [m]."""
        return np.where(self.borne, self.nuts, 0.0)

    def pushed(self, loads: Array) -> Array:
        """Return what of the loads (m,) is not on oil [N], from the loads (k,) of the crew."""
        own = loads[self.seats]
        return np.asarray(own - self._ratio() * own[self._first])

    def stand(self, rams: Array) -> Array:
        """Return its readings (m,) [m] from those (m,) of rams whose whole load is on oil."""
        return np.where(self.borne, self.rams - self._down(), rams)

    def contact(self, rams: Array, loads: Array) -> Shut:
        """Return it with one more nut that bears, or one that does no longer; itself if all fit.

        Parameters
        ----------
        rams : Array (k,)
            Readings of rams whose whole load is on oil [m].
        loads : Array (k,)
            [N].
        """
        left = np.where(self.borne, 0.0, self.nuts + rams[self.seats] - self.rams)
        pushed = np.where(self.borne, self.pushed(loads), 0.0)
        borne = self.borne.copy()
        if left.min() < -_TOUCH:
            borne[int(np.argmin(left))] = True
        elif pushed.min() < -_PULL:
            borne[int(np.argmin(pushed))] = False
        else:
            return self
        return self if borne.all() else replace(self, borne=borne)


def links_of(job: Job, seats: Sequence[str], on_oil: Collection[str] | None = None) -> Links:
    """Return the circuits of some seats; false where none of them are linked.

    Parameters
    ----------
    job : Job
    seats : sequence of str
        Those that move together.
    on_oil : collection of str, optional
        Those of them that stand on oil, whole circuits; all where it is left out.
    """
    names = list(seats)
    circuits = circuits_of(job, names if on_oil is None else [s for s in names if s in on_oil])
    free, lead, ratio = [], [], []
    for circuit in circuits:
        for name, area in zip(circuit.seats[1:], circuit.areas[1:], strict=True):
            free.append(names.index(name))
            lead.append(names.index(circuit.seats[0]))
            ratio.append(area / circuit.areas[0])
    spring = np.array([job.seats[s].stiffness for s in names])
    return Links(
        circuits, np.array(free, dtype=int), np.array(lead, dtype=int), np.array(ratio), spring
    )


def at_one_pressure(
    work: Work, site: Mapping[str, float], seats: Sequence[str], settings: Sequence[float]
) -> list[float]:
    """Return settings of seats at which every circuit has one pressure, those that lead kept [m].

    Parameters
    ----------
    work : Work
    site : mapping of str to float
        Settings of all other seats [m].
    seats : sequence of str
        Those that move together (k).
    settings : sequence of float
        Of these [m]; those of free seats are where the search begins.
    """
    links = links_of(work.job, seats)
    x = np.array(settings)
    if not links:
        return [float(v) for v in x]
    slope = respond(work, {**site, **dict(zip(seats, x, strict=True))}, seats).own(work.job)
    for _ in range(12):
        values = {**site, **dict(zip(seats, x.tolist(), strict=True))}
        reactions = work.states.at(work.settings(values), work.state.checks).reactions
        apart = links.apart(np.array([reactions[s] for s in seats]))
        if np.abs(apart).max() < _EVEN:
            break
        x[links.free] -= np.linalg.solve(links.rows(slope)[:, links.free], apart)
    return [float(v) for v in x]


def may_go(
    job: Job,
    response: Response,
    off: Mapping[str, float],
    wrong: float | None,
    on_oil: Collection[str] | None = None,
) -> Array:
    """Return what each thing that may be off does to the settings of moving seats (k, k) [m].

    A column for each seat: its ram off its reading; of a free seat the friction by which its load
    may leave that of one pressure.

    Parameters
    ----------
    job : Job
    response : Response
        Of all seats that move.
    off : mapping of str to float
        How far their rams may be off their readings [m].
    wrong : float or None
        By how much of its uncertainty jacks are stiffer; None: rams move the deck as packs would.
    on_oil : collection of str, optional
        Seats that stand on oil; all where it is left out.
    """
    own, seats = response.own(job), response.seats
    links = links_of(job, seats, on_oil)
    more = np.array([0.0 if wrong is None else softer(job, job.seats[s], wrong) for s in seats])
    matrix = np.eye(len(seats)) - more[:, None] * own
    far = np.array([off[s] for s in seats])
    if links:
        matrix[links.free] = links.rows(own)
        loads = even_loads(job, response, links)
        far[links.free] = job.staging.friction * np.abs(loads / links.spring)[links.free]
    return np.asarray(np.linalg.solve(matrix, np.diag(far)))


def even_loads(job: Job, response: Response, links: Links) -> Array:
    """Return the loads (k,) of moving seats at one pressure a circuit, about a response [N].

    Parameters
    ----------
    job, response, links
    """
    own = response.own(job)
    loads = np.array([response.base.reactions[s] for s in response.seats])
    if not links:
        return loads
    change = np.linalg.solve(links.rows(own)[:, links.free], -links.apart(loads))
    return np.asarray(loads + own[:, links.free] @ change)


def may_read(job: Job, response: Response, off: Mapping[str, float]) -> dict[str, float]:
    """Return how far rams may read off while nothing is wrong, by seat [m].

    A ram that work goes to is off by what is stated. One that follows goes with the deck, and so by
    all that the others are off, and by what friction makes of one pressure.

    Parameters
    ----------
    job : Job
    response : Response
        Of all seats that move.
    off : mapping of str to float
        How far rams may be off their readings [m]; zero: nothing is stated.
    """
    links = links_of(job, response.seats)
    if not links:
        return dict(off)
    stated = {s: v or job.working.move_band for s, v in off.items()}
    found = dict(off)
    far = np.zeros(len(response.seats))
    for wrong in (-1.0, 1.0):
        gone = may_go(job, response, stated, wrong)
        more = np.array([softer(job, job.seats[s], wrong) for s in response.seats])
        rams = gone - more[:, None] * (response.own(job) @ gone)
        far = np.maximum(far, np.abs(rams).sum(axis=1))
    for i in links.free:
        found[response.seats[i]] = float(far[i])
    return found


def linked_shake(
    work: Work,
    response: Response,
    off: Mapping[str, float],
    soft: bool,
    on_oil: Collection[str] | None = None,
) -> Shake:
    """Return what rams off their readings and unlike friction may add, each alone, added up.

    Parameters
    ----------
    work : Work
    response : Response
        Of all seats that move.
    off : mapping of str to float
        How far their rams may be off their readings [m].
    soft : bool
        Whether rams move the deck through the springs of their jacks, known as they are.
    on_oil : collection of str, optional
        Seats that stand on oil; all where it is left out.
    """
    job = work.job
    reactions, change = np.zeros(len(job.seats)), np.zeros(len(work.state.checks))
    forces = np.zeros(len(response.names))
    for wrong in (-1.0, 1.0) if soft else (None,):
        gone = may_go(job, response, off, wrong, on_oil)
        reactions = np.maximum(reactions, np.abs(response.reactions @ gone).sum(axis=1))
        change = np.maximum(change, np.abs(response.change @ gone).sum(axis=1))
        if len(forces):
            forces = np.maximum(forces, np.abs(response.forces @ gone).sum(axis=1))
    linked = {s for c in links_of(job, response.seats).circuits for s in c.seats}
    groups = {job.seats[s].group for s in linked}
    apart = [i for i, s in enumerate(response.seats) if job.seats[s].group in groups]
    plain = may_go(job, response, off, None, on_oil)
    shake = Shake(
        {s: 0.0 if i in apart else off[s] for i, s in enumerate(response.seats)},
        dict(zip(job.seats, reactions.tolist(), strict=True)),
        change,
        dict(zip(response.names, forces.tolist(), strict=True)),
    )
    modes = tuple(dict(zip(response.seats, plain[:, i].tolist(), strict=True)) for i in apart)
    return replace(shake, modes=modes)


def shared_load(spring: Array, slope: Array, left: Array) -> Array:
    """Return by how much seats rise off their packs (k,) while jacks push with given forces [m].

    A pack that would have to pull opens instead: openings and what is left on packs are not below
    zero, and one of the two is zero at every seat (the linear complementarity problem; by
    projected Gauss-Seidel steps, R. W. Cottle, J.-S. Pang and R. E. Stone, The Linear
    Complementarity Problem, SIAM 2009, section 5.2; cited from memory).

    Parameters
    ----------
    spring : Array (k,)
        Stiffness of the seats [N/m].
    slope : Array (k, k)
        Change of the loads for a unit of each setting [N/m].
    left : Array (k,)
        What packs would carry if none opened, pulls below zero [N].
    """
    open_ = np.zeros(len(left))
    for _ in range(2000):
        before = open_.copy()
        for i in range(len(left)):
            pulls = left[i] + slope[i] @ open_
            open_[i] = max(0.0, open_[i] - pulls / slope[i, i])
        if np.abs(open_ - before).max() < 1e-10 and np.abs(spring * (open_ - before)).max() < 1.0:
            break
    return open_


def one_pressure(
    circuits: Sequence[Circuit], found: Mapping[str, tuple[float, float, float, float, str]]
) -> dict[str, tuple[float, float, float, float, str]]:
    """Return pressures by jack, the same for all of a circuit: one gauge reads for all of them.

    Parameters
    ----------
    circuits : sequence of Circuit
    found : mapping of str to tuple
        By jack: pressure expected, least and most of the work, most allowed [Pa], and what sets
        that. Each holds for its own load; of one pressure all hold, so the narrowest does.
    """
    result = dict(found)
    for circuit in circuits:
        own = [found[j] for j in circuit.jacks if j in found]
        if own:
            cap, why = min((o[3], o[4]) for o in own)
            value = sum(o[0] for o in own) / len(own)
            one = (value, max(o[1] for o in own), min(o[2] for o in own), cap, why)
            result |= dict.fromkeys((j for j in circuit.jacks if j in found), one)
    return result


def circuit_note(circuits: Sequence[Circuit], verb: str, note: str) -> str:
    """Return the note of an event with what linked jacks ask.

    Parameters
    ----------
    circuits : sequence of Circuit
        Of the crew; none: the note stays.
    verb, note : str
        Of the event.
    """
    if not circuits:
        return note
    if verb == "LAND":
        return "all valves together, slowly: packs land one after the other, gauges fall to nought"
    if verb == "SET":
        one = "; ".join(f"{' and '.join(c.jacks)} on the one valve {c.id}" for c in circuits)
        return note.replace(
            "valves of all other jacks shut",
            f"{one}; all others of this line each on its own valve, valves of other jacks shut",
        )
    if verb in _TO_RAMS:
        others = [" and ".join(c.jacks[1:]) for c in circuits]
        return "; ".join(
            f"{c.lead} leads, shut valve {c.id} at its reading: it takes {other} along"
            for c, other in zip(circuits, others, strict=True)
        )
    return note
