"""Legs: parts in series and beside each other, drawn as one from node to node.

A node that only joins two groups of parts (the middle of a Zobel, of a trap) needs no place of its own in the
drawing: it vanishes inside a leg. What is left are the nodes that a reader follows.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from xover.network.network import GROUND, Network
from xover.network.parts import DriverCard, Part

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
