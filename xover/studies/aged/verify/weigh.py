"""What speaks against a state of a network, and which of several are likelier."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.acoustic.level import nominal_hz
from xover.curve import Float
from xover.explain.fault_fit import Fits
from xover.explain.faults import Fault, FaultState, polarity_faults
from xover.explain.terminals import SIGMAS, Knob, KnobKind, State, Terminals
from xover.network import Network
from xover.rules.likeness import DRIVER_DELAY_S, DRIVER_GAIN_DB
from xover.studies.aged.phone.result import Change, Held
from xover.studies.aged.verify.ear import Ear, chi_square
from xover.studies.aged.verify.words import knob_words, shift_words

MISFIT: Final = 1.5
"""A fit leaves noise only, up to so many times the noise."""
CLEAR: Final = math.log(1e4)
"""A fault or change that is so many times likelier than none (natural logarithm) is to blame."""
TURNED: Final = math.log(50.0)
"""The same of a driver with its wires swapped, which needs no more than a look to be sure."""
TIE_CHI_SQUARE: Final = 9.0
TIE_ODDS: Final = math.log(1e3)
"""Two are tied where fitted curves lie within three standard deviations of noise of each other, all rows together, and
neither needs so much less likely parts."""
OUTSIDE_OTHERS: Final = 3.0
"""Standard deviations beyond which a driver, a loss or the jig is not what it is taken for."""
MOST_TOLERANCE: Final = 0.9
FREE: Final = 3.0
"""A spread so many times the usual is that of something sought, which is nowhere out of place."""
FARTHEST: Final = 4
LN10: Final = math.log(10.0)
SOUND_COUNTS: Final = 12.0
"""A sound speaks against a state by so much at most (natural logarithm): beyond, the model is not to be believed."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """A fault (None: none) with the state that stands for it best.

    Attributes
    ----------
    row : among the states' fits. voice : among the sounds'. cost : of both together.
    """

    fault: Fault | None
    row: int
    voice: int
    cost: float


def candidates_of(network: Network, states: Sequence[FaultState], fits: Fits, ear: Ear | None) -> list[Candidate]:
    """Every fault once, with its likeliest state; likeliest first."""
    found: dict[Fault | None, Candidate] = {}
    listed = [(s.fault, row, row) for row, s in enumerate(states)]
    if ear is not None:
        listed += [(f, 0, len(states) + i) for i, f in enumerate(polarity_faults(network))]
    for fault, row, voice in listed:
        cost = float(fits.cost[row])
        if ear is not None and ear.holds:
            cost += min(float(ear.fits.cost[voice] - ear.fits.cost.min()), SOUND_COUNTS)
        if fault not in found or cost < found[fault].cost:
            found[fault] = Candidate(fault, row, voice, cost)
    return sorted(found.values(), key=lambda c: c.cost)


def against_sweep(terminals: Terminals, states: Sequence[FaultState], fits: Fits, row: int) -> list[str]:
    """What speaks against a state in the impedance, in words; nothing where noise and tolerances explain it."""
    said = []
    if not fits.misfit[row] <= MISFIT:
        said.append(f"the impedance is left {fits.misfit[row]:.1f} times as far off as its noise explains")
    outside = beyond(terminals, states[row].state, fits, row)
    if outside:
        said.append(
            "within tolerance no part explains the impedance, it would take " + ", ".join(words for _, words in outside)
        )
    return said


def against_sound(ear: Ear, candidate: Candidate) -> list[str]:
    """The same of the sound: nothing where level, delays, microphone and ripple explain it."""
    said, fits, row = [], ear.fits, candidate.voice
    if fits.square[row] > chi_square(ear.heard.level_db.size - 1):
        difference = fits.difference_db[row]
        worst = int(np.argmax(np.abs(difference / fits.sigma_db[row])))
        where = nominal_hz(float(ear.heard.centre_hz[worst]))
        said.append(
            f"the sound is {difference[worst]:+.1f} dB off near {where:g} Hz, whatever level, delay and microphone"
        )
    for i, name in enumerate(ear.voices.names[1:]):
        late, louder = float(fits.delay_s[row, i]), float(fits.gain_db[row, i])
        far = abs(late) - 2.0 * fits.delay_doubt_s[row, i] > OUTSIDE_OTHERS * DRIVER_DELAY_S
        if far or abs(louder) - 2.0 * fits.gain_doubt_db[row, i] > OUTSIDE_OTHERS * DRIVER_GAIN_DB:
            said.append(f"the sound needs {shift_words(name, late, louder, ear.voices.names[0])}")
    return said


def against_heard(heard: Change) -> list[str]:
    """The same of a phone's levels, their worst octave."""
    if heard.agrees:
        return []
    worst = max((o for o in heard.octaves if o.held is Held.DIFFERS), key=lambda o: abs(o.off_db) / o.off_within_db)
    return [
        f"from {heard.first} to {heard.second} a phone heard {worst.off_db:+.1f} +-{worst.off_within_db:.1f} dB more "
        f"than predicted in the octave of {worst.centre_hz:g} Hz"
    ]


def beyond(terminals: Terminals, state: State, fits: Fits, row: int) -> list[tuple[Knob, str]]:
    """The knobs that stand, for certain, where they have no business, farthest first, with it in words.

    A part beyond its tolerance, anything else beyond three standard deviations, by more than twice the doubt of the
    fit. If none does, but all together stand farther off than chance has it, the farthest are told.
    """
    far, strain, count = [], 0.0, 0
    for column, knob in enumerate(terminals.knobs):
        spread = state.spreads.get(knob.name, knob.spread)
        if spread == 0.0 or spread > FREE * knob.spread:
            continue
        turned, doubt = float(fits.turned[row, column]), float(fits.doubt[row, column])
        strain, count = strain + (turned / spread) ** 2, count + 1
        outside = abs(turned) - 2.0 * doubt > _limit(knob, spread, turned)
        far.append((abs(turned) / spread, outside, (knob, knob_words(knob, turned))))
    far.sort(key=lambda each: -each[0])
    found = [each for _, outside, each in far if outside]
    if not found and strain > chi_square(count):
        found = [each for _, _, each in far[:FARTHEST]]
    return found


def _limit(knob: Knob, spread: float, turned: float) -> float:
    """How far a knob may stand: of a part the logarithm of its tolerance, to that side."""
    if knob.kind is not KnobKind.PART:
        return OUTSIDE_OTHERS * spread
    tolerance = min(SIGMAS * spread, MOST_TOLERANCE)
    return math.log1p(tolerance) if turned > 0 else -math.log1p(-tolerance)


def number_ties(costs: Sequence[float], apart_from: Sequence[Float]) -> list[int]:
    """Number what cannot be told apart alike, 0 first, each group about its likeliest.

    Parameters
    ----------
    costs : (m,) rising. apart_from : for each of them the chi-square (m,) between it and all.
    """
    numbers: dict[int, int] = {}
    for leader, cost in enumerate(costs):
        if leader in numbers:
            continue
        number = max(numbers.values(), default=-1) + 1
        near = (np.asarray(apart_from[leader]) < TIE_CHI_SQUARE) & (np.asarray(costs) - cost < TIE_ODDS)
        for other in (leader, *np.flatnonzero(near)):
            numbers.setdefault(int(other), number)
    return [numbers[i] for i in range(len(costs))]
