"""Whole wires from pieces, a dot wherever three ways meet, crossings that join nothing, and marks of coupled coils."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final, TypeAlias

from xover.drawing.schematic.geometry import Box, CouplingMark, Dot, Point, Symbol, Text, Wire
from xover.network.parts import Coupling

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
