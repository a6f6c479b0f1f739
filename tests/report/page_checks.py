"""What every page must be: each function asserts one rule of a page in the browser, and names the offenders.

for check in CHECKS: check(page)
prints_well(page)
"""

from __future__ import annotations

import base64
import binascii
import csv
import io
import re
import unicodedata
import urllib.parse
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from browser import CSS_PIXELS_PER_MM, Page

LEAST_CONTRAST = 4.5
"""WCAG 2.2, success criterion 1.4.3, for text of ordinary size; here for text of every size."""
MOST_PAGES = 11
A4_POINT = (595.28, 841.89)
"""210 by 297 mm (ISO 216) in points of 1/72 inch."""
MARGINS_MM = 30
"""Taken off the paper's width where a page is laid out for paper without printing it; no page has wider margins."""

_SCRIPT = Path(__file__).with_name("page_checks.js").read_text(encoding="utf-8")


def _faults(page: Page, check: str, argument: str = "") -> list[str]:
    """What a check of page_checks.js finds in the page."""
    return list(page.evaluate(f"(() => {{ {_SCRIPT}\nreturn checks.{check}({argument}); }})()"))


def _none(rule: str, faults: Sequence[str]) -> None:
    more = f"; and {len(faults) - 6} more" if len(faults) > 6 else ""
    assert not faults, f"{rule}: " + "; ".join(faults[:6]) + more


def says_nothing(page: Page) -> None:
    """No word in the console, no exception, no dialog."""
    page.settle()
    _none("the page speaks", [*page.console, *page.exceptions, *page.opened])


def asks_for_nothing(page: Page) -> None:
    """No request but for the page itself."""
    page.settle()
    _none("the page asks for", page.requests)


def is_self_contained(page: Page) -> None:
    """Nothing that would ask for anything later, on hovering or printing, and nothing that would run."""
    _none("the page is not by itself", _faults(page, "selfContained"))


def has_language_and_title(page: Page) -> None:
    """Language, title, UTF-8, standards mode, a viewport for telephones."""
    _none("the page does not introduce itself", _faults(page, "language"))


def keeps_contract(page: Page) -> None:
    """The standing of the data comes first; each section has a heading and a place in the contents."""
    _none("the page lacks a part", _faults(page, "contract"))


def headings_are_in_order(page: Page) -> None:
    """One h1, no level left out, none empty."""
    _none("headings", _faults(page, "headings"))


def ids_are_unique(page: Page) -> None:
    """No id twice, and each reference to one leads somewhere, inside drawings too."""
    _none("ids", _faults(page, "ids"))


def contents_lead_there(page: Page) -> None:
    """Each link of the table of contents can be clicked and brings its section into the window."""
    _none("contents", _faults(page, "contents"))


def tables_have_heads(page: Page) -> None:
    """Each table has header cells with a scope, rows of equal length and data."""
    _none("tables", _faults(page, "tables"))


def figures_are_drawn_and_named(page: Page) -> None:
    """Each figure has a drawing of some size with something in it, a sentence below, and a name to be read out."""
    faults = _faults(page, "figures")
    heard = {node["backendDOMNodeId"]: node for node in page.accessibility() if "backendDOMNodeId" in node}
    names: set[str] = set()
    for number, drawing in enumerate(page.backend_ids("figure > svg"), start=1):
        node = heard.get(drawing, {})
        role, name = _value(node, "role"), _value(node, "name")
        if role not in {"image", "img"}:
            faults.append(f"the drawing of figure {number} is no image to a screen reader but '{role}'")
        if not name:
            faults.append(f"the drawing of figure {number} has no accessible name")
        elif name in names:
            faults.append(f"the drawing of figure {number} has the name of another, '{name}'")
        names.add(name)
    _none("figures", faults)


def links_are_named(page: Page) -> None:
    """Each link says something to a screen reader."""
    ids = page.backend_ids("a[href]")
    heard = {n.get("backendDOMNodeId"): n for n in page.accessibility() if _value(n, "role") == "link"}
    hidden = [str(number) for number, link in enumerate(ids, start=1) if link not in heard]
    silent = [str(n) for n, link in enumerate(ids, start=1) if link in heard and not _value(heard[link], "name")]
    _none("links without a name, by their order on the page", silent)
    _none("links that are hidden from a screen reader, by their order on the page", hidden)


def _value(node: dict[str, object], key: str) -> str:
    held = node.get(key)
    return str(held.get("value", "")).strip() if isinstance(held, dict) else ""


def downloads_are_tables(page: Page) -> None:
    """Each download holds what its name says: .csv a table with as many fields in each row, others plain text."""
    links = page.evaluate("[...document.querySelectorAll('a[download]')].map(a => [a.download, a.href])")
    faults = [] if any(name.endswith(".csv") for name, _ in links) else ["no table to download"]
    counts = Counter(name for name, _ in links)
    faults += [f"{name} is the name of {count} files" for name, count in counts.items() if count > 1]
    for name, address in links:
        fault = _fault_of_csv(address) if name.endswith(".csv") else _fault_of_text(address)
        faults += [f"{name or 'a file without a name'} {fault}"] if fault else []
    _none("downloads", faults)


def _fault_of_text(address: str, kind: str = "plain") -> str:
    found = re.fullmatch(rf"data:text/{kind};charset=utf-8(;base64)?,(.+)", address, re.DOTALL)
    if not found:
        return f"is not text/{kind} but '{address[:40]}'"
    try:
        data = base64.b64decode(found[2], validate=True) if found[1] else urllib.parse.unquote_to_bytes(found[2])
        data.decode("utf-8")
    except (binascii.Error, UnicodeDecodeError) as error:
        return f"cannot be decoded: {error}"
    return ""


def _fault_of_csv(address: str) -> str:
    fault = _fault_of_text(address, "csv")
    if fault:
        return fault
    head, _, body = address.partition(",")
    data = base64.b64decode(body) if head.endswith(";base64") else urllib.parse.unquote_to_bytes(body)
    try:
        rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True))
    except csv.Error as error:
        return f"is no table: {error}"
    widths = sorted({len(row) for row in rows})
    if len(widths) > 1:
        return f"has rows of {' and '.join(map(str, widths))} fields"
    if len(rows) < 2 or widths[0] < 2:
        return f"has {len(rows)} rows of {widths[0] if widths else 0} fields"
    if not all(field.strip() for field in rows[0]):
        return "has a column without a name"
    return ""


def nothing_scrolls_sideways(page: Page) -> None:
    """The page is no wider than its window; names what reaches farthest."""
    _none("the page scrolls sideways", _faults(page, "sideways"))


def nothing_is_clipped(page: Page) -> None:
    """No text is cut off by a box around it or lies where nobody can scroll."""
    _none("text is cut off", _faults(page, "clipped", "false"))


def words_stay_whole(page: Page) -> None:
    """No word or number of ordinary length is torn apart at the end of a line, as in a column that is too narrow."""
    _none("words are torn apart", _faults(page, "broken"))


def text_has_contrast(page: Page) -> None:
    """All text, in drawings too, stands out from what is painted behind it."""
    _none("text is faint", _faults(page, "faint", str(LEAST_CONTRAST)))


CHECKS: tuple[Callable[[Page], None], ...] = (
    says_nothing,
    asks_for_nothing,
    is_self_contained,
    has_language_and_title,
    keeps_contract,
    headings_are_in_order,
    ids_are_unique,
    contents_lead_there,
    tables_have_heads,
    figures_are_drawn_and_named,
    links_are_named,
    downloads_are_tables,
    nothing_scrolls_sideways,
    nothing_is_clipped,
    words_stay_whole,
    text_has_contrast,
)
"""All that holds on a screen, whatever its width."""


def prints_well(page: Page) -> None:
    """On A4: few pages, none empty, and all text that is drawn for paper stands on them, none of it cut off."""
    size = page.evaluate("[innerWidth, innerHeight]")
    page.media("print")
    page.resize(round((210 - MARGINS_MM) * CSS_PIXELS_PER_MM), size[1])
    try:
        _none("text is cut off on paper", _faults(page, "clipped", "true"))
        words = _faults(page, "words")
    finally:
        page.media()
        page.resize(size[0], size[1])
    is_good_pdf(page.pdf(), words)


def is_good_pdf(data: bytes, words: Sequence[str]) -> None:
    """A PDF of few A4 pages, each with text on it, which together hold all the words."""
    from pypdf import PdfReader

    pages = PdfReader(io.BytesIO(data)).pages
    assert len(pages) <= MOST_PAGES, f"prints on {len(pages)} pages; {MOST_PAGES} are the most"
    for number, sheet in enumerate(pages, start=1):
        size = (float(sheet.mediabox.width), float(sheet.mediabox.height))
        fits = all(abs(side - wanted) < 0.75 for side, wanted in zip(size, A4_POINT, strict=True))
        assert fits, f"page {number} is {size[0]:.0f} by {size[1]:.0f} points, which is not A4"
    texts = [_packed(sheet.extract_text()) for sheet in pages]
    empty = [str(number) for number, text in enumerate(texts, start=1) if not text]
    _none("pages without a word", empty)
    printed = "".join(texts)
    _none("words that are missing on paper", [word for word in words if _packed(word) not in printed])


def _packed(text: str) -> str:
    """Letters and digits alone: lines are broken, and ligatures set, where it pleases the paper."""
    return "".join(c for c in unicodedata.normalize("NFKC", text).casefold() if c.isalnum())
