"""Blocks of parts put on the drawing, the wires between them, dots where three ways meet, marks of coupled coils."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeAlias

from xover.drawing.schematic.geometry import (
    Box,
    CouplingMark,
    Dot,
    DrawnKind,
    Point,
    Role,
    Symbol,
    Terminal,
    Text,
    Wire,
)
from xover.drawing.schematic.rows import Block, Element, Parallel, Series, Single
from xover.drawing.schematic.words import LETTERS, Words, height_pt, kind_of, width_pt, write
from xover.drawing.schematic.words import Line as _Line
from xover.network.parts import Coupling, DriverCard

Piece: TypeAlias = tuple[str, Point, Point]


def join_pieces(pieces: Iterable[Piece]) -> tuple[Wire, ...]:
    """Straight wires, as long as they can be, in a fixed order."""
    level: dict[tuple[str, float], list[tuple[float, float]]] = {}
    upright: dict[tuple[str, float], list[tuple[float, float]]] = {}
    for node, a, b in pieces:
        if a.y == b.y and a.x != b.x:
            level.setdefault((node, a.y), []).append((min(a.x, b.x), max(a.x, b.x)))
        elif a.x == b.x and a.y != b.y:
            upright.setdefault((node, a.x), []).append((min(a.y, b.y), max(a.y, b.y)))
    wires = [Wire(Point(a, y), Point(b, y), n) for (n, y), spans in level.items() for a, b in _union(spans)]
    wires += [Wire(Point(x, a), Point(x, b), n) for (n, x), spans in upright.items() for a, b in _union(spans)]
    return tuple(sorted(wires, key=lambda w: (w.start.y, w.start.x, w.end.y, w.end.x, w.node)))


def _union(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    merged: list[tuple[float, float]] = []
    for low, high in sorted(spans):
        if merged and low <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(high, merged[-1][1]))
        else:
            merged.append((low, high))
    return merged


def find_dots(wires: Iterable[Wire], leads: Iterable[tuple[Point, str]]) -> tuple[Dot, ...]:
    """A dot at each point where three or more ways of one node meet.

    Parameters
    ----------
    leads : points where something other than a wire touches its node: terminals, sockets, ground symbols.
    """
    ways: dict[tuple[str, Point], int] = {}
    by_node: dict[str, list[Wire]] = {}
    for wire in wires:
        by_node.setdefault(wire.node, []).append(wire)
    ends: dict[str, list[Point]] = {}
    for point, node in leads:
        ends.setdefault(node, []).append(point)
    for node, own in by_node.items():
        points = dict.fromkeys([p for w in own for p in (w.start, w.end)] + ends.get(node, []))
        for a in own:
            points.update({p: None for b in own if (p := crossing(a, b)) is not None})
        for point in points:
            ways[node, point] = sum(_ways(w, point) for w in own) + ends.get(node, []).count(point)
    found = [Dot(point, node) for (node, point), count in ways.items() if count >= 3]
    return tuple(sorted(found, key=lambda d: (d.at.y, d.at.x, d.node)))


def crossing(a: Wire, b: Wire) -> Point | None:
    """Where a level wire meets an upright one, ends included."""
    if not a.is_level or b.is_level:
        return None
    meets = a.start.x <= b.start.x <= a.end.x and b.start.y <= a.start.y <= b.end.y
    return Point(b.start.x, a.start.y) if meets else None


def _ways(wire: Wire, point: Point) -> int:
    """0 where a wire does not pass, 1 at its end, 2 along it."""
    if wire.is_level:
        if point.y != wire.start.y or not wire.start.x <= point.x <= wire.end.x:
            return 0
        return 1 if point.x in (wire.start.x, wire.end.x) else 2
    if point.x != wire.start.x or not wire.start.y <= point.y <= wire.end.y:
        return 0
    return 1 if point.y in (wire.start.y, wire.end.y) else 2


def plain_crossings(wires: Iterable[Wire]) -> list[Point]:
    """Points where wires of different nodes cross."""
    wires = tuple(wires)
    level = [w for w in wires if w.is_level]
    upright = [w for w in wires if not w.is_level]
    return [p for a in level for b in upright if a.node != b.node and (p := crossing(a, b)) is not None]


DOT_RADIUS: Final = 1.7
BRACKET_AT: Final = 10.0
TICK: Final = 3.0

_DOT_BESIDE: Final = 6.0
_DOT_INSIDE: Final = 7.0


def coupling_marks(
    couplings: Iterable[Coupling], symbols: Mapping[str, Symbol], wires: Sequence[Wire], texts: Sequence[Text]
) -> tuple[CouplingMark, ...]:
    """One mark a coupling.

    Parameters
    ----------
    symbols : by name in small letters.
    wires, texts : what a bracket must not touch.
    """
    marks = []
    for c in couplings:
        one, two = symbols.get(c.first.lower()), symbols.get(c.second.lower())
        if one is None or two is None:
            continue
        dots = (_winding_dot(one), _winding_dot(two))
        bracket = _bracket(one, two)
        if bracket and _is_crossed(bracket, wires, texts, symbols.values()):
            bracket = ()
        marks.append(CouplingMark(c.name, (one.name, two.name), c.k, dots, bracket))
    return tuple(marks)


def _winding_dot(coil: Symbol) -> Point:
    """Beside the coil's first node, on the side away from its humps."""
    first, last = (t.at for t in coil.terminals)
    if coil.vertical:
        inward = _DOT_INSIDE if first.y < last.y else -_DOT_INSIDE
        return Point(first.x - _DOT_BESIDE, first.y + inward)
    inward = _DOT_INSIDE if first.x < last.x else -_DOT_INSIDE
    return Point(first.x + inward, first.y + _DOT_BESIDE)


def _bracket(one: Symbol, two: Symbol) -> tuple[Point, ...]:
    ends = [t.at for s in (one, two) for t in s.terminals]
    if not (one.vertical and two.vertical) or len({p.x for p in ends}) > 1:
        return ()
    top, bottom, x = min(p.y for p in ends) + 4.0, max(p.y for p in ends) - 4.0, ends[0].x - BRACKET_AT
    return (Point(x + TICK, top), Point(x, top), Point(x, bottom), Point(x + TICK, bottom))


def _is_crossed(
    bracket: tuple[Point, ...], wires: Sequence[Wire], texts: Sequence[Text], symbols: Iterable[Symbol]
) -> bool:
    box = Box(bracket[1].x - 1.0, bracket[1].y, bracket[0].x, bracket[2].y)
    boxes = [Box(w.start.x - 0.5, w.start.y - 0.5, w.end.x + 0.5, w.end.y + 0.5) for w in wires]
    return any(box.covers(b) for b in (*boxes, *(t.box for t in texts), *(s.box for s in symbols)))


LENGTH: Final = 40.0
"""From terminal to terminal of a two-terminal part."""
DRIVER_LENGTH: Final = 14.0
"""From terminal to terminal of a driver."""
DRIVER_BODY: Final = 25.0
"""How far a driver reaches to the right of its terminals, and above and below its middle."""
CLEAR: Final = 5.0
"""Between a symbol and its words."""
APART: Final = 8.0
"""Between what stands side by side."""
RUNG: Final = 8.0
"""Height of the wire that joins parts side by side."""
SIGN_ROOM: Final = 9.0
_SNAP: Final = 16

# How far a symbol reaches to the two sides of its axis: left or below, and right or above.
_SIDES: Final = {
    DrawnKind.RESISTOR: (8.0, 8.0),
    DrawnKind.CAPACITOR: (8.0, 8.0),
    DrawnKind.COIL: (2.0, 6.0),
    DrawnKind.CORED_COIL: (2.0, 13.0),
    DrawnKind.LAMP: (10.5, 10.5),
}


@dataclass(frozen=True)
class Room:
    """What a block takes: to both sides of its axis, and along it."""

    before: float
    behind: float
    length: float


def _snapped(x: float, y: float) -> Point:
    """A point that is the same whichever way it was worked out."""
    return Point(round(x * _SNAP) / _SNAP, round(y * _SNAP) / _SNAP)


@dataclass
class Ink:
    """What has been drawn so far.

    Attributes
    ----------
    words : what stands beside each part or driver, by name.
    reversed_ : names of the reversed drivers; driver_index : each driver card's number.
    pieces : wires as (node, start, end), still in pieces.
    """

    words: Mapping[str, Words]
    reversed_: frozenset[str]
    driver_index: Mapping[str, int]
    symbols: list[Symbol] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    pieces: list[tuple[str, Point, Point]] = field(default_factory=list)

    def wire(self, node: str, start: Point, end: Point) -> None:
        """A piece of wire."""
        self.pieces.append((node, _snapped(*start), _snapped(*end)))

    # -- upright -----------------------------------------------------------------------------------------------

    def upright_room(self, block: Block) -> Room:
        """Room of a standing block: left of its axis, right of it, and its height."""
        if isinstance(block, Single):
            return self._upright_single(block.element)
        return _together(block, [self.upright_room(b) for b in block.blocks], APART)

    def upright(self, block: Block, axis: float, top: float, bottom: float, upper: str, lower: str) -> None:
        """Draw a block between two nodes, one above the other."""
        if isinstance(block, Single):
            self._stand(block.element, axis, top, bottom, upper, lower)
        elif isinstance(block, Series):
            rooms = [self.upright_room(b).length for b in block.blocks]
            slack = (bottom - top - sum(rooms)) / len(rooms)
            nodes = (upper, *block.joints, lower)
            y = top
            for i, (inner, room) in enumerate(zip(block.blocks, rooms, strict=True)):
                self.upright(inner, axis, y, y + room + slack, nodes[i], nodes[i + 1])
                y += room + slack
        else:
            self._stand_beside(block, axis, top, bottom, upper, lower)

    def _stand_beside(self, block: Parallel, axis: float, top: float, bottom: float, upper: str, lower: str) -> None:
        self.wire(upper, Point(axis, top), Point(axis, top + RUNG))
        self.wire(lower, Point(axis, bottom - RUNG), Point(axis, bottom))
        x, behind = axis, 0.0
        for i, inner in enumerate(block.blocks):
            room = self.upright_room(inner)
            if i:
                step = behind + APART + room.before
                self.wire(upper, Point(x, top + RUNG), Point(x + step, top + RUNG))
                self.wire(lower, Point(x, bottom - RUNG), Point(x + step, bottom - RUNG))
                x += step
            self.upright(inner, x, top + RUNG, bottom - RUNG, upper, lower)
            behind = room.behind

    def _upright_single(self, element: Element) -> Room:
        kind, words = kind_of(element), self.words[element.name]
        wide = max(width_pt(line.content, LETTERS[line.role]) for line in words.lines)
        tall = sum(height_pt(line.role) for line in words.lines)
        if kind is DrawnKind.DRIVER:
            return Room(SIGN_ROOM + 4.0, DRIVER_BODY + CLEAR + wide, max(2 * DRIVER_BODY, tall) + APART)
        left, right = _SIDES[kind]
        return Room(max(left, SIGN_ROOM), right + CLEAR + wide, max(LENGTH, tall) + APART)

    def _stand(self, element: Element, axis: float, top: float, bottom: float, upper: str, lower: str) -> None:
        kind, middle = kind_of(element), (top + bottom) / 2
        half = (DRIVER_LENGTH if kind is DrawnKind.DRIVER else LENGTH) / 2
        first, last = _snapped(axis, middle - half), _snapped(axis, middle + half)
        axis, middle = first.x, (first.y + last.y) / 2
        self.wire(upper, Point(axis, top), first)
        self.wire(lower, last, Point(axis, bottom))
        if kind is DrawnKind.DRIVER:
            right = DRIVER_BODY
            box = Box(axis, middle - DRIVER_BODY, axis + DRIVER_BODY, middle + DRIVER_BODY)
        else:
            left, right = _SIDES[kind]
            box = Box(axis - left, first.y, axis + right, last.y)
        falls = element.a == upper
        ends = (Terminal(first, upper), Terminal(last, lower))
        self._symbol(element, kind, ends if falls else ends[::-1], box, True)
        if isinstance(element, DriverCard):
            plus = first if falls else last
            self.texts.append(
                write("+", Point(axis - SIGN_ROOM / 2 - 2, plus.y + 3.0), Role.SIGN, element.name, "middle")
            )
        lines = self.words[element.name].lines
        y = middle - sum(height_pt(line.role) for line in lines) / 2
        for line in lines:
            y += height_pt(line.role)
            at = Point(axis + right + CLEAR, y - 0.24 * height_pt(line.role))
            self.texts.append(write(line.content, at, line.role, element.name))

    # -- lying -------------------------------------------------------------------------------------------------

    def lying_room(self, block: Block) -> Room:
        """Room of a lying block: below its axis, above it, and its width."""
        if isinstance(block, Single):
            return self._lying_single(block.element)
        return _together(block, [self.lying_room(b) for b in block.blocks], CLEAR)

    def lying(self, block: Block, left: float, right: float, y: float, first: str, last: str) -> None:
        """Draw a block between two nodes, side by side."""
        if isinstance(block, Single):
            self._lie(block.element, left, right, y, first, last)
        elif isinstance(block, Series):
            rooms = [self.lying_room(b).length for b in block.blocks]
            slack = (right - left - sum(rooms)) / len(rooms)
            nodes = (first, *block.joints, last)
            x = left
            for i, (inner, room) in enumerate(zip(block.blocks, rooms, strict=True)):
                self.lying(inner, x, x + room + slack, y, nodes[i], nodes[i + 1])
                x += room + slack
        else:
            self._lie_beside(block, left, right, y, first, last)

    def _lie_beside(self, block: Parallel, left: float, right: float, y: float, first: str, last: str) -> None:
        self.wire(first, Point(left, y), Point(left + RUNG, y))
        self.wire(last, Point(right - RUNG, y), Point(right, y))
        level, above = y, 0.0
        for i, inner in enumerate(block.blocks):
            room = self.lying_room(inner)
            if i:
                step = above + CLEAR + room.before
                self.wire(first, Point(left + RUNG, level), Point(left + RUNG, level - step))
                self.wire(last, Point(right - RUNG, level), Point(right - RUNG, level - step))
                level -= step
            self.lying(inner, left + RUNG, right - RUNG, level, first, last)
            above = room.behind

    def _lying_single(self, element: Element) -> Room:
        below, above = _SIDES[kind_of(element)]
        rows = self._rows_above(element)
        wide = max(sum(width for _, width in row) for row in rows)
        tall = sum(max(height_pt(line.role) for line, _ in row) for row in rows)
        return Room(max(below, SIGN_ROOM), above + CLEAR + tall, max(LENGTH, wide) + 2 * APART)

    def _rows_above(self, element: Element) -> list[list[tuple[_Line, float]]]:
        """Name and value side by side, the rest below, each with its width."""
        words = self.words[element.name]
        head = [words.name] if words.value is None else [words.name, words.value]
        gap = 0.45 * LETTERS[Role.NAME].points
        measured: Callable[[_Line], float] = lambda line: width_pt(line.content, LETTERS[line.role])  # noqa: E731
        first = [(line, measured(line) + (gap if line is not head[-1] else 0.0)) for line in head]
        return [first, *([(line, measured(line))] for line in words.rest)]

    def _lie(self, element: Element, left: float, right: float, y: float, first: str, last: str) -> None:
        kind, middle = kind_of(element), (left + right) / 2
        start, end = _snapped(middle - LENGTH / 2, y), _snapped(middle + LENGTH / 2, y)
        middle, y = (start.x + end.x) / 2, start.y
        self.wire(first, Point(left, y), start)
        self.wire(last, end, Point(right, y))
        below, above = _SIDES[kind]
        ends = (Terminal(start, first), Terminal(end, last))
        runs = element.a == first
        self._symbol(element, kind, ends if runs else ends[::-1], Box(start.x, y - above, end.x, y + below), False)
        base = y - above - CLEAR
        for row in reversed(self._rows_above(element)):
            x = middle - sum(width for _, width in row) / 2
            tall = max(height_pt(line.role) for line, _ in row)
            for line, width in row:
                self.texts.append(write(line.content, Point(x, base - 0.24 * tall + 2.0), line.role, element.name))
                x += width
            base -= tall

    def _symbol(self, element: Element, kind: DrawnKind, ends: tuple[Terminal, ...], box: Box, vertical: bool) -> None:
        name = element.name
        self.symbols.append(
            Symbol(
                name, kind, (ends[0], ends[1]), box, vertical, name in self.reversed_, self.driver_index.get(name, 0)
            )
        )


def _together(block: Series | Parallel, rooms: Sequence[Room], gap: float) -> Room:
    """Room of several blocks: behind one another on their axis, or beside one another with a gap."""
    if isinstance(block, Series):
        return Room(max(r.before for r in rooms), max(r.behind for r in rooms), sum(r.length for r in rooms))
    behind = sum(r.before + r.behind + gap for r in rooms[1:]) + rooms[0].behind
    return Room(rooms[0].before, behind, max(r.length for r in rooms) + 2 * RUNG)
