"""From a network to the geometry of its schematic: sections below each other, the amplifier at the left."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import ClassVar, Final

from xover.drawing.schematic.geometry import Box, GroundSymbol, Layout, Point, Role, Socket, Text
from xover.drawing.schematic.ink import Ink, coupling_marks, find_dots, join_pieces, plain_crossings
from xover.drawing.schematic.order import Plan, plan_section
from xover.drawing.schematic.place import Placed, draw_section, place_section, push_drivers_right, spread_uprights
from xover.drawing.schematic.rows import Element, Section, find_legs, find_rows, node_levels, upright_legs, winding_ends
from xover.drawing.schematic.words import (
    LETTERS,
    MINUS,
    MOST_OF_A_NAME,
    Changes,
    Words,
    describe,
    driver_words,
    find_changes,
    height_pt,
    name_of,
    part_words,
    shown,
    width_pt,
    wrapped,
    write,
)
from xover.network.network import GROUND, Network, find_sections, fixed_nodes
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


MARGIN: Final = 10.0
GROUND_HALF: Final = 8.0
GROUND_DEEP: Final = 16.0
SECTIONS_APART: Final = 10.0
LEAST_WIDTH: Final = 330.0
MOST_TITLE: Final = 300
MOST_LINES: Final = 8


def lay_out(network: Network, other: Network | None = None, *, title: str = "") -> Layout:
    """Lay a network out as a schematic.

    Parameters
    ----------
    network : any network with one solution.
    other : the same network with other values; where one differs, old and new are both written.
    title : heading, "" for none.

    Returns the layout, the same for the same network on every machine: lengths in points.
    """
    changes, levels = find_changes(network, other), node_levels(network)
    # A driver whose ends lie level is neither way round.
    turned = frozenset(d.name for d in network.drivers if levels[d.plus] < levels[d.minus])
    numbers = {name: i for i, name in enumerate(network.driver_names)}
    ink = Ink(_words(network, changes, turned), turned, {d.name: numbers[d.driver] for d in network.drivers})
    plans = [_plan(network, elements, levels) for elements in _groups(network)]
    amplifier = Amplifier(network)
    placed = [place_section(plan, ink, amplifier.right) for plan in plans]
    push_drivers_right(placed)
    for section in placed:
        spread_uprights(section, amplifier.bus_x)
    width = max([LEAST_WIDTH, *(p.right for p in placed)]) + MARGIN
    y: float = MARGIN + _write_down(ink.texts, [shown(title, MOST_TITLE)] if title else [], Role.TITLE, MARGIN, width)
    hangs: list[Point] = []
    y = math.ceil(y)
    for section in placed:
        y += max(section.above[0], amplifier.LABEL_ROOM)
        _draw(section, ink, y, amplifier, hangs)
        y += section.row_y[-1] + GROUND_DEEP + SECTIONS_APART
    y = max(y, amplifier.connect(ink, hangs) + SECTIONS_APART)
    wires = join_pieces(ink.pieces)
    leads = [(t.at, t.node) for s in ink.symbols for t in s.terminals]
    leads += [(p, GROUND) for p in hangs] + [(s.at, s.node) for s in amplifier.sockets]
    marks = coupling_marks(network.couplings, {s.name.lower(): s for s in ink.symbols}, wires, ink.texts)
    notes = (*changes.notes, *(["A dot beside a coil marks its first node."] if marks else []))
    y += _write_down(ink.texts, notes, Role.NOTE, y, width)
    return Layout(
        width_pt=width,
        height_pt=y + MARGIN,
        title=title or network.title,
        description=describe(network, turned, notes),
        symbols=tuple(ink.symbols),
        texts=tuple(ink.texts),
        wires=wires,
        dots=find_dots(wires, leads),
        grounds=tuple(GroundSymbol(p, ground_box(p)) for p in hangs),
        sockets=tuple(amplifier.sockets),
        couplings=marks,
        warnings=_warnings(network, plans, len(plain_crossings(wires))),
    )


def _words(network: Network, changes: Changes, turned: frozenset[str]) -> dict[str, Words]:
    old, added = changes.before, changes.added
    words = {p.name: part_words(p, old.get(p.name.lower()), p.name.lower() in added, network) for p in network.parts}
    return words | {d.name: driver_words(d, d.name in turned) for d in network.drivers}


def _groups(network: Network) -> list[list[Element]]:
    """Parts that are drawn together: a section each, and what feeds no driver side by side.

    Coils coupled from afar do not pull two sections into one drawing.
    """
    elements: dict[str, Element] = {e.name: e for e in (*network.parts, *network.drivers)}
    fixed = fixed_nodes(network)
    order: dict[str, int] = {}
    for number, c in enumerate(network.channels):
        order |= {n: number for n in (c.plus, c.minus) if n != GROUND and n not in order}
    groups: dict[object, list[Element]] = {}
    for number, section in enumerate(find_sections(replace(network, couplings=()))):
        own = [elements[name] for name in section.elements]
        ends = frozenset(n for e in own for n in (e.a, e.b) if n in fixed)
        groups.setdefault(number if section.drivers else ends, []).extend(own)

    def channel(group: list[Element]) -> int:
        return min((order[n] for e in group for n in (e.a, e.b) if n in order), default=len(order))

    return sorted(groups.values(), key=channel)


def _plan(network: Network, elements: Sequence[Element], levels: Mapping[str, float]) -> Plan:
    pluses, minuses = ([c.plus for c in network.channels], [c.minus for c in network.channels])
    fixed = fixed_nodes(network)
    keep = fixed | winding_ends(elements, network.couplings)
    legs = tuple(find_legs(elements, keep, {GROUND, *minuses}, levels))
    touched = {n for leg in legs for n in (leg.a, leg.b)} - {GROUND}
    hot = tuple(n for n in pluses if n in touched)
    cold = tuple(n for n in dict.fromkeys(minuses) if n in touched and n not in hot)
    section = Section(legs, hot, cold, upright_legs(legs, network.couplings), levels)
    return plan_section(section, find_rows(section))


def _draw(section: Placed, ink: Ink, y: float, amplifier: Amplifier, hangs: list[Point]) -> None:
    draw_section(section, ink, y, amplifier.bus_x, amplifier.rail_left)
    for row, depth in zip(section.plan.rows, section.row_y, strict=True):
        if row.nodes[0] in amplifier.bus_x:
            amplifier.feeds(row.nodes[0], y + depth)
        elif row.nodes == [GROUND] and not row.taps:
            hangs.append(Point(amplifier.rail_left, y + depth))


def ground_box(at: Point) -> Box:
    """What a ground symbol covers that hangs at a point."""
    return Box(at.x - GROUND_HALF, at.y, at.x + GROUND_HALF, at.y + GROUND_DEEP)


def _write_down(texts: list[Text], paragraphs: Sequence[str], role: Role, top: float, width: float) -> float:
    """Write paragraphs below each other from `top` down; gives the height that they take."""
    y = top
    for paragraph in paragraphs:
        for line in wrapped(paragraph, role, width - 2 * MARGIN, MOST_LINES):
            y += height_pt(role)
            texts.append(write(line, Point(MARGIN, y - 0.24 * height_pt(role)), role, ""))
        y += 2.0
    return y - top


def _warnings(network: Network, plans: Sequence[Plan], crossings: int) -> tuple[str, ...]:
    said = []
    if any(plan.broken for plan in plans):
        said.append("the network is no ladder: some series parts are drawn upright")
    if crossings:
        times = "two wires cross once" if crossings == 1 else f"wires cross {crossings} times"
        said.append(f"{times} without being joined: only a dot joins")
    elements = (*network.parts, *network.drivers)
    names = {n for e in elements for n in (e.name, e.a, e.b)} | {d.key for d in network.drivers}
    long = sum(len(name) > MOST_OF_A_NAME for name in names)
    if long:
        said.append(f"{long} long name{'s are' if long > 1 else ' is'} shortened in the drawing")
    return tuple(said)
