"""The amplifier's side of the drawing: two sockets a channel, and a bus from each to the rows that it feeds."""

from __future__ import annotations

from typing import ClassVar, Final

from xover.drawing.schematic.geometry import Box, Point, Role, Socket
from xover.drawing.schematic.ink import Ink
from xover.drawing.schematic.lettering import LETTERS, MINUS, width_pt, write
from xover.drawing.schematic.words import name_of
from xover.network.network import GROUND, Network
from xover.network.parts import Channel

RADIUS: Final = 2.5
SOCKET_X: Final = 20.0
PAIR_APART: Final = 26.0
CHANNELS_APART: Final = 60.0
BUSES_APART: Final = 12.0
ROWS_APART: Final = 6.0
_SHOWN: Final = {"+": "+", "-": MINUS}


class Amplifier:
    """Where the amplifier's wires stand; grows as the sections are drawn.

    Attributes
    ----------
    bus_x : where the bus of each of the amplifier's nodes stands, ground apart.
    rail_left : where ground rails begin; right : where the parts may begin.
    """

    LABEL_ROOM: ClassVar[float] = 24.0

    def __init__(self, network: Network) -> None:
        self._channels = network.channels
        self._labels = {c.name: f"amplifier {name_of(c.name)}" for c in network.channels}
        nodes = dict.fromkeys(n for c in network.channels for n in (c.plus, c.minus) if n != GROUND)
        wide = max(width_pt(label, LETTERS[Role.CHANNEL]) for label in self._labels.values())
        first = max(SOCKET_X + 32.0, SOCKET_X - 10.0 + wide + 4.0)
        first += -first % 4.0
        self.bus_x = {node: first + BUSES_APART * i for i, node in enumerate(nodes)}
        self.rail_left = max(self.bus_x.values(), default=first) + 16.0
        self.right = self.rail_left + 8.0
        self.sockets: list[Socket] = []
        self._rows: dict[str, list[float]] = {}

    def feeds(self, node: str, y: float) -> None:
        """A row of one of its nodes lies at `y`."""
        self._rows.setdefault(node, []).append(y)

    def connect(self, ink: Ink, hangs: list[Point]) -> float:
        """Draw sockets and buses once all rows are known; gives the depth down to which they reach."""
        lowest = 0.0
        reach = {node: list(ys) for node, ys in self._rows.items()}
        for channel in sorted(self._channels, key=lambda c: min(self._rows.get(c.plus, [0.0]))):
            y = self._free(channel, max(min(self._rows.get(channel.plus, [0.0])), lowest))
            for sign, node, at in (("+", channel.plus, y), ("-", channel.minus, y + PAIR_APART)):
                self._socket(channel, sign, node, at, ink, hangs)
                if node != GROUND:
                    reach.setdefault(node, []).append(at)
            label = self._labels[channel.name]
            ink.texts.append(write(label, Point(SOCKET_X - 10.0, y - 8.0), Role.CHANNEL, channel.name))
            lowest = y + CHANNELS_APART
        for node, ys in reach.items():
            ink.wire(node, Point(self.bus_x[node], min(ys)), Point(self.bus_x[node], max(ys)))
        return lowest - CHANNELS_APART + PAIR_APART + 20.0

    def _free(self, channel: Channel, y: float) -> float:
        """The first depth at which no row of another node meets the wires of this channel's sockets."""
        others = [
            (node, row + shift)
            for shift, mine in ((0.0, channel.plus), (-PAIR_APART, channel.minus))
            for node, rows in self._rows.items()
            for row in rows
            if node != mine
        ]
        while any(abs(y - row) < ROWS_APART for _, row in others):
            y += ROWS_APART
        return y

    def _socket(self, channel: Channel, sign: str, node: str, y: float, ink: Ink, hangs: list[Point]) -> None:
        at = Point(SOCKET_X + RADIUS, y)
        box = Box(SOCKET_X - RADIUS, y - RADIUS, SOCKET_X + RADIUS, y + RADIUS)
        self.sockets.append(Socket(channel.name, sign, at, node, box))
        ink.texts.append(write(_SHOWN[sign], Point(SOCKET_X - 10.0, y + 3.2), Role.SIGN, channel.name, "middle"))
        end = Point(SOCKET_X + 16.0 if node == GROUND else self.bus_x[node], y)
        ink.wire(node, at, end)
        if node == GROUND:
            hangs.append(end)
