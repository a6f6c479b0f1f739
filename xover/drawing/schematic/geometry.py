"""What a schematic is made of, in points (1/72 inch); x runs right, y runs down, (0, 0) is the upper left corner.

Nothing here knows how a line gets onto paper: a test, a page or a file can walk the same geometry.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple


class Point(NamedTuple):
    """A place on the drawing, points."""

    x: float
    y: float


class Box(NamedTuple):
    """A rectangle, points; `top` is the smaller y."""

    left: float
    top: float
    right: float
    bottom: float

    def covers(self, other: Box) -> bool:
        """Whether the two share more than an edge."""
        return (
            self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom
        )


class DrawnKind(Enum):
    """What a symbol stands for."""

    RESISTOR = "resistor"
    LAMP = "lamp"
    COIL = "coil"
    CORED_COIL = "coil with a core"
    CAPACITOR = "capacitor"
    DRIVER = "driver"


class Role(Enum):
    """What a text says; its size, weight and colour follow from it."""

    TITLE = "title"
    NAME = "name"
    DRIVER = "driver"
    VALUE = "value"
    CHANGED = "changed value"
    LOSS = "loss"
    CHANGED_LOSS = "changed loss"
    MARK = "mark"
    COUPLING = "coupling"
    SIGN = "sign"
    NODE = "node"
    CHANNEL = "channel"
    NOTE = "note"


@dataclass(frozen=True)
class Terminal:
    """Where a wire may touch a symbol."""

    at: Point
    node: str


@dataclass(frozen=True)
class Symbol:
    """One part or driver.

    Attributes
    ----------
    name : as on the card.
    terminals : the card's first and second node; of a driver its plus and its minus.
    box : what the symbol covers, leads and all.
    vertical : whether it stands (the terminals lie one above the other).
    is_reversed : of a driver: whether its plus lies on the side of the amplifier's minus.
    index : of a driver: which driver of the network it is, from 0, for its colour.
    """

    name: str
    kind: DrawnKind
    terminals: tuple[Terminal, Terminal]
    box: Box
    vertical: bool
    is_reversed: bool = False
    index: int = 0


@dataclass(frozen=True)
class Text:
    """One line of text.

    Attributes
    ----------
    at : where the line is anchored on its baseline; `anchor` says which end: start, middle or end.
    of : the part, driver, channel or node that it speaks of; "" for the drawing's own.
    box : what the line covers in DejaVu Sans, or more.
    """

    content: str
    at: Point
    anchor: str
    role: Role
    of: str
    box: Box


@dataclass(frozen=True)
class Wire:
    """A straight piece of wire, level or upright."""

    start: Point
    end: Point
    node: str

    @property
    def is_level(self) -> bool:
        """Whether it runs left to right."""
        return self.start.y == self.end.y


@dataclass(frozen=True)
class Dot:
    """Wires are joined here; where wires cross without a dot they are not."""

    at: Point
    node: str


@dataclass(frozen=True)
class GroundSymbol:
    """A ground symbol hangs at a point; all of them are one node."""

    at: Point
    box: Box


@dataclass(frozen=True)
class Socket:
    """A terminal of the amplifier."""

    channel: str
    sign: str
    at: Point
    node: str
    box: Box


@dataclass(frozen=True)
class CouplingMark:
    """Two coupled coils: a dot at each coil's first node, and a bracket where they stand on one line.

    Attributes
    ----------
    k : coupling factor, -1 to 1.
    dots : beside the two coils' first ends, in the order of the card.
    bracket : (4,) corners of a line along both windings; empty where they do not stand on one line.
    """

    name: str
    coils: tuple[str, str]
    k: float
    dots: tuple[Point, Point]
    bracket: tuple[Point, ...] = ()


@dataclass(frozen=True)
class Layout:
    """A whole schematic.

    Attributes
    ----------
    title : heading, "" for none.
    description : what is drawn, in words, for those who cannot see it.
    warnings : what could not be drawn neatly.
    """

    width_pt: float
    height_pt: float
    title: str
    description: str
    symbols: tuple[Symbol, ...]
    texts: tuple[Text, ...]
    wires: tuple[Wire, ...]
    dots: tuple[Dot, ...]
    grounds: tuple[GroundSymbol, ...]
    sockets: tuple[Socket, ...]
    couplings: tuple[CouplingMark, ...]
    warnings: tuple[str, ...] = ()

    def symbol(self, name: str) -> Symbol:
        """The symbol of a part or driver card. Raises KeyError."""
        for symbol in self.symbols:
            if symbol.name == name:
                return symbol
        raise KeyError(name)
