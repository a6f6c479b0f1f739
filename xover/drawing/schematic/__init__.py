"""Schematics, drawn from any network: geometry first (`lay_out`), then ink."""

from __future__ import annotations

from dataclasses import dataclass

from xover.drawing.schematic.geometry import Layout
from xover.drawing.schematic.lay_out import lay_out
from xover.network.network import Network

__all__ = ["Layout", "Schematic", "draw_schematic", "lay_out"]


@dataclass(frozen=True)
class Schematic:
    """A drawing of a network."""

    layout: Layout

    def svg(self) -> str:
        """The drawing as one SVG element: no XML declaration, sizes in points, scalable by a style sheet."""
        from xover.drawing.schematic.paper import svg_text

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
