"""The level of the sum for a network that need not stand in the folder."""

from __future__ import annotations

import numpy as np

from xover.acoustic.summing import sum_branches
from xover.curve import Float
from xover.network import Network, Solution
from xover.sound.prediction import make_branches
from xover.speaker import Speaker


def sum_level_db(speaker: Speaker, network: Network, solution: Solution) -> Float:
    """(n,) level of the sum; NaN throughout where the drivers share no time reference, so that no one sum is right."""
    known, _ = speaker.timing_is_known(network)
    if not known:
        return np.full(solution.frequency_hz.shape, np.nan)
    branches = make_branches(speaker, network, solution, known)
    return sum_branches(solution.frequency_hz, branches, coherent=known).level_db
