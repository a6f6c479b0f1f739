"""Text that a figure can hold: no formula, no glyph that its font lacks, no line that leaves the page.

How wide a line is follows from the advances of its characters, each looked up in the font once: laying out a line to
measure it costs a thousand times as much, and a page of notes is measured many times over while it is wrapped. Kerning
is left out; it moves a line by less than `SLACK`.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Final

UNKNOWN_GLYPH: Final = "\ufffd"
LONGEST_NAME: Final = 28
"""Characters of a name on a figure; see `cut`."""


@cache
def _drawable() -> frozenset[int]:
    """Code points of the font, in both its weights."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    paths = [findfont(FontProperties(family=[FONT], weight=weight)) for weight in ("normal", "bold")]
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


FONT: Final = "DejaVu Sans"
SLACK: Final = 1.02
"""What hinting and kerning may add to a line on the screen, as a factor."""
_SIZE: Final = 100.0


def width_points(text: str, points: float, bold: bool = False) -> float:
    """Width of a line in type of a size, both in points (1/72 inch)."""
    return points * sum(_advance(character, bold) for character in text)


def height_points(points: float, bold: bool = False) -> tuple[float, float]:
    """Height of a line, and how much of it lies below the base line, points."""
    whole, below = _reach(bold)
    return points * whole, points * below


@cache
def _advance(character: str, bold: bool) -> float:
    """Advance of one character in type of one point."""
    from matplotlib.ft2font import LoadFlags

    glyph = _font(bold).load_char(ord(character), flags=LoadFlags.NO_HINTING)
    return float(glyph.linearHoriAdvance) / 65536.0 / _SIZE


@cache
def _reach(bold: bool) -> tuple[float, float]:
    """Height and depth of "lp" in type of one point."""
    from matplotlib.ft2font import LoadFlags

    font = _font(bold)
    font.set_text("lp", 0.0, flags=LoadFlags.NO_HINTING)
    # In 1/64 pixel, of which there are 72 to the inch.
    return font.get_width_height()[1] / 64.0 / _SIZE, font.get_descent() / 64.0 / _SIZE


def _font(bold: bool):  # type: ignore[no-untyped-def]
    from matplotlib.font_manager import FontProperties, findfont, get_font

    font = get_font(findfont(FontProperties(family=[FONT], weight="bold" if bold else "normal")))
    font.set_size(_SIZE, 72)
    return font
