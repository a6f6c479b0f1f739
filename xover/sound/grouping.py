"""Which drivers of a network play as one: fed alike and of one band, whatever their names."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import combinations
from typing import Final

import numpy as np

from xover.acoustic.level import level_db
from xover.acoustic.summing import centroid_hz
from xover.curve import Complex, Float
from xover.network import DriverCard, Network, Solution, find_sections
from xover.network.network import GROUND, Groups, fixed_nodes
from xover.rules.bands import PLAYS_WITHIN_DB
from xover.rules.likeness import ALIKE_DRIVE_DB, ONE_WAY_OCTAVES
from xover.sound.resonance import driver_resonance_hz
from xover.speaker import Speaker

_SHARED_OCTAVES: Final = 2.0
"""Two responses that share less than this say nothing of each other's band."""


def one_way_drivers(
    speaker: Speaker, network: Network, solution: Solution, response: Mapping[str, Complex]
) -> tuple[tuple[str, ...], ...]:
    """The names of a network's drivers, those of one way together, in the order of the cards.

    Two names are one way where a section or their channels are the same, both drivers play one band by themselves,
    and the network feeds them alike: at the same two nodes, in series with nothing between, or with alike
    voltages. Fed unlike, as in a two-and-a-half-way, they are one way where they sound less than an octave apart.

    Parameters
    ----------
    response : (n,) complex by driver's key, for 2.83 V at the driver; NaN where not known.
    """
    names = network.driver_names
    groups = Groups(names)
    fed = _channels(network)
    for one, other in combinations(names, 2):
        cards = [[c for c in network.drivers if c.driver == name] for name in (one, other)]
        if any(
            fed[a.key] == fed[b.key] and _one_way(speaker, network, solution, response, a, b)
            for a in cards[0]
            for b in cards[1]
        ):
            groups.join(one, other)
    roots = dict.fromkeys(groups.find(n) for n in names)
    return tuple(tuple(n for n in names if groups.find(n) == root) for root in roots)


def _channels(network: Network) -> dict[str, frozenset[str]]:
    """The channel nodes that each driver's section touches, by the driver's key."""
    if len(network.channels) < 2:
        return {c.key: frozenset() for c in network.drivers}
    live = fixed_nodes(network) - {GROUND}
    ends = {e.name: {e.a, e.b} for e in (*network.parts, *network.drivers)}
    keys = {c.name: c.key for c in network.drivers}
    return {
        keys[name]: frozenset(live.intersection(set().union(*(ends[e] for e in section.elements))))
        for section in find_sections(network)
        for name in section.drivers
    }


def _one_way(
    speaker: Speaker,
    network: Network,
    solution: Solution,
    response: Mapping[str, Complex],
    a: DriverCard,
    b: DriverCard,
) -> bool:
    f, drive = solution.frequency_hz, solution.drive
    if _octaves(f, response[a.key], response[b.key]) >= ONE_WAY_OCTAVES:
        return False
    resonances = [driver_resonance_hz(speaker.drivers[c.driver]) for c in (a, b)]
    apart = abs(math.log2(resonances[0] / resonances[1]))
    if apart >= ONE_WAY_OCTAVES:
        return False
    if {a.plus, a.minus} == {b.plus, b.minus} or _in_series(network, a, b) or _alike(drive[a.key], drive[b.key]):
        return True
    # Fed unlike, they are one only if they are known to be of one kind, and to sound alike behind the network.
    behind = [response[c.key] * drive[c.key] for c in (a, b)]
    return math.isfinite(apart) and _octaves(f, *behind) < ONE_WAY_OCTAVES


def _octaves(frequency_hz: Float, one: Complex, other: Complex) -> float:
    """How far the centres of two sounds lie apart where both are known; NaN where that is too little to tell."""
    both = np.flatnonzero(np.isfinite(one) & np.isfinite(other))
    if both.size < 2 or math.log2(frequency_hz[both[-1]] / frequency_hz[both[0]]) < _SHARED_OCTAVES:
        return math.nan
    centres = [centroid_hz(frequency_hz[both], p[both]) for p in (one, other)]
    return abs(math.log2(centres[0] / centres[1]))


def _in_series(network: Network, a: DriverCard, b: DriverCard) -> bool:
    """Whether the same current flows through both: at a node that they share nothing else hangs."""
    joint = ({a.plus, a.minus} & {b.plus, b.minus}) - fixed_nodes(network)
    others = [e for e in (*network.parts, *network.drivers) if e.name not in (a.name, b.name)]
    return any(all(node not in (e.a, e.b) for e in others) for node in joint)


def _alike(one: Complex, other: Complex) -> bool:
    """Whether two drives are alike wherever either is within 10 dB of its highest."""
    first, second = level_db(one), level_db(other)
    with np.errstate(invalid="ignore"):
        counts = [level >= np.fmax.reduce(level) - PLAYS_WITHIN_DB for level in (first, second)]
        apart = np.abs(first - second)[counts[0] | counts[1]]
    return bool(apart.size and np.all(apart <= ALIKE_DRIVE_DB))
