"""Exact methods, each with a lower bound that holds, and general solvers beside them."""

from fitup.solve.exact import SearchResult

__all__ = ["SearchResult"]
