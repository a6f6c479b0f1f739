"""Save a figure or a schematic: the format by the name's ending, the same bytes each time. Figures in a notebook."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Self

from xover.drawing.schematic import Schematic
from xover.drawing.style import look
from xover.errors import OptionError
from xover.files.atomic import check_target, write_bytes, write_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure as MatplotlibFigure

# No date and no version of a library: the same figure gives the same file.
METADATA: Final[dict[str, dict[str, Any]]] = {
    "png": {"Software": "xover"},
    "svg": {"Creator": "xover", "Date": None},
    "pdf": {"Creator": "xover", "Producer": None, "CreationDate": None},
}


def save_figure(figure: MatplotlibFigure, path: Path | str, force: bool = False) -> None:
    """Write a figure as .png, .svg or .pdf, whole or not at all. Text stays text in SVG and PDF.

    Raises
    ------
    OptionError : the name ends in none of the three.
    InputError : the file exists and `force` is not given, or it cannot be written.
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

    Raises
    ------
    OptionError : the name ends in none of the three.
    InputError : the file exists and `force` is not given, or it cannot be written.
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

        Raises
        ------
        OptionError : the name ends in none of the three. InputError : the file is there and `force` is not given, or
            it cannot be written.
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

    Raises
    ------
    OptionError : the name ends in none of the three. InputError : the file is there, or it cannot be written.

    Example
    -------
    >>> xover.save(xover.draw(speaker.load("found")), "load.pdf")
    """
    if isinstance(figure, Schematic):
        save_schematic(figure, path, force)
        return
    save_figure(figure.matplotlib if isinstance(figure, Figure) else figure, path, force)
