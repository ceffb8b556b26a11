"""A real browser without network, for the pages: Chromium, driven by Playwright.

Where either is missing these tests are left out, and the summary says so. On Debian:
``apt-get install chromium`` and ``pip install -e '.[test,browser]'``.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

_LEFT_OUT: list[str] = []


def _chromium() -> str | None:
    return (
        os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    )


def _missing() -> str:
    if find_spec("playwright") is None or find_spec("axe_playwright_python") is None:
        return "the packages of the extra 'browser' are not installed"
    return "" if _chromium() else "there is no Chromium"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    why = _missing()
    own = [i for i in items if Path(__file__).parent in i.path.parents]
    if why:
        for item in own:
            item.add_marker(pytest.mark.skip(reason=f"needs a browser: {why}"))
        _LEFT_OUT[:] = [f"{len(own)} tests of the pages in a browser: {why}"] if own else []


def pytest_terminal_summary(terminalreporter: Any) -> None:
    for line in _LEFT_OUT:
        terminalreporter.write_line(f"left out: {line}")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """The browser; no page in it can reach a network."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        flags = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
        browser = driver.chromium.launch(executable_path=_chromium(), args=flags)
        yield browser
        browser.close()


@pytest.fixture
def heard() -> list[str]:
    """What the pages of a test complained of or asked for; a test takes out what it expects."""
    return []


@pytest.fixture
def opened(chromium: Any, heard: list[str]) -> Iterator[Callable[..., Any]]:
    """``opened(file, width=..., height=...)``: a page offline; any error or request fails."""
    wrong = heard
    contexts = []

    def go(file: Path, width: int = 1280, height: int = 900, **more: Any) -> Any:
        size = {"width": width, "height": height}
        context = chromium.new_context(offline=True, viewport=size, **more)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda e: wrong.append(f"error: {e}"))
        page.on("console", lambda m: wrong.append(f"{m.type}: {m.text}"))
        page.on("dialog", lambda d: (wrong.append(f"dialog: {d.message}"), d.dismiss()))
        page.on("request", lambda r: wrong.append(f"request: {r.url}"))
        page.goto(file.as_uri())
        # the page itself is the one request there is
        assert wrong.pop(0) == f"request: {file.as_uri()}"
        return page

    yield go
    for context in contexts:
        context.close()
    assert wrong == []


@pytest.fixture(scope="session")
def axe() -> Callable[..., list[str]]:
    """``axe(page)``: what an accessibility checker (axe-core) finds wrong, in words."""
    from axe_playwright_python.sync_playwright import Axe

    def look(page: Any) -> list[str]:
        found = Axe().run(page).response["violations"]
        return [f"{v['id']}: {n['html'][:120]}" for v in found for n in v["nodes"]]

    return look


@pytest.fixture(scope="session")
def small_review(
    tmp_path_factory: pytest.TempPathFactory, small_job_writer: Callable[..., Path]
) -> Path:
    """The review page of the small job."""
    from fitup.openjob import open_job
    from fitup.pages import review_facts, review_page

    folder = small_job_writer(tmp_path_factory.mktemp("review") / "small")
    file = folder / "review.html"
    file.write_bytes(review_page(review_facts(open_job(folder), folder=str(folder))))
    return file


@pytest.fixture(scope="session")
def closure() -> Any:
    """The shipped example, planned: two crews, 14 seats."""
    from fitup.openjob import open_job

    example = Path(__file__).parents[2] / "examples" / "skerrin-closure"
    opened = open_job(example)
    assert opened.plan.inside
    return opened
