"""Text that a figure can hold: no formula, no glyph that its font lacks, no line that leaves the page."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Final

UNKNOWN_GLYPH: Final = "\ufffd"
_FONT: Final = "DejaVu Sans"


@cache
def _drawable() -> frozenset[int]:
    """Code points of the font, in both its weights."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    paths = [findfont(FontProperties(family=[_FONT], weight=weight)) for weight in ("normal", "bold")]
    return frozenset.intersection(*(frozenset(get_font(path).get_charmap()) for path in paths))


def drawable(text: str) -> str:
    """Fold control characters into blanks, and show what the font lacks as a mark for an unknown character."""
    shown = (c if c.isprintable() else " " for c in text)
    return "".join(c if ord(c) in _drawable() else UNKNOWN_GLYPH for c in shown)


def cut(text: str, most: int) -> str:
    """Shorten to `most` characters from the middle: the ends of a name tell more than its middle."""
    if len(text) <= most:
        return text
    tail = (most - 1) // 2
    return f"{text[: most - 1 - tail]}…{text[len(text) - tail :]}"


def wrap(text: str, fits: Callable[[str], bool], most_lines: int) -> list[str]:
    """Break a text into lines that fit; what is too much is cut off with an ellipsis.

    Parameters
    ----------
    text : one paragraph. A word that is too long for a line of its own is broken.
    fits : says whether a line is short enough; true of a single character.
    most_lines : 1 or more.
    """
    lines: list[str] = []
    rest = " ".join(text.split())
    while rest:
        line = _longest(rest, fits)
        if len(lines) + 1 == most_lines and len(line) < len(rest):
            while line and not fits(line + "…"):
                line = line[:-1]
            return [*lines, line.rstrip() + "…"]
        lines.append(line.rstrip())
        rest = rest[len(line) :].lstrip()
    return lines


def _longest(rest: str, fits: Callable[[str], bool]) -> str:
    """The longest beginning that fits, up to a blank if there is one."""
    low, high = 1, 32
    while high < len(rest) and fits(rest[:high]):
        low, high = high, 2 * high
    if high >= len(rest):
        if fits(rest):
            return rest
        high = len(rest)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if fits(rest[:middle]) else (low, middle)
    blank = rest.rfind(" ", 0, low + 1)
    return rest[:blank] if blank > 0 else rest[:low]
