"""Save a figure or a schematic, the same bytes each time; the numbers of a figure as a table. Figures in a notebook.

Lines that share their frequencies share one column of them. Such blocks stand side by side, the longest first, each
with its frequencies at its left: a spreadsheet draws any block as it is. Single marks make up the last block.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import BytesIO, StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Self

import numpy as np

from xover.curve import Float
from xover.drawing.schematic import Schematic
from xover.drawing.style import look
from xover.errors import OptionError
from xover.files.atomic import check_target, write_bytes, write_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as MatplotlibFigure


# No date and no version of a library: the same figure gives the same file.
METADATA: Final[dict[str, dict[str, Any]]] = {
    "png": {"Software": "xover"},
    "svg": {"Creator": "xover", "Date": None},
    "pdf": {"Creator": "xover", "Producer": None, "CreationDate": None},
}


def save_figure(figure: MatplotlibFigure, path: Path | str, force: bool = False) -> None:
    """Write a figure as .png, .svg or .pdf, whole or not at all. Text stays text in SVG and PDF.

    Raises OptionError: the name ends in none of the three. InputError: the file exists and `force` is not given, or it
    cannot be written.
    """
    write_bytes(path, figure_bytes(figure, _kind(Path(path))), force)


def check_figure(path: Path | str, force: bool = False) -> None:
    """Raise at once what `save_figure` would raise for this name, before there is anything to draw."""
    _kind(Path(path))
    check_target(path, force)


def _kind(path: Path) -> str:
    kind = path.suffix.lower().removeprefix(".")
    if kind not in METADATA:
        raise OptionError(f"a figure cannot be written as '{path.name}'", "end the name in .png, .svg or .pdf")
    return kind


def figure_bytes(figure: MatplotlibFigure, kind: str) -> bytes:
    """The figure as a file of one of the kinds "png", "svg" and "pdf" holds it."""
    memory = BytesIO()
    with look():
        figure.savefig(memory, format=kind, dpi=figure.dpi, metadata=METADATA[kind])
    return memory.getvalue()


def save_schematic(schematic: Schematic, path: Path | str, force: bool = False) -> None:
    """Write a schematic as .svg, .png or .pdf, whole or not at all.

    Raises OptionError: the name ends in none of the three. InputError: the file exists and `force` is not given, or it
    cannot be written.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind == ".svg":
        write_text(path, schematic.svg() + "\n", force)
        return
    if kind not in (".png", ".pdf"):
        raise OptionError(f"a schematic cannot be written as '{path.name}'", "end the name in .svg, .png or .pdf")
    from xover.drawing.schematic.paper import make_figure

    save_figure(make_figure(schematic.layout), path, force)


class Figure:
    """A figure that a notebook shows: sharp as SVG, or as PNG where it cannot show that. `save` writes it."""

    def __init__(self, figure: MatplotlibFigure, of: str) -> None:
        self.matplotlib = figure
        """The figure itself, to be changed by hand."""
        self._of = of

    def save(self, path: str | Path, *, force: bool = False) -> Self:
        """Write it as .png, .svg or .pdf, whole or not at all; gives the figure back, so that a notebook shows it.

        Raises OptionError: the name ends in none of the three. InputError: the file is there and `force` is not given,
        or it cannot be written.
        """
        save_figure(self.matplotlib, path, force)
        return self

    def __repr__(self) -> str:
        wide, high = self.matplotlib.get_size_inches()
        return f"Figure of a {self._of}: {wide:g} by {high:g} inches; save(path) writes it"

    def _repr_svg_(self) -> str:
        return self._bytes("svg").decode()

    def _repr_png_(self) -> bytes:
        return self._bytes("png")

    def _bytes(self, kind: str) -> bytes:
        return figure_bytes(self.matplotlib, kind)


def save(figure: Figure | Schematic | MatplotlibFigure, path: str | Path, *, force: bool = False) -> None:
    """Write a figure or a schematic as .png, .svg or .pdf, whole or not at all.

    Parameters
    ----------
    force : overwrite a file that is there.

    Raises OptionError: the name ends in none of the three. InputError: the file is there, or it cannot be written.

    Example
    -------
    >>> xover.save(xover.draw(speaker.load("found")), "load.pdf")
    """
    if isinstance(figure, Schematic):
        save_schematic(figure, path, force)
        return
    save_figure(figure.matplotlib if isinstance(figure, Figure) else figure, path, force)


DIGITS: Final = 6
_FORMULA: Final = ("=", "+", "-", "@")


@dataclass(frozen=True, eq=False)
class CurveTable:
    """Columns with a heading each.

    Attributes
    ----------
    headings : (k,) panel and line with the unit, or the frequency.
    columns : (n, k), NaN where a column has no value.
    """

    headings: tuple[str, ...]
    columns: Float


def curves_of(figure: MatplotlibFigure) -> CurveTable:
    """The numbers of all lines and marks of a figure that `make_page` made.

    Left out are lines that are not data: the zero line, and upright ones, which lead the eye from one curve to another.
    """
    panels = [(axes, axes.get_title(loc="left")) for axes in figure.axes]
    across = next((axes.get_xlabel() for axes, _ in reversed(panels) if axes.get_xlabel()), "x")
    blocks: dict[bytes, _Block] = {}
    marks: list[tuple[str, float, float]] = []
    for axes, heading in panels:
        for name, x, y in _lines(axes):
            if x.size == 1:
                marks.append((f"{heading}: {name}", float(x[0]), float(y[0])))
            else:
                blocks.setdefault(x.tobytes(), _Block(x)).add(f"{heading}: {name}", y)
    found = sorted(blocks.values(), key=lambda block: -block.x.size)  # of one length: in the order of the lines
    if marks:
        found.append(_marked(marks))
    headings: list[str] = []
    columns: list[Float] = []
    for number, block in enumerate(found, 1):
        headings += [across if number == 1 else f"{across} ({number})", *block.names]
        columns += [block.x, *block.columns]
    table = np.full((max((c.size for c in columns), default=0), len(columns)), np.nan)
    for at, column in enumerate(columns):
        table[: column.size, at] = column
    return CurveTable(tuple(headings), table)


class _Block:
    """Lines over the same places."""

    def __init__(self, x: Float) -> None:
        self.x = x
        self.names: list[str] = []
        self.columns: list[Float] = []

    def add(self, name: str, y: Float) -> None:
        """One more line."""
        self.names.append(name)
        self.columns.append(y)


def _marked(marks: list[tuple[str, float, float]]) -> _Block:
    """Single points: a row and a column for each."""
    block = _Block(np.array([x for _, x, _ in marks]))
    for row, (name, _, y) in enumerate(marks):
        column = np.full(len(marks), np.nan)
        column[row] = y
        block.add(name, column)
    return block


def csv_row(cells: Sequence[str]) -> str:
    """One row of words by the same rules."""
    memory = StringIO()
    csv.writer(memory).writerow([_heading(text) for text in cells])
    return memory.getvalue()


def csv_text(table: CurveTable) -> str:
    """The table as comma-separated values by RFC 4180: the headings, then a row for each place.

    Numbers have six significant digits, and a point whatever the language; what is not known is an empty cell. A
    heading that a spreadsheet could take for a formula begins with an apostrophe; control characters are blanks.
    """
    memory = StringIO()
    writer = csv.writer(memory)  # quotes where it must, ends lines with CR LF
    writer.writerow([_heading(text) for text in table.headings])
    writer.writerows([_number(value) for value in row] for row in table.columns.tolist())
    return memory.getvalue()


def _lines(axes: Axes) -> Iterator[tuple[str, Float, Float]]:
    """Name, frequencies and values of the lines of a panel that are data."""
    for line in axes.lines:
        x, y = (np.asarray(part, dtype=float) for part in line.get_data(orig=False))
        name = str(line.get_label())
        upright = x.size > 1 and bool((x == x[0]).all())
        if line.get_transform() == axes.transData and not (upright or name.startswith("_")) and np.isfinite(y).any():
            yield name, x, y


def _heading(text: str) -> str:
    shown = "".join(c if c.isprintable() else " " for c in text)
    return f"'{shown}" if shown.lstrip().startswith(_FORMULA) else shown


def _number(value: float) -> str:
    return format(value, f".{DIGITS}g") if np.isfinite(value) else ""
