"""One circuit drawn twice: the parts of the one under the names and nodes that they have in the other."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from xover.network.network import GROUND, Network
from xover.network.parts import DriverCard, Part, value_of

_MOST_TRIED: Final = 20_000
"""Steps of the search; a network of thirty parts takes a few hundred."""

Element = Part | DriverCard


def named_like(design: Network, today: Network) -> Network:
    """The design under today's names and nodes, where it is the same circuit drawn anew; else the design as it is.

    The same circuit has as many parts of each kind, joined alike, between the same channels and drivers. Names count
    where each part's is in both. Where parts could change places, those nearest in value belong together. A driver may
    be turned round, and stays as the design has it.
    """
    known = {(type(p), p.name.lower()) for p in today.parts}
    if all((type(p), p.name.lower()) in known for p in design.parts) or design.channels != today.channels:
        return design
    if sorted(map(_kind, _elements(design))) != sorted(map(_kind, _elements(today))):
        return design
    nodes = {n: n for n in (GROUND, *(e for c in design.channels for e in (c.plus, c.minus)))}
    search = _Search(list(_elements(today)))
    search.go(list(_elements(design)), nodes, [], 0.0)
    return design if search.best is None else _renamed(design, *search.best)


@dataclass
class _Search:
    """A search in depth for the nearest way to lay one circuit over another."""

    today: list[Element]
    best: tuple[dict[str, str], list[tuple[Element, Element]]] | None = None
    best_far: float = math.inf
    tried: int = 0

    def go(self, left: list[Element], nodes: dict[str, str], pairs: list[tuple[Element, Element]], far: float) -> None:
        """Place what is left; `far` is how far the values of what is placed lie apart."""
        self.tried += 1
        if far >= self.best_far or self.tried > _MOST_TRIED:
            return
        if not left:
            self.best, self.best_far = (nodes, pairs), far
            return
        # What hangs on most nodes that are known leaves least to guess.
        mine = max(left, key=lambda e: (e.a in nodes) + (e.b in nodes))
        rest = [e for e in left if e is not mine]
        used = {id(other) for _, other in pairs}
        fits = [(_far(mine, o), o) for o in self.today if id(o) not in used and _kind(o) == _kind(mine)]
        for apart, other in sorted(fits, key=lambda fit: fit[0]):
            for joined in _joined(mine, other, nodes):
                self.go(rest, joined, [*pairs, (mine, other)], far + apart)


def _elements(network: Network) -> Iterator[Element]:
    yield from network.drivers
    yield from network.parts


def _kind(element: Element) -> str:
    return f"X {element.driver}" if isinstance(element, DriverCard) else type(element).__name__


def _far(one: Element, other: Element) -> float:
    if isinstance(one, DriverCard) or isinstance(other, DriverCard):
        return 0.0
    values = value_of(one), value_of(other)
    return abs(math.log(values[0] / values[1])) if min(values) > 0.0 else 0.0


def _joined(mine: Element, other: Element, nodes: dict[str, str]) -> Iterator[dict[str, str]]:
    """The nodes once one element lies on another, either way round; each node on one node."""
    for a, b in ((other.a, other.b), (other.b, other.a)):
        new = dict(nodes)
        new.setdefault(mine.a, a)
        new.setdefault(mine.b, b)
        if new[mine.a] == a and new[mine.b] == b and len(set(new.values())) == len(new):
            yield new


def _renamed(design: Network, nodes: dict[str, str], pairs: list[tuple[Element, Element]]) -> Network:
    names = {mine.name: other.name for mine, other in pairs}
    return replace(
        design,
        parts=tuple(replace(p, name=names[p.name], a=nodes[p.a], b=nodes[p.b]) for p in design.parts),
        drivers=tuple(replace(d, name=names[d.name], plus=nodes[d.plus], minus=nodes[d.minus]) for d in design.drivers),
        couplings=tuple(replace(c, first=names[c.first], second=names[c.second]) for c in design.couplings),
    )
