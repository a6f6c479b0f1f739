"""Coordinates of one section: how far right each item stands, how far down each row lies."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from xover.drawing.schematic.geometry import Point, Role
from xover.drawing.schematic.ink import APART, CLEAR, Ink, Room
from xover.drawing.schematic.order import Item, Plan, What
from xover.drawing.schematic.rows import Block, Leg, Parallel
from xover.drawing.schematic.words import LETTERS, height_pt, name_of, width_pt, write
from xover.network.network import GROUND

GRID: Final = 4.0
WIRE_ROOM: Final = 4.0
"""Beside an upright wire."""
TAP_ROOM: Final = 12.0
"""Left of a wire that joins two rows."""
LEAD: Final = 10.0
"""Between a row and the parts that stand below or above it."""
LEAST_GAP: Final = 12.0
MOST_PASSES: Final = 4
STEP: Final = 12.0
"""Between two upright wires that would meet on a row, one from above and one from below."""


@dataclass
class Spot:
    """Where an item stands.

    Attributes
    ----------
    axis : of a lying item its left edge.
    gap : the gap that holds its parts; `first_gap`: the first of the gaps over which they may spread.
    """

    item: Item
    axis: float
    room: Room
    gap: int
    first_gap: int


@dataclass
class Placed:
    """A section with its x coordinates known; y begins at 0 on its uppermost row.

    Attributes
    ----------
    above : (rows,) room that each row needs above its line; gap : (rows,) room below it.
    """

    plan: Plan
    spots: list[Spot]
    above: list[float]
    gap: list[float]

    @property
    def row_y(self) -> list[float]:
        """(rows,) depth of each row below the first."""
        y = [0.0]
        for r in range(1, len(self.above)):
            y.append(y[-1] + self.gap[r - 1] + self.above[r])
        return y

    @property
    def right(self) -> float:
        """The rightmost edge."""
        return max(
            (s.axis + (s.room.length if s.item.what is What.LYING else s.room.behind) for s in self.spots), default=0.0
        )


def place_section(plan: Plan, ink: Ink, left: float) -> Placed:
    """Set every item as far left as its row neighbours and the words beside it allow.

    The section is a stack of bands: above a row, on it (where wires come from above, where they go below), and the gap
    below. Each item takes room in the bands that it touches, and stands behind all that took room there before. What
    feeds a row from above is moved until the first part below that row stands under it.
    """
    least: dict[int, float] = {}
    placed = _place(plan, ink, left, least)
    for _ in range(MOST_PASSES):
        moved = False
        for r, feed in plan.feeds.items():
            below = [s.axis for s in placed.spots if s.item.top == r and s.item.what is not What.LABEL]
            feed_spot = next(s for s in placed.spots if s.item is feed)
            if below and min(below) > feed_spot.axis:
                least[id(feed)], moved = min(below), True
        if not moved:
            break
        placed = _place(plan, ink, left, least)
    return placed


def _place(plan: Plan, ink: Ink, left: float, least: dict[int, float]) -> Placed:
    rows = len(plan.rows)
    edge = [left] * (4 * rows)
    spots: list[Spot] = []
    feed_x: dict[int, float] = {}
    upper: list[list[float]] = [[] for _ in range(rows)]
    lower: list[list[float]] = [[] for _ in range(rows)]
    above, gap = [LEAST_GAP] * rows, [LEAST_GAP] * rows
    for item in plan.items:
        room, holder = _room(item, ink), max(item.bottom - 1, item.top)
        bands = _bands(item, room, holder)
        axis = max([least.get(id(item), left), *(edge[band] + before for band, (before, _) in bands.items())])
        clear = WIRE_ROOM if item.what is What.LABEL else 0.0
        axis = max([axis, *(feed_x[r] + clear for r, _ in item.at if r in feed_x)])
        axis = math.ceil(axis / GRID) * GRID
        if item.what in (What.UPRIGHT, What.DRIVER, What.TAP):
            taken = lower[item.bottom] + [x for x in upper[item.top] if not feed_x.get(item.top) == x == axis]
            while any(abs(axis - x) < STEP for x in taken):
                axis += GRID
            upper[item.bottom].append(axis)
            lower[item.top].append(axis)
        for band, (_, behind) in bands.items():
            edge[band] = max(edge[band], axis + behind)
        for r, feed in plan.feeds.items():
            if feed is item:
                feed_x[r] = axis
        spots.append(Spot(item, axis, room, holder, holder))
        if item.what is What.LYING:
            above[item.top] = max(above[item.top], room.behind + CLEAR)
        elif item.legs:
            gap[holder] = max(gap[holder], room.length + 2 * LEAD)
    # Whole points, so that every row and every wire that meets it agree to the last bit.
    return Placed(plan, spots, [math.ceil(a) for a in above], [math.ceil(g) for g in gap])


def _block(legs: tuple[Leg, ...], start: str) -> Block:
    blocks = tuple(leg.from_(start) for leg in legs)
    return blocks[0] if len(blocks) == 1 else Parallel(blocks)


def _room(item: Item, ink: Ink) -> Room:
    if item.what is What.LABEL:
        return Room(0.0, width_pt(name_of(item.node), LETTERS[Role.NODE]) + 2.0, height_pt(Role.NODE))
    if item.what is What.TAP:
        return Room(TAP_ROOM, WIRE_ROOM, 0.0)
    if item.what is What.LYING:
        return ink.lying_room(_block(item.legs, item.legs[0].a))
    return ink.upright_room(item.legs[0].block)


def _bands(item: Item, room: Room, holder: int) -> dict[int, tuple[float, float]]:
    """The bands that an item touches, with its reach left and right of its axis there."""
    row = 4 * item.top
    if item.what is What.LABEL:
        return {row: (WIRE_ROOM, room.behind)}
    if item.what is What.LYING:
        return dict.fromkeys((row, row + 1, row + 2), (0.0, room.length))
    wire = (room.before, WIRE_ROOM) if item.what is What.TAP else (WIRE_ROOM, WIRE_ROOM)
    bands = {row + 2: wire, row + 3: wire}
    for r in range(item.top + 1, item.bottom):
        bands |= dict.fromkeys(range(4 * r, 4 * r + 4), wire)
    bands |= dict.fromkeys((4 * item.bottom, 4 * item.bottom + 1), wire)
    if item.legs:
        bands[4 * holder + 3] = (room.before, room.behind + APART)
    return bands


def push_drivers_right(sections: list[Placed]) -> None:
    """Stand the drivers at the ends of all sections below each other."""
    chains = [chain for placed in sections for chain in _last_drivers(placed)]
    target = max((max(s.axis for s in chain) for chain in chains), default=0.0)
    for chain in chains:
        shift = target - max(s.axis for s in chain)
        for spot in chain:
            spot.axis += shift


def spread_uprights(placed: Placed, bus_x: dict[str, float]) -> None:
    """Let parts that stand below several rows spread over all of that height where no other row comes near them."""
    reach = _reach(placed, bus_x, math.inf)
    for spot in placed.spots:
        item = spot.item
        if not item.legs or item.what is What.LYING or item.bottom - item.top < 2:
            continue
        left, right = spot.axis - spot.room.before - WIRE_ROOM, spot.axis + spot.room.behind + WIRE_ROOM
        between = set(range(4 * item.top + 3, 4 * spot.gap + 3))
        others = [s for s in placed.spots if s is not spot and between & set(_bands(s.item, s.room, s.gap))]
        spans = [(s.axis - s.room.before, s.axis + max(s.room.behind, s.room.length)) for s in others]
        spans += [(min(xs), max(xs)) for (r, _), xs in reach.items() if item.top < r < item.bottom]
        if all(b < left or a > right for a, b in spans):
            spot.first_gap = item.top


def _last_drivers(placed: Placed) -> list[list[Spot]]:
    """Drivers with nothing but drivers to their right, those that share a band together."""
    chains: list[list[Spot]] = []
    free: list[Spot] = []
    bands = {id(s): set(_bands(s.item, s.room, s.gap)) for s in placed.spots}
    for spot in sorted(placed.spots, key=lambda s: -s.axis):
        if spot.item.what is not What.DRIVER:
            continue
        right = [s for s in placed.spots if s is not spot and s.axis >= spot.axis and bands[id(s)] & bands[id(spot)]]
        if all(any(s is f for f in free) for s in right):
            free.append(spot)
            home = next((c for c in chains if any(s is r for s in c for r in right)), None)
            if home is None:
                chains.append([spot])
            else:
                home.append(spot)
    return chains


def draw_section(placed: Placed, ink: Ink, y0: float, bus_x: dict[str, float], left: float) -> None:
    """Draw a section whose first row lies at `y0`; rows begin at their node's bus, ground rails at `left`."""
    ys = [y0 + y for y in placed.row_y]
    plan = placed.plan
    for spot in placed.spots:
        item = spot.item
        r, p = item.at[0]
        if item.what is What.LABEL:
            at = Point(spot.axis, ys[r] - 4.5)
            ink.texts.append(write(name_of(item.node), at, Role.NODE, item.node))
        elif item.what is What.LYING:
            first, last = plan.rows[r].nodes[p], plan.rows[r].nodes[p + 1]
            right = spot.axis + spot.room.length
            ink.lying(_block(item.legs, first), spot.axis, right, ys[r], first, last)
        else:
            _draw_upright(spot, placed, ink, ys)
    for (r, p), xs in _reach(placed, bus_x, left).items():
        ink.wire(plan.rows[r].nodes[p], Point(min(xs), ys[r]), Point(max(xs), ys[r]))


def _reach(placed: Placed, bus_x: dict[str, float], left: float) -> dict[tuple[int, int], list[float]]:
    """For each place on a row, where its node is touched; a ground rail begins at `left`."""
    reach: dict[tuple[int, int], list[float]] = {}
    for r, row in enumerate(placed.plan.rows):
        if row.nodes[0] in bus_x:
            reach.setdefault((r, 0), []).append(bus_x[row.nodes[0]])
        elif row.nodes[0] == GROUND and not row.taps and math.isfinite(left):
            reach.setdefault((r, 0), []).append(left)
    for spot in placed.spots:
        if spot.item.what is What.LYING:
            r, p = spot.item.at[0]
            reach.setdefault((r, p), []).append(spot.axis)
            reach.setdefault((r, p + 1), []).append(spot.axis + spot.room.length)
        elif spot.item.what is not What.LABEL:
            for place in spot.item.at:
                reach.setdefault(place, []).append(spot.axis)
    return reach


def _draw_upright(spot: Spot, placed: Placed, ink: Ink, ys: list[float]) -> None:
    rows, (upper, lower) = placed.plan.rows, spot.item.at
    top, bottom = rows[upper[0]].nodes[upper[1]], rows[lower[0]].nodes[lower[1]]
    if spot.item.what is What.TAP:
        ink.wire(top, Point(spot.axis, ys[upper[0]]), Point(spot.axis, ys[lower[0]]))
        return
    above, below = ys[spot.first_gap] + LEAD, ys[spot.gap] + placed.gap[spot.gap] - LEAD
    ink.wire(top, Point(spot.axis, ys[upper[0]]), Point(spot.axis, above))
    ink.wire(bottom, Point(spot.axis, below), Point(spot.axis, ys[lower[0]]))
    ink.upright(spot.item.legs[0].from_(top), spot.axis, above, below, top, bottom)
