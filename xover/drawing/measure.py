"""How wide a line of text is, from the advances of its characters: each is looked up in the font once.

Laying out a line to measure it costs a thousand times as much, and a page of notes is measured many times over
while it is wrapped. Kerning is left out; it moves a line by less than `SLACK`.
"""

from __future__ import annotations

from functools import cache
from typing import Final

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
