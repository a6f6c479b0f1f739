"""Legs of parts drawn as one, the rows that their nodes stand on, and which rows lie above which.

A node that only joins two groups of parts (the middle of a Zobel, of a trap) needs no place of its own in the
drawing: it vanishes inside a leg. What is left are the nodes that a reader follows.

A row is a chain of nodes with the parts between them lying on it; what joins one row to another stands upright. Rows
grow from the amplifier towards the drivers, so that a ladder becomes one row above its ground.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeAlias

import numpy as np

from xover.network.network import GROUND, Network
from xover.network.parts import Coupling, DriverCard, Inductor, Part

Element: TypeAlias = Part | DriverCard


@dataclass(frozen=True)
class Single:
    """One part or driver."""

    element: Element


@dataclass(frozen=True)
class Series:
    """Blocks one after the other, with the nodes between them."""

    blocks: tuple[Block, ...]
    joints: tuple[str, ...]


@dataclass(frozen=True)
class Parallel:
    """Blocks side by side, between the same two nodes."""

    blocks: tuple[Block, ...]


Block: TypeAlias = Single | Series | Parallel


@dataclass(frozen=True)
class Leg:
    """A block between two nodes, `a` at its beginning."""

    block: Block
    a: str
    b: str

    @property
    def ends(self) -> frozenset[str]:
        """Both nodes."""
        return frozenset((self.a, self.b))

    @property
    def has_driver(self) -> bool:
        """Whether a driver stands in it."""
        return any(isinstance(e, DriverCard) for e in elements_of(self.block))

    def other(self, node: str) -> str:
        """The end that is not `node`."""
        return self.b if node == self.a else self.a

    def from_(self, node: str) -> Block:
        """The block, read from that end."""
        return self.block if node == self.a else turned(self.block)


def elements_of(block: Block) -> Iterator[Element]:
    """All parts and drivers of a block, in order."""
    if isinstance(block, Single):
        yield block.element
    else:
        for inner in block.blocks:
            yield from elements_of(inner)


def turned(block: Block) -> Block:
    """The block read from its other end."""
    if isinstance(block, Single):
        return block
    if isinstance(block, Series):
        return Series(tuple(turned(b) for b in reversed(block.blocks)), block.joints[::-1])
    return Parallel(tuple(turned(b) for b in block.blocks))


def node_levels(network: Network) -> dict[str, float]:
    """How near each node is to an amplifier's plus (1) and to ground (0).

    The voltages that the nodes would have if every part and driver were the same resistance. It orders the drawing
    from top to bottom and tells which end of a driver is on the amplifier's side; it is no property of the network.
    """
    fixed = {c.minus: 0.0 for c in network.channels} | {c.plus: 1.0 for c in network.channels} | {GROUND: 0.0}
    elements = [e for e in (*network.parts, *network.drivers) if e.a != e.b]
    free = list(dict.fromkeys(n for e in elements for n in (e.a, e.b) if n not in fixed))
    place = {node: row for row, node in enumerate(free)}
    matrix = np.zeros((len(free), len(free)))
    right = np.zeros(len(free))
    for element in elements:
        for here, there in ((element.a, element.b), (element.b, element.a)):
            if here in place:
                matrix[place[here], place[here]] += 1.0
                if there in place:
                    matrix[place[here], place[there]] -= 1.0
                else:
                    right[place[here]] += fixed[there]
    solved = np.linalg.lstsq(matrix, right, rcond=None)[0] if free else right
    # Rounded, so that nodes on one level stay level on every machine.
    return fixed | {node: round(float(solved[row]), 9) for node, row in place.items()}


def find_legs(
    elements: Sequence[Element], keep: Collection[str], bottom: Collection[str], levels: Mapping[str, float]
) -> list[Leg]:
    """Merge parts into legs until every node left has a reason to be drawn.

    Parameters
    ----------
    elements : of one section.
    keep : nodes that must stay: those of the amplifier, ground, ends of windings.
    bottom : ground and the amplifier's minus nodes; what stands between a driver and these is drawn below it.
    levels : from `node_levels`.
    """
    legs = [Leg(Single(e), e.a, e.b) for e in elements]
    waiting = list(dict.fromkeys(n for leg in legs for n in (leg.a, leg.b) if n not in keep))
    found: list[Leg] | None = legs
    while found is not None:
        legs, found = found, None
        for node in list(waiting):
            merged = _without(found or legs, node, bottom, levels)
            if merged is not None:
                found = merged
                waiting.remove(node)
    return legs


def _without(legs: list[Leg], node: str, bottom: Collection[str], levels: Mapping[str, float]) -> list[Leg] | None:
    """The legs with a node gone, or None if it must stay."""
    at = [leg for leg in legs if node in (leg.a, leg.b)]
    around = sorted({leg.other(node) for leg in at}, key=lambda n: (-levels[n], n))
    if len(around) != 2 or node in around:
        return None
    upper, lower = ([leg for leg in at if leg.other(node) == n] for n in around)
    fed = len(at) == 2 and upper[0].has_driver
    if any(leg.has_driver for leg in at) and not (fed and around[1] in bottom):
        return None
    whole = Leg(_chain(_beside(upper, around[0]), node, _beside(lower, node)), around[0], around[1])
    # Where the first of its parts stood: the order of the cards is the order of the drawing.
    first, gone = at[0], {id(leg) for leg in at[1:]}
    return [whole if leg is first else leg for leg in legs if id(leg) not in gone]


def _beside(legs: Sequence[Leg], start: str) -> Block:
    blocks = tuple(leg.from_(start) for leg in legs)
    return blocks[0] if len(blocks) == 1 else Parallel(blocks)


def _chain(first: Block, joint: str, second: Block) -> Series:
    head = first if isinstance(first, Series) else Series((first,), ())
    tail = second if isinstance(second, Series) else Series((second,), ())
    return Series((*head.blocks, *tail.blocks), (*head.joints, joint, *tail.joints))


TIGHT_COUPLING = 0.5
"""Coils coupled more tightly than this are one winding with a tap, and are drawn upright."""
MOST_STEPS = 3000
"""Steps that the search for the longest row may take; after that the longest one found so far serves."""

MOST_ON_A_ROW = 200
"""Nodes of one row: the search for a row calls itself once a node."""


@dataclass
class Row:
    """One row.

    Attributes
    ----------
    nodes : from left to right.
    rank : rows with a higher rank lie above; equal ranks in the order of making.
    taps : how many of the nodes at its ends are drawn on another row too: 0, 1 (the first) or 2 (first and last).
    """

    nodes: list[str]
    rank: float
    taps: int = 0
    between: list[list[Leg]] = field(default_factory=list)


@dataclass(frozen=True)
class Section:
    """What the rows are made of.

    Attributes
    ----------
    hot : amplifier's plus nodes that it touches; cold : the amplifier's minus nodes that it touches, without ground.
    upright : legs that never lie on a row.
    """

    legs: tuple[Leg, ...]
    hot: tuple[str, ...]
    cold: tuple[str, ...]
    upright: frozenset[int]
    levels: Mapping[str, float]

    @property
    def fixed(self) -> frozenset[str]:
        """All nodes of the amplifier, ground too."""
        return frozenset((*self.hot, *self.cold, GROUND))

    @property
    def nodes(self) -> list[str]:
        """Nodes above ground, in the order of the cards."""
        return list(dict.fromkeys(n for leg in self.legs for n in (leg.a, leg.b) if n != GROUND))

    @cached_property
    def lying(self) -> dict[str, dict[str, list[Leg]]]:
        """For each node and each of its neighbours the legs between them that may lie on a row."""
        found: dict[str, dict[str, list[Leg]]] = {}
        for i, leg in enumerate(self.legs):
            if i not in self.upright:
                for node in (leg.a, leg.b):
                    found.setdefault(node, {}).setdefault(leg.other(node), []).append(leg)
        return found

    @cached_property
    def across_driver(self) -> dict[str, set[str]]:
        """For each node those at the other ends of its drivers: such two are never on one row."""
        found: dict[str, set[str]] = {}
        for leg in self.legs:
            if leg.has_driver:
                found.setdefault(leg.a, set()).add(leg.b)
                found.setdefault(leg.b, set()).add(leg.a)
        return found


def winding_ends(elements: Sequence[Element], couplings: Sequence[Coupling]) -> frozenset[str]:
    """Nodes where a winding of a core meets something else: a reader looks for them, so they keep their place."""
    windings = {n.lower() for c in couplings if abs(c.k) >= TIGHT_COUPLING for n in (c.first, c.second)}
    inside = {n for e in elements if e.name.lower() in windings for n in (e.a, e.b)}
    return frozenset(inside & {n for e in elements if e.name.lower() not in windings for n in (e.a, e.b)})


def upright_legs(legs: Sequence[Leg], couplings: Sequence[Coupling]) -> frozenset[int]:
    """Drivers, and windings of one core that hang together."""
    at: dict[str, int] = {}
    for number, leg in enumerate(legs):
        at.update({e.name.lower(): number for e in elements_of(leg.block) if isinstance(e, Inductor)})
    found = {number for number, leg in enumerate(legs) if leg.has_driver or leg.a == leg.b}
    for coupling in couplings:
        pair = [at[name.lower()] for name in (coupling.first, coupling.second) if name.lower() in at]
        if len(pair) == 2 and abs(coupling.k) >= TIGHT_COUPLING and legs[pair[0]].ends & legs[pair[1]].ends:
            found.update(pair)
    return frozenset(found)


def find_rows(section: Section) -> list[Row]:
    """Rows that hold every node above ground once, ends that are tapped from another row not counted."""
    rows: list[Row] = []
    placed: dict[str, None] = dict.fromkeys((*section.hot, *section.cold))
    loose = {n: None for n in section.nodes if n not in placed}
    for goal in _goals(section):
        if goal in loose:
            path = _longest(section, placed, loose, goal)
            if path:
                _add(section, rows, path, placed, loose)
    while loose:
        path = _longest(section, placed, loose, None)
        if not path:
            first = max(loose, key=lambda n: section.levels[n])
            del loose[first]
            path = _longest(section, {first: None}, loose, None) or [first]
            rows.append(Row(path, _rank(section, path)))
            placed.update(dict.fromkeys(path))
            loose = {n: None for n in loose if n not in placed}
            continue
        _add(section, rows, path, placed, loose)
    started = {row.nodes[0] for row in rows}
    rows += [Row([n], section.levels[n]) for n in section.hot if n not in started]
    rows += [Row([n], -1.0) for n in section.cold if n not in started]
    if any(GROUND in leg.ends for leg in section.legs):
        rows.append(Row([GROUND], -2.0))
    return rows


def _goals(section: Section) -> Iterator[str]:
    """The drivers' ends on the amplifier's side, in the order of the cards."""
    for leg in section.legs:
        if leg.has_driver:
            yield max((leg.a, leg.b), key=lambda n: section.levels[n])


def _add(section: Section, rows: list[Row], path: list[str], placed: dict[str, None], loose: dict[str, None]) -> None:
    """Take a row into the drawing; it begins at a node that has its place already."""
    head = path[0]
    rank = _rank(section, path[1:])
    if head not in section.fixed:
        home = next(row for row in rows if head in row.nodes[row.taps > 0 :])
        rank = min(rank, home.rank - 1e-6)
    rows.append(Row(path, rank, 0 if head in section.fixed else 1))
    for node in path[1:]:
        placed[node] = None
        del loose[node]


def _rank(section: Section, nodes: Sequence[str]) -> float:
    return sum(section.levels[n] for n in nodes) / len(nodes)


def _longest(section: Section, starts: Mapping[str, None], free: Mapping[str, None], goal: str | None) -> list[str]:
    """The longest chain of lying legs from a placed node over free ones to the goal (or to anywhere); [] for none."""
    beside = {node: [n for n in section.lying.get(node, {}) if n in free] for node in (*starts, *free)}
    nobody: set[str] = set()
    best: list[str] = []
    steps = 0

    def grow(path: list[str], on_path: Set[str]) -> None:
        nonlocal best, steps
        steps += 1
        if len(path) > 1 and (goal is None or path[-1] == goal) and len(path) > len(best):
            best = list(path)
        if path[-1] == goal or (steps > MOST_STEPS and best):
            return
        for node in beside[path[-1]]:
            if node in on_path or section.across_driver.get(node, nobody) & on_path:
                continue
            if steps > 2 * MOST_STEPS or len(path) >= MOST_ON_A_ROW:
                return
            grow([*path, node], on_path | {node})

    for start in starts:
        grow([start], {start})
    return best
