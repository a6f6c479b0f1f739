"""Whole wires from pieces, a dot wherever three ways meet, and the crossings that join nothing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeAlias

from xover.drawing.schematic.geometry import Dot, Point, Wire

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
