"""Schematics, drawn from any network: geometry first (`lay_out`), then ink."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from xover.drawing.save import save_figure
from xover.drawing.schematic.geometry import Layout
from xover.drawing.schematic.lay_out import lay_out
from xover.errors import OptionError
from xover.files.atomic import write_text
from xover.network.network import Network

__all__ = ["Layout", "Schematic", "draw_schematic", "lay_out", "save_schematic"]


@dataclass(frozen=True)
class Schematic:
    """A drawing of a network."""

    layout: Layout

    def svg(self) -> str:
        """The drawing as one SVG element: no XML declaration, sizes in points, scalable by a style sheet."""
        from xover.drawing.schematic.vector import svg_text

        return svg_text(self.layout)

    def _repr_svg_(self) -> str:
        """For notebooks."""
        return self.svg()


def draw_schematic(network: Network, other: Network | None = None, *, title: str = "") -> Schematic:
    """Draw a network.

    Parameters
    ----------
    network : any network with one solution.
    other : the same network with other values; where one differs, old (other) and new (network) are both written.
    title : heading, "" for none.
    """
    return Schematic(lay_out(network, other, title=title))


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
