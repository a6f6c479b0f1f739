"""Marks for coupled coils: a dot at the beginning of each winding, a bracket along windings that stand on one line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from xover.drawing.schematic.geometry import Box, CouplingMark, Point, Symbol, Text, Wire
from xover.network.parts import Coupling

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
