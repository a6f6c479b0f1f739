"""What every search of a redesign is told: the speaker, the wish, the parts, and designs made of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from xover.curve import Float
from xover.errors import OptionError
from xover.judge.network import dc_drive
from xover.network import Network, solve
from xover.parts.catalogue import Catalogue
from xover.parts.coil_design import dcr_of_air_coil
from xover.rules.margins import BARE_SHARE
from xover.sound.meeting import WayOfDrivers, present_crossovers, ways
from xover.speaker import Speaker
from xover.studies.change.redesign.design import Design, openable
from xover.studies.change.redesign.shelf import WIRE_MM, PartList, part_lists
from xover.studies.change.redesign.wish import Ground, Wish, grid, prepare_goal, slopes_of
from xover.studies.change.refresh.places import needed_ratings

STARTS: Final = 4
"""Random starts for each topology and polarity, beside the network's own values."""
_FINE: Final = 400


@dataclass(frozen=True, eq=False)
class Task:
    """What every search is told.

    Attributes
    ----------
    order : of the ways, lowest first. corners_hz : where the slopes meet today.
    brief : no more is wanted than the best, and the fewest parts that are as good.
    """

    speaker: Speaker
    catalogue: Catalogue
    wish: Wish
    reference: Network
    order: Sequence[WayOfDrivers]
    corners_hz: tuple[float, ...] | None
    starts: int
    seed: int
    brief: bool = False

    def design(self, network: Network) -> Design:
        """A network with its values open, and its corners where none are named; coils keep their proportions."""
        named = self.wish.crossover_hz
        goal = prepare_goal(
            self.speaker, network.drivers, self.wish, self.reference, named, grid(), network, self.ground
        )
        names = openable(network)
        coils = [c for c in network.coils if c.name in names]
        at = {c.name: (c.henry, c.dcr_ohm or dcr_of_air_coil(c.henry, WIRE_MM * 1e-3)) for c in coils}
        slopes, corners = None, named or ()
        if named is None:
            reach = (goal.magnitude > 0) & (True if goal.heard is None else goal.heard)
            free = slopes_of(self.ground, network.drivers, reach)
            if free is not None:
                slopes = free.around(self.corners_hz, goal.has_sum)
                corners = () if slopes is None else slopes.nearest(self.corners_hz)
        return Design(network, goal, names, at, slopes, tuple(corners))

    def lists(self, design: Design, network: Network, values: Mapping[str, Float] | None = None) -> dict[str, PartList]:
        """Parts that stand what they get in a network, or with other values in it."""
        solution = solve(network, design.goal.frequency_hz, design.goal.driver_ohm, values)
        needed = needed_ratings(self.speaker, solution)
        wanted = {name: float(value) for name, value in (values or {}).items()}
        return part_lists(network, design.open_parts, self.catalogue, needed, self.wish.largest_coil_h, wanted)

    @cached_property
    def ground(self) -> Ground:
        """What all goals have in common."""
        return Ground(self.speaker, self.wish, self.reference, grid())

    @cached_property
    def bare(self) -> float:
        """The share of a DC voltage that the highest driver may get: as good as none, or what it gets today."""
        return max(BARE_SHARE, self._direct(self.reference))

    def keeps_off(self, network: Network) -> bool:
        """Whether the highest way's driver is kept from DC, where there are several."""
        return len(self.order) < 2 or self._direct(network) <= self.bare

    def _direct(self, network: Network) -> float:
        shares = dc_drive(self.speaker, network, {})
        return max(shares[d.key] for d in network.drivers if d.driver in self.order[-1].names)


def make_task(
    speaker: Speaker,
    catalogue: Catalogue,
    wish: Wish,
    reference: Network,
    *,
    starts: int = STARTS,
    seed: int = 1,
    brief: bool = False,
) -> Task:
    """What the searches are told of a speaker. Raises OptionError: the wish does not fit it."""
    order = ways(speaker, reference, grid())
    corners = _corners(speaker, reference, wish, order)
    return Task(speaker, catalogue, wish, reference, order, corners, starts, seed, brief)


def _corners(
    speaker: Speaker, reference: Network, wish: Wish, order: Sequence[WayOfDrivers]
) -> tuple[float, ...] | None:
    """Corner frequencies of the slopes; None where the drivers do not cross and none were given."""
    if wish.crossover_hz is not None:
        if len(wish.crossover_hz) != len(order) - 1:
            raise OptionError(
                f"{len(order)} ways have {len(order) - 1} crossover frequencies, {len(wish.crossover_hz)} were given",
                "give one for each neighbouring pair, rising",
            )
        return wish.crossover_hz
    found = present_crossovers(speaker, reference, np.geomspace(20.0, 20_000.0, _FINE))
    return found if len(found) == len(order) - 1 and found else None
