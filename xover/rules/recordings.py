"""What a recording must hold to be read, and from where on something in it is told.

All of it is common practice, no published source, where none is named.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

LEAST_LEVEL_DB: Final = -60.0
"""A channel whose sweep peaks below this, re full scale, is as good as silent."""
CLIPPED_RUNS: Final = 3
CLIPPED_SAMPLES: Final = 3
CLIPPED_ABOVE: Final = 4.0
"""So many times so many equal samples at the extreme are a recording that clips; or the square of it, where they are so
many times what lies just below."""
FULL_SCALE: Final = 0.9999
"""An input, or a calibrator's tone, that reaches it clips."""
GAIN_DB: Final = 0.3
"""Two markers that were played alike differ by less, or something sets the level by itself."""
MARKER_DB: Final = 0.5
"""So far a marker may be from what the sweep foretells; through what is linear they agree."""
TAIL_DB: Final = 2.0
"""And so far what follows it, in a room."""
CLOCK_PPM: Final = 10.0
"""From here on two clocks are worth telling; crystals hold 20 to 100."""
HUM_DB: Final = 6.0
"""Hum that stands this far above the noise in the silences is taken out, and told."""
NOISY_SHARE: Final = 0.02
"""The sweep itself, where it is less sure than this by noise alone, one standard deviation, is lost in it."""
LOUD_DB: Final = -20.0
"""A response further below its loudest is soft by nature: noise there is not held against the recording."""
NOISY_ROWS: Final = 0.1
"""Share of a response's louder rows that may be lost in noise before it is told."""
HIGHEST_SHARE: Final = 0.49
"""Of the samples a second: up to here a recorder's filter lets through."""
WIRE_DB: Final = 1.0
SPEAKER_DB: Final = 6.0
"""Between its loudest and softest tenth a cable is more level than the first, a speaker in a room less than the
second."""
CLIFF_DB: Final = 30.0
CLIFF_OCTAVES: Final = 1.0 / 6.0
"""A fall by so much within so little, for good, is no speaker's and no microphone's: lossy formats and low rates do
it."""
RESISTOR_WRONG: Final = 0.1
"""A resistor that reads further than this from what was said is not that resistor."""

TONE_S: Final = 30.0
TONE_HZ: Final = 200.0
TWEETER_TONE_HZ: Final = 400.0
"""A cheap meter's AC range is honest from 50 to 400 Hz."""
TRIAL_DB: Final = 40.0
"""A first take of a tweeter is so much softer."""
COARSE_VOLT: Final = 0.5
"""Below this a meter whose last digit is 0.1 V says too little."""
LINE_VOLT: Final = 1.0
"""Rms that a line input takes without a divider; of what a divider leaves it gets half at most."""
DIVIDER_OHM: Final = 10_000.0
DIVIDER_FOOT_OHM: Final = (4700.0, 2200.0, 1000.0, 470.0)
"""Of E3 (IEC 60063), what an input is then across."""
GUARD_FARAD: Final = 50e-6
"""Before a tweeter: keeps direct current and thumps away; with 6 ohm its corner is 531 Hz."""


@dataclass(frozen=True)
class Preset:
    """A band, and how many volts rms at the terminals are harmless.

    A tweeter takes 0.3 V from 200 Hz on, its resonance among it: 10 mW into 8 ohm. A woofer's resonance is read well
    from 10 Hz on.
    """

    low_hz: float
    high_hz: float
    volt: float


PURPOSES: Final[Mapping[str, Preset]] = {
    "woofer": Preset(5.0, 23_000.0, 1.0),
    "tweeter": Preset(200.0, 23_000.0, 0.3),
    "speaker": Preset(10.0, 23_000.0, 0.3),
    "microphone": Preset(20.0, 23_000.0, 2.0),
}

SHORTEST_GATE_S: Final = 0.8e-3
"""A driver rings out within this at its upper end: nothing earlier is taken for a reflection."""
LONGEST_GATE_S: Final = 10e-3
"""A gate that nobody gave is no longer, though no reflection shows."""
REFLECTION_DB: Final = -24.0
"""From here on, re the direct sound, a later peak is taken for a reflection: it ripples by 0.5 dB, up and down."""
GATE_SHARE: Final = 0.96
"""Of the time to the reflection, as it rises before its peak."""
SPLICE_HZ: Final = (200.0, 400.0)
"""Where near field and far field are usually joined; 300 Hz where nothing else is said."""
SPLICE_OCTAVES: Final = 1.0 / 3.0
"""To either side they are compared; within half of it one passes into the other."""
SPLICE_SLOPE_DB: Final = 3.0
"""In an octave: where they differ by more they are not the same driver, and joining them bends the curve by 1 dB."""
GATE_SURE_DB: Final = 0.2
"""A gate's own error that need not be told."""
GATE_LOUD_DB: Final = 30.0
"""Where a driver is softer than its loudest by more, little that a gate cuts off is much beside it, and matters to
nobody."""
OVERLOAD_DB: Final = -20.0
"""A harmonic above this, a tenth, is a driver that is driven too hard."""
RATTLE_DB: Final = -50.0
BESIDE_HARMONICS_DB: Final = -12.0
"""What lies above the fifth harmonic is a rattle or a rub from the first on, where it is above the strongest harmonic
by the second: what is smooth leaves less. Set by tests/benchmarks/recordings_told.py."""
