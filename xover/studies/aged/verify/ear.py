"""The measured response, and what every state of a network sounds like beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.explain.fault_fit import FaultSetup, Fits
from xover.explain.faults import FaultState, polarity_faults
from xover.studies.aged.verify.sound import Heard, Voices, make_voices
from xover.studies.aged.verify.sound_fit import SoundFits, fit_sound

NEAR: Final = 60.0
"""A state that the impedance leaves farther behind than this (natural logarithm) is not listened to."""
CHANCE: Final = 1e-4
"""What noise and spreads do as rarely as this or more rarely, they did not do."""


@dataclass(frozen=True, eq=False)
class Ear:
    """What was heard, and the sound of every state, drivers with their wires swapped last.

    Attributes
    ----------
    fits : one for each; of a state that was not listened to the cost and the square are infinite.
    """

    heard: Heard
    voices: Voices
    fits: SoundFits

    @property
    def holds(self) -> bool:
        """Whether any state explains what was heard: else the record says nothing of the parts."""
        return bool(self.fits.square.min() <= chi_square(self.heard.level_db.size - 1))


def listen(bench: FaultSetup, states: Sequence[FaultState], fits: Fits, heard: Heard) -> Ear:
    """What every state sounds like, its knobs as the impedance has them; then no fault with each driver reversed."""
    voices = make_voices(bench.speaker, bench.network, heard.centre_hz)
    turned: list[str | None] = [*([None] * len(states)), *(f.part for f in polarity_faults(bench.network))]
    rows = np.array([*range(len(states)), *([0] * (len(turned) - len(states)))])
    near = np.flatnonzero((fits.cost[rows] < fits.cost.min() + NEAR) | (rows == 0))
    drive = bench.terminals.drive(
        [states[int(rows[i])].state for i in near],
        fits.turned[rows[near]],
        voices.frequency_hz.reshape(-1),
        voices.impedance_ohm,
    )
    found = fit_sound(heard, voices, voices.parts(drive, [turned[int(i)] for i in near]))
    whole = {}
    for name, value in vars(found).items():
        whole[name] = np.full((len(turned), *value.shape[1:]), np.inf if value.ndim == 1 else np.nan)
        whole[name][near] = value
    return Ear(heard, voices, SoundFits(**whole))


def chi_square(freedom: int) -> float:
    """What a sum of squares of that many standard normal numbers exceeds with the probability CHANCE."""
    from scipy.special import chdtri

    return float(chdtri(freedom, CHANCE))
