"""A figure as a piece of SVG that stands in a page of HTML.

It holds drawing and text alone: no declaration, no reference to anything outside or inside, no style sheet, no date.
Its two ids begin with the name that it is given. Lines are cut at the edge of their panel instead of clipped, points
that lie on the way between their neighbours are left out, and coordinates are hundredths of a point.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final
from xml.sax.saxutils import escape, quoteattr

from xover.drawing.style import look

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FONTS: Final = "DejaVu Sans, Verdana, sans-serif"
POINTS: Final = 72.0
_NAME: Final = re.compile(r"[A-Za-z][A-Za-z0-9_-]*\Z")


def figure_svg(figure: Figure, *, name: str, title: str, description: str) -> str:
    """Write a figure as one `<svg>` element, well-formed as XML and as HTML.

    It has a viewBox in points and no size: the page gives it one. To those who do not see it, it is an image of the
    title and the description.

    Parameters
    ----------
    name : what its ids begin with; a letter, then letters, digits, `-` and `_`; different for each figure of a page.
    title, description : any text; control characters become blanks.

    Raises
    ------
    ValueError : the name cannot be an id.
    """
    from xover.drawing.svg_renderer import SvgRenderer

    if not _NAME.match(name):
        raise ValueError(f"{name!r} cannot be an id")
    width, height = (float(inches) * POINTS for inches in figure.get_size_inches())
    renderer = SvgRenderer(width, height)
    dpi = figure.dpi
    with look():
        try:
            figure.set_dpi(POINTS)
            figure.draw(renderer)
        finally:
            figure.set_dpi(dpi)
    ids = f"{name}-title", f"{name}-description"
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {number(width)} {number(height)}" role="img" '
            f'aria-labelledby="{ids[0]} {ids[1]}" font-family="{FONTS}">',
            f'<title id="{ids[0]}">{plain_text(title)}</title>',
            f'<desc id="{ids[1]}">{plain_text(description)}</desc>',
            *renderer.elements,
            "</svg>",
        ]
    )


def plain_text(text: str) -> str:
    """Text between two tags: what XML cannot hold, and what would turn the direction of what follows, is a blank."""
    return escape("".join(c if c.isprintable() else " " for c in text))


def attributes(**given: Any) -> str:
    """Attributes of an element in the order given, `_` for `-`; those that are None are left out."""
    return "".join(f" {key.replace('_', '-')}={quoteattr(str(v))}" for key, v in given.items() if v is not None)


@lru_cache(maxsize=4096)
def number(value: float) -> str:
    """A number with two decimals at most: 3, 3.5, 0.07."""
    return hundredths(round(value * 100.0))


def hundredths(value: int) -> str:
    """So many hundredths, as short as it can be written: 3, -.5, .07."""
    whole, part = divmod(abs(value), 100)
    text = f"{whole}" if not part else f"{whole or ''}.{part:02d}".rstrip("0")
    return f"-{text}" if value < 0 else text
