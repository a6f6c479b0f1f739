"""One look for all figures: ink on white paper, told apart in colour, in grey and by the colour-blind; and their text.

Each driver has a colour and a dash of its own, so that a grey print and every kind of colour vision still
tell them apart; names stand on the lines themselves.

How wide a line is follows from the advances of its characters, each looked up in the font once: laying out a line to
measure it costs a thousand times as much, and a page of notes is measured many times over while it is wrapped. Kerning
is left out; it moves a line by less than `SLACK`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

INK: Final = "#141414"
QUIET: Final = "#4d4d4d"
GRID: Final = "#dcdcdc"
SHADE: Final = "#d4d4d4"
LIMIT: Final = "#a3123a"

PAGE_INCHES: Final = (8.0, 7.0)
PAGE_DPI: Final = 150

TITLE_POINTS: Final = 13.0
LONG_TITLE_POINTS: Final = 10.0
LINE_POINTS: Final = 9.0
HEADING_POINTS: Final = 9.5
TICK_POINTS: Final = 8.5
LABEL_POINTS: Final = 9.0
NOTE_POINTS: Final = 7.5


@dataclass(frozen=True)
class Stroke:
    """How a line is drawn.

    Attributes
    ----------
    colour : of the line; ink : of its name, darker, so that it can be read.
    dashes : lengths on and off in widths of the line; None draws it unbroken.
    width_points : in points, 1/72 inch.
    """

    colour: str
    ink: str
    dashes: tuple[float, ...] | None = None
    width_points: float = 1.5

    def options(self) -> dict[str, Any]:
        """The stroke as options of a line."""
        return {
            "color": self.colour,
            "linewidth": self.width_points,
            "linestyle": "-" if self.dashes is None else (0.0, self.dashes),
            "solid_capstyle": "round",
        }


SUM: Final = Stroke(INK, INK, None, 2.8)
REVERSED: Final = Stroke(INK, INK, (4.5, 2.5), 0.9)
ENVELOPE: Final = Stroke(INK, INK, None, 1.1)
DROP: Final = Stroke(QUIET, INK, (1.0, 2.5), 0.9)
LIMIT_STROKE: Final = Stroke(LIMIT, LIMIT, (12.0, 3.0, 2.0, 3.0), 1.2)

_COLOURS: Final = (
    ("#1f4e8c", "#1f4e8c"),  # dark blue
    ("#d2601a", "#a8480c"),  # orange
    ("#2f9e8f", "#1a7266"),  # green blue
    ("#8a2b4f", "#8a2b4f"),  # wine
    ("#bb8fd0", "#7f4f9a"),  # lilac
)
_DASHES: Final[tuple[tuple[float, ...] | None, ...]] = (
    None,
    (7.0, 2.0),
    (6.0, 1.8, 1.3, 1.8),
    (1.4, 1.4),
    (9.0, 1.8, 1.3, 1.8, 1.3, 1.8),
)


def driver_stroke(index: int) -> Stroke:
    """Stroke of the driver, or channel, that stands at `index` (from 0); no two of the first 25 are alike."""
    turn, colour = divmod(index, len(_COLOURS))
    line, ink = _COLOURS[colour]
    return Stroke(line, ink, _DASHES[(colour + turn) % len(_DASHES)])


def ring(colour: str, size_points: float = 6.0) -> dict[str, Any]:
    """A hollow mark, as options of a line that joins nothing."""
    return {
        "linestyle": "None",
        "marker": "o",
        "markersize": size_points,
        "markerfacecolor": "white",
        "markeredgecolor": colour,
        "markeredgewidth": 1.2,
        "zorder": 5,
    }


@contextmanager
def look() -> Iterator[None]:
    """Draw with the project's own settings, whatever settings the user keeps; they are put back at the end.

    Fonts are looked up only when a figure is saved: saving needs this too.
    """
    import matplotlib.style

    ours: dict[str, Any] = {
        "axes.edgecolor": QUIET,
        "axes.linewidth": 0.7,
        "axes.titlesize": HEADING_POINTS,
        "axes.titleweight": "bold",
        "axes.titlecolor": INK,
        "axes.labelcolor": QUIET,
        "axes.labelsize": TICK_POINTS,
        "font.size": LABEL_POINTS,
        "path.simplify": False,
        "pdf.fonttype": 42,
        "svg.fonttype": "none",
        "svg.hashsalt": "xover",
        "text.color": INK,
        "text.parse_math": False,
        "text.usetex": False,
        "xtick.color": QUIET,
        "xtick.labelsize": TICK_POINTS,
        "ytick.color": QUIET,
        "ytick.labelsize": TICK_POINTS,
    }
    with matplotlib.style.context(["default", ours]):
        yield


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
