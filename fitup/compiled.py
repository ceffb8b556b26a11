"""Compile a function, and keep what was compiled where there is a place for it.

An installation that may only be read, for a user whose home cannot be written, has none: then it
is compiled anew in each run, which takes some seconds more.
"""

from __future__ import annotations

from typing import Any


def jit(function: Any) -> Any:
    """Return a function compiled without fast-math, from the cache where there is one."""
    import numba

    try:
        return numba.njit(cache=True, fastmath=False)(function)
    except RuntimeError:
        # no place for a cache
        return numba.njit(fastmath=False)(function)
