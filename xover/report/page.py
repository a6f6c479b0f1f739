"""Sections to one HTML page that needs nothing beside it; words from files made fit for it."""

from __future__ import annotations

import base64
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from xover.blocks import FAIL, MARGINAL, PASS, UNKNOWN, Picture, Section
from xover.studies.change.decide.words import MARKS

if TYPE_CHECKING:
    from jinja2 import Template
    from markupsafe import Markup

LONGEST: Final = 2000


def safe(text: str, longest: int = LONGEST) -> str:
    """The text with line ends kept; what cannot be seen becomes a mark, what is too long is cut and says so.

    Marks that turn the reading direction would let a name rearrange the words around it.
    """
    shown = "".join(c if c == "\n" or _visible(c) else "\ufffd" for c in text)
    if len(shown) <= longest:
        return shown
    return f"{shown[: longest - 1]}… ({len(text):,} characters)"


def one_line(text: str, longest: int) -> str:
    """The same in one line."""
    return " ".join(safe(text, longest).split())


def _visible(character: str) -> bool:
    return unicodedata.category(character) not in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


WORDS: Final = {PASS: "passes", MARGINAL: "marginal", FAIL: "fails", UNKNOWN: "no verdict"}
LONGEST_TITLE: Final = 120
LONGEST_WORD: Final = 18
BREAK: Final = 9
"""A word longer than that may be broken after so many letters."""


@dataclass(frozen=True)
class Page:
    """What stands on the page.

    Attributes
    ----------
    standing : what was measured; the first words of the page. made : day and version.
    """

    title: str
    standing: str
    made: str
    sections: tuple[Section, ...]


def render(page: Page) -> str:
    """The page as HTML. Every word of it is escaped; only the drawings' markup is taken as it is."""
    title = one_line(page.title, LONGEST_TITLE)
    return _template("page.html.jinja").render(page=page, title=title, style=_resource("style.css"))


def html_of(section: Section) -> str:
    """The markup of one section."""
    marks = {str(verdict): (sign, WORDS[str(verdict)]) for verdict, sign in MARKS.items()}
    return _template("section.html.jinja").render(section=section, alone=frozenset(_alone(section)), marks=marks)


@cache
def _template(name: str) -> Template:
    from jinja2 import Environment, StrictUndefined

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    environment.filters |= {"safe_text": safe, "words": _words, "data_uri": _data_uri, "html": html_of}
    environment.tests["block"] = lambda block, kind: block.kind == kind
    return environment.from_string(_resource(name))


def _alone(section: Section) -> Iterator[str]:
    """Names of the figures that have no other beside them on paper, where they stand in pairs."""
    run: list[Picture] = []
    for block in (*section.blocks, None):
        if isinstance(block, Picture) and not block.wide:
            run.append(block)
            continue
        if len(run) % 2:
            yield run[-1].name
        run = []


def _resource(name: str) -> str:
    return files("xover.report").joinpath(name).read_text(encoding="utf-8")


def _words(text: str, longest: int = LONGEST) -> Markup:
    """Text escaped, with places to break it in words that are longer than any of a language."""
    from markupsafe import Markup, escape

    parts = (
        Markup("<wbr>").join(escape(word[i : i + BREAK]) for i in range(0, len(word), BREAK))
        if len(word) > LONGEST_WORD
        else escape(word)
        for word in re.split(r"(\s+)", safe(text, longest))
    )
    return Markup("").join(parts)


def _data_uri(text: str, kind: str) -> str:
    # A spreadsheet takes a table without the mark for one in its country's old encoding.
    text = f"\ufeff{text}" if kind == "csv" else text
    return f"data:text/{kind};charset=utf-8;base64," + base64.b64encode(text.encode("utf-8")).decode("ascii")
