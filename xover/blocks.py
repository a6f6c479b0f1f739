"""What a page and a terminal can both show: plain data, no markup but that of pictures.

A question tells its answer as blocks, once; `cli/show.py` and `report/page.py` render them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Final

from xover.sentences import capital

PASS: Final = "pass"
MARGINAL: Final = "marginal"
FAIL: Final = "fail"
UNKNOWN: Final = "unknown"
SCREEN_COLUMNS: Final = 80
"""What a terminal shows side by side."""


GONE: Final = "gone"
FAULT: Final = "fault"


@dataclass(frozen=True)
class Text:
    """A paragraph. `tone`: "" plain, "lead" for the sentence to read first, "quiet" for how to read what is above,
    GONE for what is not told for want of data, FAULT for what is not told by a fault of our own.

    On a terminal `flush` leaves its indent out, and `apart` puts an empty line before it.
    """

    words: str
    tone: str = ""
    flush: bool = False
    apart: bool = False
    kind: ClassVar[str] = "text"


@dataclass(frozen=True)
class Head:
    """A heading within a section."""

    words: str
    kind: ClassVar[str] = "head"


@dataclass(frozen=True)
class Gap:
    """An empty line on a terminal; nothing on a page."""

    kind: ClassVar[str] = "gap"


@dataclass(frozen=True)
class Items:
    """A list; `ticks` puts a box to tick before each item, `short` puts them in columns where there is room."""

    items: tuple[str, ...]
    ticks: bool = False
    short: bool = False
    kind: ClassVar[str] = "items"


@dataclass(frozen=True)
class Facts:
    """Words with what belongs to each; `width` is that of the labels on a terminal."""

    pairs: tuple[tuple[str, str], ...]
    width: int = 19
    kind: ClassVar[str] = "facts"


@dataclass(frozen=True)
class Cell:
    """A cell with a verdict: `verdict` is one of PASS, MARGINAL, FAIL, UNKNOWN, or empty."""

    words: str
    verdict: str = ""


@dataclass(frozen=True)
class Table:
    """A table; the first column heads its rows.

    Attributes
    ----------
    caption : what it shows. columns : heads. rows : cells, as many in each as there are columns.
    numbers : columns that are aligned as numbers, from 0.
    """

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    numbers: frozenset[int] = frozenset()
    kind: ClassVar[str] = "table"


@dataclass(frozen=True)
class Picture:
    """A figure.

    Attributes
    ----------
    name : unique on the page. title : its accessible name. svg : the drawing as markup, made by `drawing` alone.
    reading : one sentence of what it shows. notes : what the drawing rests on.
    data : the curves as CSV; empty where it has none. wide : needs the page's whole width in print.
    """

    name: str
    title: str
    svg: str
    reading: str
    notes: tuple[str, ...] = ()
    data: str = ""
    wide: bool = False
    kind: ClassVar[str] = "picture"


@dataclass(frozen=True)
class Warn:
    """A caution. `severity`: "stop", "caution" or "note"."""

    severity: str
    heading: str
    words: str
    kind: ClassVar[str] = "warn"


@dataclass(frozen=True)
class Listing:
    """Text in its own lines: a netlist, a formula, a label to cut out."""

    caption: str
    words: str
    download: str = ""
    """Name under which it can be saved; empty for none."""
    bare: bool = False
    """Whether a terminal shows it without an indent, for another program to read."""
    kind: ClassVar[str] = "listing"


@dataclass(frozen=True)
class Downloads:
    """Tables to save: name of the file, what is in it, its text."""

    files: tuple[tuple[str, str, str], ...]
    kind: ClassVar[str] = "downloads"


@dataclass(frozen=True)
class Note:
    """What a reader must know of how far an answer holds; on a terminal it goes to standard error."""

    words: str
    kind: ClassVar[str] = "note"


Block = Gap | Note | Text | Head | Items | Facts | Table | Picture | Warn | Listing | Downloads


@dataclass(frozen=True)
class Section:
    """A part of the page.

    Attributes
    ----------
    anchor : its place in links. new_page : begins a page in print.
    """

    anchor: str
    heading: str
    blocks: tuple[Block, ...]
    new_page: bool = False

    @property
    def pictures(self) -> tuple[Picture, ...]:
        """Its figures."""
        return tuple(b for b in self.blocks if isinstance(b, Picture))

    @property
    def not_told(self) -> tuple[Text, ...]:
        """What stands in the place of what could not be told."""
        return tuple(b for b in self.blocks if isinstance(b, Text) and b.tone in (GONE, FAULT))

    @property
    def mark(self) -> str:
        """What the contents say of it; empty where all is told."""
        tones = {b.tone for b in self.not_told}
        return "a fault in it" if FAULT in tones else "not all is told" if tones else ""


def sentence(words: str) -> Text:
    """A clause as a sentence of its own."""
    return Text(f"{capital(words)}.")


def fact(label: str, words: str, width: int = 19) -> Facts:
    """One label with what belongs to it."""
    return Facts(((label, words),), width)


def plain_table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    """A table of numbers without a caption, as a terminal shows it."""
    return table("", columns, rows, numbers=range(1, len(columns)))


def table(
    caption: str,
    columns: Sequence[str],
    rows: Sequence[Sequence[str | Cell]],
    *,
    numbers: Sequence[int] = (),
) -> Table:
    """A table of words and cells."""
    cells = tuple(tuple(c if isinstance(c, Cell) else Cell(c) for c in row) for row in rows)
    return Table(caption, tuple(columns), cells, frozenset(numbers))
