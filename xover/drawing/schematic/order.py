"""What stands left of what: every part, tap and label of a section in one order that suits all rows at once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum
from heapq import heapify, heappop, heappush

from xover.drawing.schematic.rows import Leg, Row, Section
from xover.network.network import GROUND


class What(IntEnum):
    """Kinds of item; of two that might stand here, the smaller comes first."""

    LABEL = 0
    UPRIGHT = 1
    TAP = 2
    LYING = 3
    DRIVER = 4


@dataclass(frozen=True)
class Item:
    """Something that takes room from left to right.

    Attributes
    ----------
    at : (row, place) of the nodes that it hangs on; the upper row first. A lying item lies behind its one place.
    legs : one for an upright item, one or more side by side for a lying one.
    node : of a label or a tap.
    """

    what: What
    at: tuple[tuple[int, int], ...]
    legs: tuple[Leg, ...] = ()
    node: str = ""

    @property
    def top(self) -> int:
        """Uppermost row that it touches."""
        return self.at[0][0]

    @property
    def bottom(self) -> int:
        """Lowest row that it touches."""
        return self.at[-1][0]


@dataclass(frozen=True)
class Plan:
    """A section, ready to be measured.

    Attributes
    ----------
    rows : from top to bottom.
    items : from left to right, so far as they stand on a row together.
    feeds : for rows that no amplifier feeds and that are tapped from none: the item from above where they begin.
    broken : how often a row had to be broken into two.
    """

    rows: tuple[Row, ...]
    items: tuple[Item, ...]
    feeds: dict[int, Item]
    broken: int


def plan_section(section: Section, rows: list[Row]) -> Plan:
    """Hang everything between the rows and put it in order; breaks rows as long as no order suits all of them."""
    broken = 0
    while True:
        rows = sorted(rows, key=lambda row: -row.rank)
        items = _hang(section, rows)
        if items is None:
            continue  # one more row was needed
        before = _needs(rows, items)
        feeds = _feeds(section, rows, items)
        order = _sort(items, _with_feeds(before, items, feeds))
        if len(order) < len(items):
            feeds = {}
            order = _sort(items, before)
        if len(order) == len(items):
            return Plan(tuple(rows), tuple(items[i] for i in order), feeds, broken)
        _break(section, rows, items, before, set(range(len(items))) - set(order))
        broken += 1


def _hang(section: Section, rows: list[Row]) -> list[Item] | None:
    """All items of a set of rows; None after a row was added that one of them needs."""
    items: list[Item] = []
    used: set[int] = set()
    numbers = {id(leg): i for i, leg in enumerate(section.legs)}
    for r, row in enumerate(rows):
        for k, (a, b) in enumerate(zip(row.nodes, row.nodes[1:], strict=False)):
            legs = row.between[k] if row.between else section.lying[a][b]
            used.update(numbers[id(leg)] for leg in legs)
            items.append(Item(What.LYING, ((r, k),), tuple(legs)))
        items += _labels(section, r, row)
        items += _taps(section, rows, r)
    for i, leg in enumerate(section.legs):
        if i in used:
            continue
        pairs = [(p, q) for p in _places(rows, leg.a) for q in _places(rows, leg.b) if p[0] != q[0]]
        if not pairs:
            _row_above(rows, leg, i in section.upright and leg.a != leg.b)
            return None
        # At a node's own place rather than where a row taps it; then as short as can be, and low.
        ends = min(
            pairs,
            key=lambda pair: (
                sum(_is_tap(rows[r], p) for r, p in pair),
                abs(pair[0][0] - pair[1][0]),
                -max(pair[0][0], pair[1][0]),
            ),
        )
        items.append(Item(What.DRIVER if leg.has_driver else What.UPRIGHT, tuple(sorted(ends)), (leg,)))
    return items


def _places(rows: list[Row], node: str) -> list[tuple[int, int]]:
    return [(r, p) for r, row in enumerate(rows) for p, n in enumerate(row.nodes) if n == node]


def _is_tap(row: Row, place: int) -> bool:
    return (place == 0 and row.taps > 0) or (row.taps == 2 and place == len(row.nodes) - 1)


def _labels(section: Section, r: int, row: Row) -> Iterator[Item]:
    for p, node in enumerate(row.nodes):
        if node not in section.fixed and not _is_tap(row, p):
            yield Item(What.LABEL, ((r, p),), node=node)


def _taps(section: Section, rows: list[Row], r: int) -> Iterator[Item]:
    """Wires that join a row's ends to the rows where these nodes have their place."""
    row = rows[r]
    for p, node in enumerate(row.nodes):
        if _is_tap(row, p) and (node not in section.fixed or node == GROUND):
            home = next(
                (s, q)
                for s, other in enumerate(rows)
                for q, n in enumerate(other.nodes)
                if s != r and n == node and not _is_tap(other, q)
            )
            yield Item(What.TAP, tuple(sorted(((r, p), home))), node=node)


def _row_above(rows: list[Row], leg: Leg, upright: bool) -> None:
    """One more row for a leg whose ends lie on one row only: a bridge over it."""
    base = next(row for row in rows if leg.a in row.nodes and leg.b in row.nodes)
    left, right = sorted((leg.a, leg.b), key=base.nodes.index)
    rank = base.rank + 1e-9 * (1 + len(rows))
    if upright:
        rows.append(Row([left], rank, 1))
    else:
        rows.append(Row([left, right], rank, 2, [[leg]]))


def _needs(rows: list[Row], items: list[Item]) -> list[set[int]]:
    """For each item, those that must stand left of it."""
    hung: dict[tuple[int, int], list[int]] = {}
    lying: dict[tuple[int, int], int] = {}
    for i, item in enumerate(items):
        if item.what is What.LYING:
            lying[item.at[0]] = i
        else:
            for place in item.at:
                hung.setdefault(place, []).append(i)
    before: list[set[int]] = [set() for _ in items]
    for r, row in enumerate(rows):
        for p in range(len(row.nodes)):
            here, left, right = hung.get((r, p), []), lying.get((r, p - 1)), lying.get((r, p))
            for i in here:
                if left is not None:
                    before[i].add(left)
                if right is not None:
                    before[right].add(i)
            if left is not None and right is not None:
                before[right].add(left)
    return before


def _feeds(section: Section, rows: list[Row], items: list[Item]) -> dict[int, Item]:
    """The item from above at which each row of its own begins: windings of a core first, drivers last."""
    numbers = {id(leg): i for i, leg in enumerate(section.legs)}

    def fitness(item: Item) -> tuple[bool, int]:
        return (not any(numbers[id(leg)] in section.upright for leg in item.legs), item.what)

    feeds = {}
    for r, row in enumerate(rows):
        if row.taps or row.nodes[0] in section.fixed:
            continue
        above = [i for i in items if i.at[-1] == (r, 0) and i.what in (What.UPRIGHT, What.DRIVER) and i.top < r]
        if above:
            drivers_last = sorted(above, key=lambda i: (i.what is What.DRIVER, fitness(i)))
            feeds[r] = drivers_last[0]
    return feeds


def _with_feeds(before: list[set[int]], items: list[Item], feeds: dict[int, Item]) -> list[set[int]]:
    more = [set(b) for b in before]
    for r, feed in feeds.items():
        first = items.index(feed)
        for i, item in enumerate(items):
            if i != first and (r, 0) in item.at:
                more[i].add(first)
    return more


def _sort(items: list[Item], before: list[set[int]]) -> list[int]:
    """An order that suits; shorter than the items if there is none. Lower rows come first: wires then cross least."""
    after: list[list[int]] = [[] for _ in items]
    for i, needed in enumerate(before):
        for j in needed:
            after[j].append(i)
    left = [len(needed) for needed in before]
    ready = [(-items[i].top, items[i].what, i) for i in range(len(items)) if not left[i]]
    heapify(ready)
    order = []
    while ready:
        i = heappop(ready)[2]
        order.append(i)
        for j in after[i]:
            left[j] -= 1
            if not left[j]:
                heappush(ready, (-items[j].top, items[j].what, j))
    return order


def _break(section: Section, rows: list[Row], items: list[Item], before: list[set[int]], stuck: set[int]) -> None:
    """Break a row inside a circle of needs: what lay between its halves will stand upright."""
    walk = [min(stuck)]
    while walk[-1] not in walk[:-1]:
        walk.append(min(before[walk[-1]] & stuck))
    circle = walk[walk.index(walk[-1]) : -1]
    r, k = max(items[i].at[0] for i in circle if items[i].what is What.LYING and rows[items[i].at[0][0]].taps < 2)
    row = rows.pop(r)
    first, second = row.nodes[: k + 1], row.nodes[k + 1 :]
    rank = min(row.rank - 1e-6, sum(section.levels[n] for n in second) / len(second))
    if len(first) > 1 or not row.taps:
        rows.append(Row(first, row.rank, row.taps))
    rows.append(Row(second, rank))
