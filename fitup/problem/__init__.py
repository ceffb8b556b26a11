"""The mathematical problem of a job: variables, packs, stock, rows, and its continuous form."""

from fitup.problem.problem import FitProblem, build_problem

__all__ = ["FitProblem", "build_problem"]
