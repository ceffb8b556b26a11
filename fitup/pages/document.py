"""One HTML file out of parts: style, scripts and facts inside, nothing fetched from anywhere.

The policy in the head forbids every connection and every script but the ones written here, which
are named by their SHA-256. Facts go in as JSON in which ``<``, ``>`` and ``&`` are escaped, and
the scripts only ever set text: a name from a job cannot become markup.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
from collections.abc import Sequence
from dataclasses import asdict
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from fitup.pages.field_facts import FieldFacts
from fitup.pages.review_facts import ReviewFacts

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

#: says which program wrote a page, so that only its own pages are written over
GENERATOR: Final = '<meta name="generator" content="fitup">'
#: signs that could end a script element or begin one, and two line ends JavaScript once minded
_ESCAPES: Final = {sign: f"\\u{ord(sign):04x}" for sign in "<>&\u2028\u2029"}


def review_page(facts: ReviewFacts) -> bytes:
    """Return the review page of a plan."""
    scripts = ("numbers.js", "change.js", "draw.js", "review.js")
    return page_bytes(f"Review: {facts.job}", "review.html", ("page.css",), scripts, facts)


def field_page(facts: FieldFacts) -> bytes:
    """Return the field page of one crew."""
    title = f"Crew {facts.crew}: {facts.job}"
    scripts = ("numbers.js", "field.js")
    return page_bytes(title, "field.html", ("page.css", "field.css"), scripts, facts)


def page_bytes(
    title: str, body: str, styles: Sequence[str], scripts: Sequence[str], facts: DataclassInstance
) -> bytes:
    """Return a whole page, the same bytes for the same facts.

    Parameters
    ----------
    title : str
        Any text, names from a job too.
    body : str
        Name of the part with the elements of the page.
    styles, scripts : sequence of str
        Names of parts, in the order in which they are joined.
    facts : dataclass instance
        What the scripts read: numbers, texts, tuples and dataclasses.
    """
    style, script = _joined(styles), _joined(scripts)
    policy = (
        f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )
    return "\n".join(
        (
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="referrer" content="no-referrer">',
            GENERATOR,
            f"<title>{html.escape(title)}</title>",
            f"<style>{style}</style>",
            "</head>",
            "<body>",
            _part(body),
            f'<script type="application/json" id="facts">{_json(asdict(facts))}</script>',
            f"<script>{script}</script>",
            "</body>",
            "</html>",
            "",
        )
    ).encode()


def _part(name: str) -> str:
    return (files("fitup.pages") / "parts" / name).read_text(encoding="utf-8")


def _joined(names: Sequence[str]) -> str:
    return "\n".join(_part(name) for name in names)


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"


def _json(content: Any) -> str:
    """Return JSON that stays text inside a script element, whatever names it holds."""
    text = json.dumps(content, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return "".join(_ESCAPES.get(sign, sign) for sign in text)
