"""Choose the moves: exact whole-plate packs, a proof of how good they are, and a safe order."""

from fitup.optimize.plan import make_plan
from fitup.optimize.problem import FitProblem, build_problem
from fitup.optimize.search import SearchResult

__all__ = ["FitProblem", "SearchResult", "build_problem", "make_plan"]
