"""The lines of every symbol, in points."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from xover.drawing.schematic.amplifier import RADIUS
from xover.drawing.schematic.geometry import Kind, Layout, Point, Symbol
from xover.drawing.schematic.wires import DOT_RADIUS
from xover.drawing.style import INK, QUIET, driver_stroke

JOINT_RADIUS: Final = 2.1
WIRE_POINTS: Final = 1.2
DRIVER_POINTS: Final = 1.5
BRACKET_POINTS: Final = 0.7
RIM_POINTS: Final = 0.2

_LENGTH: Final = 32.0
_HALF: Final = 8.0
"""Of a resistor's height, and of a capacitor's plates."""
_GAP: Final = 5.76
_BOWS: Final = 4
_CORE_AT: Final = (8.0, 11.84)
_LAMP_RADIUS: Final = 10.0
_GROUND: Final = ((11.2, 7.0), (14.56, 4.9), (17.92, 1.4))
"""Its bars: so far down, so far to each side."""
# A driver's coil and cone: x from its terminals, y from its upper one.
_COIL: Final = ((7.0, -7.0), (7.0, 21.0), (14.0, 21.0), (14.0, -7.0), (7.0, -7.0))
_CONE: Final = ((14.0, -7.0), (24.5, -17.5), (24.5, 31.5), (14.0, 21.0))


@dataclass(frozen=True)
class Chain:
    """Straight lines from point to point."""

    points: tuple[Point, ...]


@dataclass(frozen=True)
class Bow:
    """Half a circle, clockwise from its start to its end."""

    start: Point
    end: Point


@dataclass(frozen=True)
class Ring:
    """A circle; `fill` is a colour or "none"."""

    at: Point
    radius: float
    fill: str = "none"


@dataclass(frozen=True)
class Lines:
    """Lines that belong together.

    Attributes
    ----------
    kind : wire, dot, ground, socket, coupling, or the kind of the symbol.
    name : of the part, driver, channel or node.
    """

    kind: str
    name: str
    strokes: tuple[Chain | Bow | Ring, ...]
    width_pt: float = WIRE_POINTS
    colour: str = INK


def all_lines(layout: Layout) -> Iterator[Lines]:
    """Everything that is drawn with lines, in the order in which it is drawn."""
    for wire in layout.wires:
        yield Lines("wire", wire.node, (Chain((wire.start, wire.end)),))
    for symbol in layout.symbols:
        if symbol.kind is Kind.DRIVER:
            colour = driver_stroke(symbol.index).ink
            yield Lines(symbol.kind.value, symbol.name, tuple(_driver(symbol)), DRIVER_POINTS, colour)
        else:
            yield Lines(symbol.kind.value, symbol.name, tuple(_part(symbol)))
    for ground in layout.grounds:
        x, y = ground.at
        bars = [Chain((Point(x - side, y + down), Point(x + side, y + down))) for down, side in _GROUND]
        yield Lines("ground", "", (Chain((ground.at, Point(x, y + _GROUND[0][0]))), *bars))
    for socket in layout.sockets:
        middle = Point((socket.box.left + socket.box.right) / 2, socket.at.y)
        yield Lines("socket", socket.channel, (Ring(middle, RADIUS, "white"),))
    for dot in layout.dots:
        yield Lines("dot", dot.node, (Ring(dot.at, JOINT_RADIUS, INK),), RIM_POINTS)
    for mark in layout.couplings:
        if mark.bracket:
            yield Lines("coupling", mark.name, (Chain(mark.bracket),), BRACKET_POINTS, QUIET)
        yield Lines("coupling", mark.name, tuple(Ring(dot, DOT_RADIUS, INK) for dot in mark.dots), RIM_POINTS)


def _part(symbol: Symbol) -> Iterator[Chain | Bow | Ring]:
    """A part of two terminals, in the middle between them."""
    first, last = sorted(t.at for t in symbol.terminals)
    middle = Point((first.x + last.x) / 2, (first.y + last.y) / 2)

    def at(along: float, aside: float = 0.0) -> Point:
        """From the middle towards the last terminal, and to the left as one looks there."""
        return Point(
            middle.x + (aside if symbol.vertical else along), middle.y + (along if symbol.vertical else -aside)
        )

    reach = {Kind.CAPACITOR: _GAP / 2, Kind.LAMP: _LAMP_RADIUS}.get(symbol.kind, _LENGTH / 2)
    yield Chain((first, at(-reach)))
    if symbol.kind is Kind.RESISTOR:
        box = ((-reach, _HALF), (reach, _HALF), (reach, -_HALF), (-reach, -_HALF), (-reach, _HALF))
        yield Chain(tuple(at(*corner) for corner in box))
    elif symbol.kind is Kind.CAPACITOR:
        yield from (Chain((at(end, _HALF), at(end, -_HALF))) for end in (-reach, reach))
    elif symbol.kind is Kind.LAMP:
        yield Ring(middle, reach)
        part = reach / 2**0.5
        yield from (Chain((at(-part, -side), at(part, side))) for side in (part, -part))
    else:
        ends = [at(reach * (2 * i / _BOWS - 1)) for i in range(_BOWS + 1)]
        yield from (Bow(*pair) for pair in pairwise(ends))
        if symbol.kind is Kind.CORED_COIL:
            yield from (Chain((at(-reach, aside), at(reach, aside))) for aside in _CORE_AT)
    yield Chain((at(reach), last))


def _driver(symbol: Symbol) -> Iterator[Chain]:
    upper, lower = sorted((t.at for t in symbol.terminals), key=lambda p: p.y)
    left = _COIL[0][0]
    yield Chain((upper, Point(upper.x + left, upper.y)))
    for corners in (_COIL, _CONE):
        yield Chain(tuple(Point(upper.x + x, upper.y + y) for x, y in corners))
    yield Chain((Point(lower.x + left, lower.y), lower))
