"""A figure that a notebook shows, and one way to write figures and schematics."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Self

from xover.drawing.save import figure_bytes, save_figure
from xover.drawing.schematic import Schematic, save_schematic

if TYPE_CHECKING:
    from matplotlib.figure import Figure as MatplotlibFigure


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
