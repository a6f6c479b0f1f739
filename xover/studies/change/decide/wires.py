"""What costs two wires: a driver the other way round."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from xover.network import Network
from xover.network.retouch import turned
from xover.sound.deviation import sum_deviation
from xover.sound.meeting import ways
from xover.sound.prediction import sound_of_network
from xover.speaker import Speaker
from xover.studies.change.decide.setup import ReadingSetup


def best_turned(bench: ReadingSetup, network: Network) -> tuple[str, ...]:
    """Drivers, by key, whose wires to swap for the most even sum: whole ways, the lowest stays; () for none."""
    speaker, f = bench.speaker, bench.frequency_hz
    upper = [way.keys for way in ways(speaker, network, f)[1:]]
    tries = [()] + [sum(some, ()) for n in range(1, len(upper) + 1) for some in combinations(upper, n)]
    return min(tries, key=lambda keys: _strays(speaker, turned(network, keys), bench))


def _strays(speaker: Speaker, network: Network, bench: ReadingSetup) -> float:
    total = sound_of_network(speaker, network, bench.frequency_hz).total
    half = sum_deviation(bench.frequency_hz, total.level_db).half_range_db
    return float(half) if np.isfinite(half) else np.inf
