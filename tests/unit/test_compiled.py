"""The compiled search works where nothing can be kept."""

from __future__ import annotations

from numba.core.caching import FunctionCache

from fitup.compiled import jit


def twice(x: int) -> int:
    return 2 * x


def test_function_is_compiled_without_a_place_for_a_cache(monkeypatch) -> None:
    monkeypatch.setattr(FunctionCache._impl_class, "_locator_classes", [])
    assert jit(twice)(21) == 42
