"""Order within the choice: where the packs chosen have no safe order, the next choice that has one.

Candidates are all choices of whole plates that keep limits, stock and the worst ratio, those of
least squares first. A candidate whose order fails is cut off together with its like: where one of
its groups cannot reach its packs however the others help it, every candidate that asks the same of
that group is cut. The first candidate with a safe order is the plan, unless one of less work within
the slack has one too. That there is no order is said of all candidates only when all were tried.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fitup.frames import Array
from fitup.model import CheckState, Influence, Job, ObjectiveResult, SeatPlan, Stage
from fitup.plan.least_work import allowed_squares, counts_again
from fitup.plan.order import stages_of_order
from fitup.plan.priorities import Chosen, most_squares
from fitup.plan.search_space import space_of, squares_goal
from fitup.problem.problem import FitProblem
from fitup.procedure.bounds import Bounds
from fitup.procedure.layout import Group, lay, least_moves, moving_groups
from fitup.procedure.levels import even, parts
from fitup.procedure.plan_stages import FINE, best_order, stages_result
from fitup.procedure.rows import WayRows, way_rows
from fitup.solve.clusters import cluster_tree
from fitup.solve.effort import Effort
from fitup.solve.rings import list_within

Report = Callable[[str], None]
SeatPlans = Callable[[Array], tuple[SeatPlan, ...]]
#: steps of the order of one candidate, and of one group alone
_ORDER, _ALONE = 4e5, 1.5e5
#: how the squares grow up to which candidates are listed
_GROWTH = 2.0
_CARE = 1e-9
#: lighter candidates tried within the slack of the first that has an order
_LIGHTER = 40


@dataclass(frozen=True, eq=False)
class Ordered:
    """A candidate with a safe order: its selection (n,), stages, and how few there could be."""

    selection: Array
    seats: tuple[SeatPlan, ...]
    stages: tuple[Stage, ...]
    fewest: ObjectiveResult


@dataclass(eq=False)
class Candidates:
    """The search for a candidate with a safe order.

    Parameters
    ----------
    job, state, influence
        As the plan is made from.
    problem : FitProblem
    seat_plans : callable
        From a selection (n,) to what every seat is to become.
    effort : Effort
    report : callable
    """

    job: Job
    state: CheckState
    influence: Influence
    problem: FitProblem
    seat_plans: SeatPlans
    effort: Effort
    report: Report
    tried: int = 0
    cut: int = 0
    complete: bool = False
    """Whether every candidate was tried or cut."""
    _alone: dict[tuple[str, tuple[int, ...]], bool] = field(default_factory=dict)
    _failed: set[bytes] = field(default_factory=set)

    def __post_init__(self) -> None:
        self._rows: WayRows = way_rows(self.job, self.state, self.influence)

    def failed(self, selection: Array) -> None:
        """Note a selection that is known to have no safe order."""
        self.tried += 1
        self._failed.add(_key(selection))

    def find(self, cap: float, least: float) -> Ordered | None:
        """Return the candidate of least squares with a safe order, or a lighter one near it.

        Parameters
        ----------
        cap : float
            Greatest ratio of deviation to tolerance.
        least : float
            The least squares of any candidate.
        """
        self.complete = False
        most = most_squares(self.problem, cap)
        radius = allowed_squares(self.job.objectives, least)
        while True:
            selections = self._listed(self.problem, cap, min(radius, most))
            if selections is None:
                return None
            found = self._first(selections)
            if found is not None:
                return self._lighter(found, selections, cap)
            if self.effort.over():
                return None
            if radius >= most:
                self.complete = True
                return None
            radius = max(radius * _GROWTH, radius + 1e-3)

    def find_near(self, selection: Array, groups: Sequence[str], cap: float) -> Ordered | None:
        """Return a candidate that differs from a selection in some groups only.

        For jobs with more candidates than can be listed: groups that stood in the way are chosen
        anew, one more at a time, all others staying as they are.

        Parameters
        ----------
        selection : Array (n,)
        groups : sequence of str
            Those that stood in the way, in the order in which they are freed.
        cap : float
            Greatest ratio of deviation to tolerance.

        Returns
        -------
        Ordered or None
            None where no such candidate with a safe order was found.
        """
        free: set[str] = set()
        for name in groups:
            free.add(name)
            own = [self.job.seats[s].group in free for s in self.problem.seats]
            narrow = _only(self.problem, selection, own)
            radius = self.problem.squares(self.problem.settings(selection)) + 1e-6
            most = most_squares(self.problem, cap)
            while not self.effort.over():
                selections = self._listed(narrow, cap, min(radius, most))
                if selections is None:
                    break
                fixed = np.flatnonzero(~np.array(own))
                selections[:, fixed] = selection[fixed]
                found = self._first(selections)
                if found is not None:
                    return found
                if radius >= most:
                    break
                radius *= _GROWTH
        return None

    def _listed(self, problem: FitProblem, cap: float, radius: float) -> Array | None:
        """Return candidates (k, n) with squares within a radius, the best first."""
        goal = squares_goal(problem)
        ideal = np.linalg.lstsq(goal.M, goal.h, rcond=None)[0]
        space = space_of(problem, ideal, cap)
        tree = cluster_tree(goal, [np.array(c, dtype=np.int64) for c in problem.clusters if c])
        listed = list_within(space, goal, tree, radius * (1.0 + _CARE), self.effort)
        if listed is None:
            return None
        selection, x = listed
        order = np.argsort(goal.scores(x), kind="stable")
        return selection[order]

    def _first(self, selections: Array) -> Ordered | None:
        for selection in selections:
            if self.effort.over():
                return None
            found = self._order(selection)
            if found is not None:
                return found
        return None

    def _order(self, selection: Array) -> Ordered | None:
        """Return the selection with its order if it has a safe one; note it as failed if not."""
        key = _key(selection)
        if key in self._failed:
            return None
        self._failed.add(key)
        seats = self.seat_plans(selection)
        if any(self._stuck(group, selection) for group in moving_groups(self.job, seats)):
            self.cut += 1
            return None
        self.tried += 1
        self.effort.spend(_ORDER)
        self.report(f"order of stages: candidate {self.tried + self.cut}")
        laid, outcome = best_order(self.job, self.state, self.influence, seats, spend=self._spend)
        if outcome.stages is None:
            return None
        stages = stages_of_order(self.job, self.influence, laid, outcome.stages)
        return Ordered(selection, seats, stages, stages_result(self.job, laid, outcome))

    def _spend(self, steps: float) -> bool:
        self.effort.spend(steps)
        return not self.effort.over()

    def _stuck(self, group: Group, selection: Array) -> bool:
        """Say whether a group cannot get to its packs, wherever the others are."""
        own = [i for i, s in enumerate(self.problem.seats) if self.job.seats[s].group == group.name]
        key = (group.name, tuple(int(selection[i]) for i in own))
        if key not in self._alone:
            self.effort.spend(_ALONE)
            self._alone[key] = self._no_way(group, own)
        return self._alone[key]

    def _no_way(self, group: Group, own: Sequence[int]) -> bool:
        job, rows = self.job, self._rows
        shares = sorted({*parts(FINE), *even(least_moves(job, group))})
        course = lay(job, [group], rows, [shares]).course
        helped = np.zeros(len(rows.at_rest))
        loose = Counter({m: p.count for m, p in job.plates.items()})
        for i, choices in enumerate(self.problem.choices):
            if i in own:
                continue
            settings = np.array([0.0, *(c.setting for c in choices)])
            column = rows.L[:, i]
            helped += np.minimum(column * settings.min(), column * settings.max())
            loose.update(job.seats[self.problem.seats[i]].pack)
        helped = np.where(rows.L.any(axis=1), helped, 0.0)
        eased = replace(
            course,
            at_rest=course.at_rest - helped,
            on_way=course.on_way - helped,
            loose=np.array([loose[m] for m in job.plates]),
        )
        return math.isinf(Bounds(eased).alone[0][0])

    def _lighter(self, found: Ordered, selections: Array, cap: float) -> Ordered:
        """Return a candidate of less work within the slack of one that has an order."""
        problem = self.problem
        allowed = allowed_squares(
            self.job.objectives, problem.squares(problem.settings(found.selection))
        )
        listed = self._listed(problem, cap, allowed)
        near = selections if listed is None else listed
        work = problem.work(found.selection)
        rest = [p for p in near if problem.work(p) < work]
        rest = [p for p in rest if problem.squares(problem.settings(p)) <= allowed]
        for selection in sorted(rest, key=problem.work)[:_LIGHTER]:
            if self.effort.over():
                break
            lighter = self._order(selection)
            if lighter is not None:
                return lighter
        return found

    def scope(self) -> str:
        """Say of how many candidates it is known that they have no safe order."""
        if self.complete:
            return (
                f"all {self.tried + self.cut} choices of packs that keep the limits and this worst "
                "ratio were tried: none has a safe order"
            )
        return (
            f"{self.tried + self.cut} choices of packs, the best first, were tried and have none; "
            "that no other has one is not shown"
        )


def chosen_instead(
    problem: FitProblem, chosen: Chosen, found: Ordered, passed: int, *, nearest: bool
) -> Chosen:
    """Return a choice with another selection, its bounds kept.

    Parameters
    ----------
    problem : FitProblem
    chosen : Chosen
        The choice that has no safe order.
    found : Ordered
        What is taken instead.
    passed : int
        How many better candidates have no order.
    nearest : bool
        Every candidate of less squares is among these, but for the slack.
    """
    x = problem.settings(found.selection)
    worst = problem.worst_ratio(x)
    met = ("worst ratio", "least squares") if nearest else ("worst ratio",)
    passing = (
        f"{passed} choices of packs that come nearer or are less work were passed over, for no "
        "order of them keeps every limit on the way"
    )
    nearness = [
        replace(
            w,
            upper=value,
            lower=min(w.lower, value),
            proven=bool(w.proven and (value <= w.lower * (1.0 + _CARE) or w.name in met)),
            text=w.text
            if w.name != "least squares"
            else f"no plan has less than {w.lower:.4g}; {passing}",
        )
        for w, value in zip(chosen.objectives, (worst, problem.squares(x)), strict=False)
    ]
    counts = counts_again(chosen.objectives[len(nearness) :], problem.work(found.selection))
    return replace(chosen, selection=found.selection, objectives=(*nearness, *counts), worst=worst)


def _key(selection: Array) -> bytes:
    return np.asarray(selection, dtype=np.int64).tobytes()


def _only(problem: FitProblem, selection: Array, free: Sequence[bool]) -> FitProblem:
    """Return the problem with the choice of some seats fixed as in a selection (n,)."""
    keep = [
        list(range(len(own))) if is_free else [int(k)]
        for own, k, is_free in zip(problem.choices, selection, free, strict=True)
    ]
    return replace(
        problem,
        choices=tuple(
            tuple(own[k] for k in ks) for own, ks in zip(problem.choices, keep, strict=True)
        ),
        counts=tuple(u[ks] for u, ks in zip(problem.counts, keep, strict=True)),
    )
