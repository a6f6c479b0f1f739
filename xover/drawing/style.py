"""One look for all figures: ink on white paper, told apart in colour, in grey and by the colour-blind.

Each driver has a colour and a dash of its own, so that a grey print and every kind of colour vision still
tell them apart; names stand on the lines themselves.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
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
