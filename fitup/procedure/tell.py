"""What the crews of a stage are stated, with the plates and the stroke that it takes.

Crews do not wait for each other, so each may be at its worst moment: what one has out of the store
is not there for another. A stage that lacks plates or stroke cannot be worked, and says what it
lacks.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice, permutations

import numpy as np

from fitup.frames import Array
from fitup.model import Influence, Job, Order, Reset, Stage
from fitup.procedure.heights import Heights, Loads
from fitup.procedure.orders import Crew, end_of
from fitup.procedure.strokes import packing, reaches, short_by

#: orders in which crews are given plates
_TURNS = 6
#: so many more of each mark are thought of when it is asked what would do
_LEND = 16


@dataclass(frozen=True, slots=True)
class Lack:
    """One thing a stage needs and has not.

    Parameters
    ----------
    kind : str
        ``plate``: too few in the store; ``follow``: no plates that follow the load; ``stroke``;
        ``flat``: too much room under a load on linked jacks before it lands; or the kind of a
        limit that is broken on the way.
    subject : str
        Plate, group, jack, seat, or what the limit is about.
    by : float
        Plates, metres, or the unit of the limit.
    text : str
        The limit and when it is broken, in words; empty for what is lacking.
    """

    group: str
    kind: str
    subject: str
    by: float
    text: str = ""


@dataclass(frozen=True)
class Site:
    """What stands before a stage: settings [m], loose plates, packing under jacks [m]."""

    settings: Mapping[str, float]
    loose: Mapping[str, int]
    base: Mapping[str, float]
    goal: Mapping[str, float] = field(default_factory=dict)
    """Where seats are to be in the end [m]: a jack that is set anew is set for that."""


def loads_of(job: Job, influence: Influence) -> Loads:
    """Return what gives the reactions of settings, both in the order of the job's seats.

    Parameters
    ----------
    job, influence

    Returns
    -------
    callable
        From settings (n,) [m] to reactions (n,) [N].
    """
    own = [influence.seats.index(name) for name in job.seats]

    def loads(settings: Array) -> Array:
        x = np.zeros(len(own))
        x[own] = settings
        return influence.state(x)[1][own]

    return loads


def with_orders(job: Job, loads: Loads, stages: Sequence[Stage]) -> tuple[Stage, ...]:
    """Return stages with what each crew does.

    Parameters
    ----------
    loads : callable
        Settings (n,) [m] to reactions (n,) [N], both in the order of ``job.seats``.
    stages : sequence of Stage
        All of a plan, in order.
    """
    settings, packs = dict.fromkeys(job.seats, 0.0), {s.id: s.pack for s in job.seats.values()}
    base = {j.id: j.base for j in job.jacks.values()}
    goal = {n: v for s in stages for n, v in zip(s.seats, ends(s), strict=True)}
    loose = Counter({m: p.count for m, p in job.plates.items()})
    result: list[Stage] = []
    for number in dict.fromkeys(s.number for s in stages):
        crews = [s for s in stages if s.number == number]
        stated, _ = tell(job, loads, crews, Site(settings, loose, base, goal))
        result += stated
        for stage in stated:
            settings.update(zip(stage.seats, ends(stage), strict=True))
            base.update({r.jack: r.base_new for r in stage.resets})
            for seat, new in zip(stage.seats, stage.after, strict=True):
                loose.update(packs[seat])
                loose.subtract(new)
                packs[seat] = new
    return tuple(result)


def ends(stage: Stage) -> tuple[float, ...]:
    """Return where a stage leaves its seats [m]."""
    return (stage.down or stage.up)[-1]


def tell(
    job: Job, loads: Loads, crews: Sequence[Stage], site: Site
) -> tuple[tuple[Stage, ...], tuple[Lack, ...]]:
    """Return one stage with what its crews do, and what it lacks.

    Parameters
    ----------
    crews : sequence of Stage
        All of one number.
    site : Site
        What stands before it, the same for all crews.
    """
    heights = [Heights(job, loads, stage, site.settings) for stage in crews]
    best: tuple[list[_Worked], list[Lack]] | None = None
    for order in islice(permutations(range(len(crews))), _TURNS):
        stated: dict[int, _Worked] = {}
        left = Counter(site.loose)
        for k in order:
            stated[k] = _work_of(job, heights[k], crews[k], left)
            left.subtract(stated[k].need)
        own = [stated[k] for k in range(len(crews))]
        lacks = [*_too_few(own, left), *(x for t in own for x in t.lacks)]
        if best is None or len(lacks) < len(best[1]):
            best = own, lacks
        if not lacks:
            break
    assert best is not None
    stages, short = [], list(best[1])
    for k, (crew, height) in enumerate(zip(best[0], heights, strict=True)):
        resets, strokes = _resets(job, crew, height, site)
        short += strokes
        anew = [Order("SET ANEW", "set", (r.jack,), (r.base_new,)) for r in resets]
        end = () if k else end_of(job, crews)
        orders = (*anew, *crew.orders, *end)
        stages.append(replace(crew.stage, resets=resets, orders=orders, back=crew.back))
    return tuple(stages), tuple(short)


@dataclass(frozen=True, eq=False)
class _Worked:
    """One crew with its orders there and back, the plates they take, and what it lacks."""

    stage: Stage
    orders: tuple[Order, ...]
    back: tuple[Order, ...]
    need: Counter[str]
    lacks: tuple[Lack, ...]


def _work_of(job: Job, heights: Heights, stage: Stage, left: Mapping[str, int]) -> _Worked:
    """Return a crew with the plates that are left for it; packs all at once if it must be."""
    crew = Crew(job, heights, stage, left)
    stated = _of(job, crew)
    hopeless = crew.stacks.missing and not crew.stacks.scarce
    if sum(heights.changed) < 2 or hopeless or _enough(stated, left):
        return stated
    other = _of(job, Crew(job, heights, stage, left, together=True))
    return other if _enough(other, left) else stated


def _of(job: Job, crew: Crew) -> _Worked:
    orders, back = tuple(crew.orders()), tuple(crew.back())
    group = crew.stage.group
    missing = [Lack(group, "follow", group, 1.0)] if crew.stacks.missing else []
    lacks = (*missing, *(Lack(group, "flat", seat, by) for seat, by in crew.drops()))
    raised = max((i for i, o in enumerate(orders) if o.verb == "CHANGE PACK"), default=-1) + 1
    need = most_out(orders) | most_out([*orders[:raised], *back])
    return _Worked(crew.stage, orders, back, need, lacks)


def _enough(stated: _Worked, left: Mapping[str, int]) -> bool:
    return not stated.lacks and all(n <= left[m] for m, n in stated.need.items())


def most_out(orders: Sequence[Order]) -> Counter[str]:
    """Return the most plates of each mark that are out of the store after any order."""
    now: Counter[str] = Counter()
    most: Counter[str] = Counter()
    for order in orders:
        for move in order.moved:
            now[move.mark] += (move.source == "store") - (move.target == "store")
        most |= now
    return most


def _too_few(crews: Sequence[_Worked], left: Mapping[str, int]) -> Iterator[Lack]:
    """Yield the plates that are short, once all crews have taken theirs."""
    names = " and ".join(t.stage.group for t in crews)
    for mark, count in sorted(left.items()):
        if count < 0 and any(t.need[mark] > 0 for t in crews):
            yield Lack(names, "plate", mark, float(-count))


def _resets(
    job: Job, stated: _Worked, heights: Heights, site: Site
) -> tuple[tuple[Reset, ...], list[Lack]]:
    """Return the jacks that are set anew, and those whose stroke is too short all the same."""
    stage, found = stated.stage, list[Reset]()
    lacks = list[Lack]()
    goal = {**dict(zip(stage.seats, ends(stage), strict=True)), **site.goal}
    for reach in reaches(job, stage, heights, stated.orders):
        name = reach.jack.id
        new = packing(job, reach, site.base[name], outwards=goal[reach.seat] > reach.start)
        if new is None:
            by = short_by(job, reach, site.base[name])
            lacks.append(Lack(stage.group, "stroke", name, by))
        elif new != site.base[name]:
            found.append(Reset(name, reach.seat, site.base[name], new))
    return tuple(found), lacks


def lent(job: Job, loads: Loads, stage: Stage, site: Site) -> Counter[str]:
    """Return the fewest plates with which, besides the store, a stage could be followed.

    Parameters
    ----------
    job : Job
    loads : callable
        From settings (n,) [m] to reactions (n,) [N], in the order of the job's seats.
    stage : Stage
        Of one crew.
    site : Site
        What stands before the stage.

    Returns
    -------
    Counter
        Plates of each mark; empty where none are needed or no extra plates would do.
    """
    heights = Heights(job, loads, stage, site.settings)
    crew = Crew(job, heights, stage, site.loose, lend=_LEND)
    return Counter() if crew.stacks.missing else crew.stacks.lent
