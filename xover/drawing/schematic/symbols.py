"""The layout as schemdraw elements: each symbol stands where the layout says."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final, Protocol

from xover.drawing.schematic.amplifier import RADIUS
from xover.drawing.schematic.couplings import DOT_RADIUS
from xover.drawing.schematic.geometry import CouplingMark, Kind, Layout, Point, Symbol
from xover.drawing.schematic.ink import DRIVER_LENGTH
from xover.drawing.schematic.library import Library, load
from xover.drawing.style import INK, QUIET, driver_stroke

UNIT: Final = 32.0
"""Points to one unit of schemdraw: a resistor's body is one unit long. A power of two, so that points stay exact."""
JOINT_RADIUS: Final = 2.1

WIRE_POINTS: Final = 1.2
SYMBOL_POINTS: Final = 1.2
DRIVER_POINTS: Final = 1.5
BRACKET_POINTS: Final = 0.7

_GROUND_ZOOM: Final = 0.875
_DRIVER_ZOOM: Final = DRIVER_LENGTH / (0.5 * UNIT)
_LAMP_ZOOM: Final = 0.625
_CORE_LINES: Final = 2


class Element(Protocol):
    """What we use of a schemdraw element once it stands."""

    segments: list[Any]
    transform: Any
    params: Any


@dataclass(frozen=True)
class Figure:
    """Elements that belong together.

    Attributes
    ----------
    kind : wire, dot, ground, socket, coupling, or the kind of the symbol.
    name : of the part, driver, channel or node.
    """

    kind: str
    name: str
    elements: tuple[Element, ...]


def build_figures(layout: Layout) -> Iterator[Figure]:
    """Everything that is drawn with lines, in the order in which it is drawn."""
    library = load()
    e = library.elements
    for wire in layout.wires:
        line = e.Line().endpoints(_unit(wire.start), _unit(wire.end)).linewidth(WIRE_POINTS)
        yield Figure("wire", wire.node, (_stand(line, INK),))
    for symbol in layout.symbols:
        yield Figure(symbol.kind.value, symbol.name, (_symbol(library, symbol),))
    for ground in layout.grounds:
        element = e.Ground().at(_unit(ground.at)).scale(_GROUND_ZOOM).linewidth(SYMBOL_POINTS)
        yield Figure("ground", "", (_stand(element, INK),))
    for socket in layout.sockets:
        middle = Point((socket.box.left + socket.box.right) / 2, socket.at.y)
        ring = e.Dot(radius=RADIUS / UNIT).at(_unit(middle)).fill("white").linewidth(SYMBOL_POINTS)
        yield Figure("socket", socket.channel, (_stand(ring, INK),))
    for dot in layout.dots:
        spot = e.Dot(radius=JOINT_RADIUS / UNIT).at(_unit(dot.at)).fill(INK).linewidth(0.2)
        yield Figure("dot", dot.node, (_stand(spot, INK),))
    for mark in layout.couplings:
        yield Figure("coupling", mark.name, tuple(_coupling(library, mark)))


def _unit(point: Point) -> tuple[float, float]:
    """To schemdraw's coordinates, where y runs up."""
    return point.x / UNIT, -point.y / UNIT


def _stand(element: Any, colour: str) -> Element:
    """Colour an element and work out its place, as a drawing would."""
    element.color(colour)
    element._place((0.0, 0.0), 0.0)
    placed: Element = element
    return placed


def _symbol(library: Library, symbol: Symbol) -> Element:
    if symbol.kind is Kind.DRIVER:
        return _driver(library, symbol)
    first, last = sorted(t.at for t in symbol.terminals)
    e = library.elements
    makers: dict[Kind, Any] = {
        Kind.RESISTOR: e.ResistorIEC,
        Kind.LAMP: e.Lamp2,
        Kind.COIL: e.Inductor,
        Kind.CORED_COIL: lambda: e.Inductor(core=_CORE_LINES),
        Kind.CAPACITOR: e.Capacitor,
    }
    element = makers[symbol.kind]().endpoints(_unit(first), _unit(last)).linewidth(SYMBOL_POINTS)
    if symbol.kind is Kind.LAMP:
        element.scale(_LAMP_ZOOM)
    return _stand(element, INK)


def _driver(library: Library, symbol: Symbol) -> Element:
    upper = min((t.at for t in symbol.terminals), key=lambda p: p.y)
    element = library.elements.Speaker().at(_unit(upper)).theta(0).scale(_DRIVER_ZOOM).linewidth(DRIVER_POINTS)
    return _stand(element, driver_stroke(symbol.index).ink)


def _coupling(library: Library, mark: CouplingMark) -> Iterator[Element]:
    e = library.elements
    for dot in mark.dots:
        yield _stand(e.Dot(radius=DOT_RADIUS / UNIT).at(_unit(dot)).fill(INK).linewidth(0.2), INK)
    for a, b in zip(mark.bracket, mark.bracket[1:], strict=False):
        yield _stand(e.Line().endpoints(_unit(a), _unit(b)).linewidth(BRACKET_POINTS), QUIET)
