"""Read an XML file without trusting it: no DTD, no entities, no network, not too big."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import Element, ParseError

from fitup.errors import InputError, Problem
from fitup.plainfile import MOST_BYTES, read_bytes


def read_xml(path: Path, shown: str) -> Element:
    """Return the root of an XML file.

    Parameters
    ----------
    path : Path
    shown : str
        Name of the file in messages.

    Raises
    ------
    InputError
        If it is missing, unreadable, larger than 50 MB, broken, or holds a document type or
        entities, which no alignment needs and which can hide a file or fill the memory.
    """
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    def refuse(found: str, allowed: str, do: str) -> InputError:
        return InputError([Problem(shown, found, allowed, do)])

    try:
        raw = read_bytes(path)
    except FileNotFoundError:
        raise refuse("no such file", "a LandXML file", "create it or correct its name") from None
    except OSError as error:
        what = error.strerror or str(error)
        raise refuse(what, "a readable file", "check the path and permissions") from None
    if len(raw) > MOST_BYTES:
        size = max(len(raw), path.stat().st_size)
        most = f"at most {MOST_BYTES / 1e6:.0f} MB"
        raise refuse(f"{size / 1e6:.0f} MB", most, "export the alignment alone")
    try:
        root: Element = fromstring(raw, forbid_dtd=True)
    except DefusedXmlException:
        raise refuse(
            "a document type or entities",
            "plain XML without <!DOCTYPE or <!ENTITY",
            "export it again; do not open it elsewhere, it may be harmful",
        ) from None
    except (ParseError, LookupError, ValueError) as error:
        raise refuse(f"broken XML ({error})", "whole XML", "export it again") from None
    return root


@dataclass(frozen=True)
class Teller:
    """A place in a file in words; what is wrong there is reported to ``problems``."""

    where: str
    file: str
    problems: list[Problem]

    def named(self, where: str) -> Teller:
        """Return one for another place of the same file."""
        return Teller(where, self.file, self.problems)

    def complain(self, found: str, allowed: str, do: str) -> None:
        """Note what is wrong at this place.

        Parameters
        ----------
        found : str
            What stands there.
        allowed : str
            What may stand there.
        do : str
            How to put it right.
        """
        self.problems.append(Problem(self.file, found, allowed, do, column=self.where))


@dataclass(frozen=True)
class XmlElement(Teller):
    """An element with its place in words; numbers that are none are reported to ``problems``."""

    element: Element

    @property
    def tag(self) -> str:
        """Its name without namespace."""
        return self.element.tag.rpartition("}")[2]

    def __iter__(self) -> Iterator[XmlElement]:
        return (self.child(e) for e in self.element if isinstance(e.tag, str))

    def child(self, element: Element, where: str = "") -> XmlElement:
        """Return an element inside, at the same place in words or its own.

        Parameters
        ----------
        element : Element
        where : str
            Place in words; empty for that of this element.
        """
        return XmlElement(where or self.where, self.file, self.problems, element)

    def named(self, where: str) -> XmlElement:
        """Return the same element under another name for messages."""
        return self.child(self.element, where)

    def all(self, tag: str) -> list[XmlElement]:
        """Return the elements of one name directly inside."""
        return [node for node in self if node.tag == tag]

    def first(self, tag: str) -> XmlElement | None:
        """Return the first element of a name directly inside, if there is one."""
        return next(iter(self.all(tag)), None)

    def text(self, name: str) -> str:
        """Return an attribute, empty where there is none."""
        return self.element.get(name, "").strip()

    def number(self, name: str) -> float | None:
        """Return an attribute as a finite number; None where there is none or it is wrong."""
        text = self.text(name)
        if not text:
            return None
        value = _number(text)
        if value is None:
            self.complain(f"{name}='{text[:40]}'", "a number", "correct it in the design program")
        return value

    def numbers(self, least: int) -> list[float] | None:
        """Return the numbers that stand inside the element, at least so many."""
        words = (self.element.text or "").split()
        values = [v for v in map(_number, words) if v is not None]
        if len(values) < max(least, len(words)):
            self.complain(
                f"<{self.tag}> '{' '.join(words)[:60]}'",
                "a number" if least == 1 else f"{least} numbers or more",
                "correct it in the design program",
            )
            return None
        return values


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
