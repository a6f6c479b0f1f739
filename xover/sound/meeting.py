"""Where the drivers of a network meet, in which order they play, and how deep the reversed null is."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from xover.acoustic.crossover import CrossoverReading, read_crossovers
from xover.acoustic.summing import SAME_WAY_OCTAVES, centroid_hz, make_branch
from xover.curve import Float
from xover.network import Network, solve
from xover.sound.prediction import Sound, make_branches, sound_of_network
from xover.sound.resonance import driver_resonance_hz
from xover.speaker import Speaker


def shallowest_null_db(crossovers: Iterable[CrossoverReading]) -> float:
    """Depth of the shallowest reversed null; NaN where there is none or one is not known."""
    depths = [c.null_depth_db for c in crossovers]
    known = [d for d in depths if d is not None]
    return min(known) if known and len(known) == len(depths) else math.nan


def present_crossovers(speaker: Speaker, network: Network, frequency_hz: Float) -> tuple[float, ...]:
    """Where neighbouring drivers of a network are equally loud, rising; by drive where no sound is known."""
    solution = solve(network, frequency_hz, speaker.impedances_ohm(network, frequency_hz))
    known, _ = speaker.timing_is_known(network)
    branches = make_branches(speaker, network, solution, known)
    if not all(np.isfinite(b.pressure).any() for b in branches):
        branches = tuple(
            make_branch(b.key, solution.drive[b.key], np.ones(frequency_hz.shape), timing_known=False, way=b.way)
            for b in branches
        )
    found = [c.frequency_hz for c in read_crossovers(frequency_hz, branches, known)]
    return tuple(sorted({float(f) for f in found if f is not None}))


@dataclass(frozen=True)
class WayOfDrivers:
    """Drivers that play one band behind one filter.

    Attributes
    ----------
    names : of the drivers, and keys : of their cards, in the order of the netlist.
    """

    names: tuple[str, ...]
    keys: tuple[str, ...]

    @property
    def name(self) -> str:
        """ "woofer", or "woofer+woofer2"."""
        return "+".join(self.names)


def ways(speaker: Speaker, network: Network, frequency_hz: Float) -> tuple[WayOfDrivers, ...]:
    """The ways of a network, lowest first; see `lowest_first`."""
    return lowest_first(speaker, sound_of_network(speaker, network, frequency_hz))


def lowest_first(speaker: Speaker, sound: Sound) -> tuple[WayOfDrivers, ...]:
    """Ways by the centre of their sound behind the network; else of their drive; else by resonance; else as listed.

    Centres less than half an octave apart tell nothing: so does a network that splits nothing. Which drivers are one
    way, see `one_way_drivers`.
    """
    f = sound.solution.frequency_hz
    drivers = {c.key: c.driver for c in sound.network.drivers}
    keys: dict[str, list[str]] = {}
    for b in sound.branches:
        keys.setdefault(b.way, []).append(b.key)
    found = [WayOfDrivers(tuple(dict.fromkeys(drivers[k] for k in own)), tuple(own)) for own in keys.values()]
    sounds = {b.key: b.pressure for b in sound.branches}
    heard = {w: centroid_hz(f, np.sum([np.nan_to_num(sounds[k]) for k in w.keys], axis=0)) for w in found}
    driven = {w: centroid_hz(f, sound.solution.drive[w.keys[0]]) for w in found}
    resonant = {w: driver_resonance_hz(speaker.drivers[w.names[0]]) for w in found}
    for centres in (heard, driven, resonant):
        if _apart(centres):
            return tuple(sorted(found, key=centres.__getitem__))
    return tuple(found)


def _apart(centres: Mapping[WayOfDrivers, float]) -> bool:
    """Whether all are known and each lies half an octave or more from its neighbours."""
    ordered = sorted(centres.values())
    if not all(np.isfinite(c) for c in ordered):
        return False
    return all(b >= a * 2.0**SAME_WAY_OCTAVES for a, b in pairwise(ordered))
