"""The level of a sum: of a network that need not stand in the folder, and of many candidates at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from xover.acoustic.level import level_db, ratio
from xover.acoustic.summing import ABSENT_DB, Branch, known_sum, missing_bound, sum_branches
from xover.curve import Complex, Float
from xover.network import Network, Solution
from xover.sound.prediction import Sound, make_branches
from xover.speaker import Speaker

_CHUNK = 128


def sum_level_db(speaker: Speaker, network: Network, solution: Solution) -> Float:
    """(n,) level of the sum; NaN throughout where the drivers share no time reference, so that no one sum is right."""
    known, _ = speaker.timing_is_known(network)
    if not known:
        return np.full(solution.frequency_hz.shape, np.nan)
    branches = make_branches(speaker, network, solution, known)
    return sum_branches(solution.frequency_hz, branches, coherent=known).level_db


def known_level_db(sound: Sound) -> Float:
    """(n,) level of the sum, or of the highest sum that any timing allows; NaN where neither is known."""
    return sound.total.level_db if sound.total.coherent else sound.total.best_level_db


def responses(speaker: Speaker, sound: Sound) -> tuple[Branch, ...]:
    """The sound of each driver for one volt at the driver itself, in its place."""
    one = np.ones(sound.solution.frequency_hz.shape, dtype=complex)
    at_terminals = replace(sound.solution, drive=dict.fromkeys(sound.solution.drive, one))
    return make_branches(speaker, sound.network, at_terminals, sound.total.coherent)


@dataclass(frozen=True, eq=False)
class Listener:
    """What turns drives into the level of the sum.

    Attributes
    ----------
    branches : sound of each driver for one volt at the driver itself. bound : (b, n) what it may be at most
        where it is not known.
    coherent : True: the sum itself; False: the highest that any timing between the drivers allows.
    """

    branches: tuple[Branch, ...]
    bound: Float
    coherent: bool

    def levels_db(self, drive: Mapping[str, Complex]) -> Float:
        """(k, n) level of the sum for (k or 1, n) drives by driver's key; NaN where it is not known."""
        count = max(value.shape[0] for value in drive.values())
        parts = [self._level_db(drive, slice(start, start + _CHUNK)) for start in range(0, count, _CHUNK)]
        return np.concatenate(parts)

    def _level_db(self, drive: Mapping[str, Complex], rows: slice) -> Float:
        chosen = {key: value if value.shape[0] == 1 else value[rows] for key, value in drive.items()}
        volts = np.stack(np.broadcast_arrays(*(chosen[b.key] for b in self.branches)))
        pressure = volts * np.stack([b.pressure for b in self.branches])[:, None, :]
        bound = np.abs(volts) * self.bound[:, None, :]
        if self.coherent:
            return level_db(known_sum(pressure, bound))
        known = np.isfinite(pressure)
        filled = np.where(known, pressure, 0.0)
        names = dict.fromkeys(b.group for b in self.branches)
        whole = sum(np.abs(filled[[b.group == name for b in self.branches]].sum(axis=0)) for name in names)
        missing = np.where(known, 0.0, bound).sum(axis=0)
        given = known.any(axis=0) & (missing <= whole * ratio(-ABSENT_DB))
        return level_db(np.where(given, whole + missing, np.nan))


def listener(speaker: Speaker, sound: Sound, coherent: bool) -> Listener:
    """Make the listener of a network that was solved."""
    branches = responses(speaker, sound)
    f = sound.solution.frequency_hz
    return Listener(branches, np.stack([missing_bound(f, b) for b in branches]), coherent)
