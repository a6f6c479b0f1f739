"""How alike two readings of the same thing are, and two things that should be the same.

All of it is common practice, no published source, where none is named.
"""

from __future__ import annotations

from typing import Final

# Parts.
DCR_SHARE: Final = 0.10
"""A coil's resistance is the same within this..."""
DCR_OHM: Final = 0.02
"""...and within this, twice the last digit of a good ohmmeter."""
LOSSY_RATIO: Final = 2.0
"""A capacitor is lossy from this times the series resistance it had."""
LOSSY_OHM: Final = 0.1
"""Less than this more is no loss worth a word: in series with 6 ohm it is 0.14 dB."""
LOSS_SHARE: Final = 0.50
"""How far a capacitor's loss may lie from what its card says."""
UNKNOWN_WIRE_M: Final = 0.5e-3
"""A coil whose DCR nobody states has no more than an air coil of wire this thin."""

# Explanations.
CERTAIN_LOG10: Final = 5.0
"""From a hundred thousand to one on, an explanation is called certain, as far as the model holds."""

# Meters and sweeps.
METER_SHARE: Final = 0.01
METER_OHM: Final = 0.1
"""An ordinary multimeter: 1 % and its last digit, once the resistance of its leads is taken off."""
SWEEP_SHARE: Final = 0.05
"""How well a sweep made at home with a resistor and a sound card repeats."""
DATASHEET_SHARE: Final = 0.20
"""How far a driver may lie from its datasheet, its cabinet among the reasons."""
DATASHEET_LEVEL_DB: Final = 3.0
"""How far a sensitivity may lie from the one that is printed. Common practice, no published source."""
DATASHEET_RE: Final = 0.10
SWEEP_RE: Final = 0.10
METER_RE: Final = 0.03
"""How far a driver's DC resistance may lie from what a datasheet, a sweep's lowest resistance or a meter says; the last
by warmth alone."""
ABOVE_SWEEP: Final = 1.05
BELOW_SWEEP: Final = 0.75
"""A meter reads the DC resistance; the sweep never falls below it but by noise, leads and temperature."""
FIT_DOUBTFUL: Final = 0.03
FIT_FAILS: Final = 0.05
"""A driver's model that misses its sweep by more than the first, relative rms, is more than a good sweep of a sound
driver leaves; beyond the second nothing is read from it. Common practice, no published source."""
FIT_RE: Final = (0.5, 1.1)
"""...nor where its DC resistance lies outside this share of the lowest resistance that the sweep shows."""
LEAKY_QL: Final = 4.0
"""A vented box of a QL below this leaks: 5 to 20 are usual, 7 most often (Small 1973, from memory)."""
COARSE_SWEEP: Final = 0.05
"""A sweep that is less sure than this between its rows is coarse."""
LEAST_OVERLAP_OCTAVES: Final = 3.0
"""Impedance and response of a driver must share this much to say much."""
PRESSURE_DB: Final = (60.0, 130.0)
"""No driver plays less or more than this at 2.83 V and 1 m."""
VOICE_COIL_OHM: Final = (1.0, 200.0)
"""No common loudspeaker driver falls below the first or stays above the second, ohm."""
CHANNEL_ERROR_DB: Final = 0.1
"""How alike two channels of a sound card are that were not measured against each other."""
CHANNEL_SKEW_S: Final = 2e-6
"""How much later one of them may be: a tenth of a sample at 48 kHz, by unlike filters at the inputs."""
REFERENCE_ERROR: Final = 0.01
"""Tolerance of the resistor where nothing is said: a 1 % part."""
DOUBTFUL: Final = 0.05
"""An impedance less sure than this is pointed out: about what hobby jigs reach."""
RESPONSE_SIGMA_DB: Final = 0.5
ANALYSER_SIGMA_DB: Final = 1.0
"""Standard deviation of a third octave: of a response on the axis with the room gated out or far, and of what an
analyser in a room averages."""
MICROPHONE_DB: Final = 0.6
MICROPHONE_OCTAVES: Final = 1.2
"""Standard deviation of the smooth error of a hobby microphone and its place, and over how far it is alike."""
DRIVER_GAIN_DB: Final = 0.5
DRIVER_DELAY_S: Final = 70e-6
"""Standard deviation of how much louder and later a driver sounds against another than their records have it: another
day, and a microphone that stands a centimetre or two elsewhere."""
DRIVER_RIPPLE_DB: Final = 0.4
"""Standard deviation of a third octave of a driver's own record: reflections and the end of a gate."""
DRIVER_DRIFT: Final = 0.02
"""What fs, Qms, Bl and Re of a driver each have moved by since its sweep, one standard deviation."""
NAMED_DRIFT: Final = 0.015
"""The same where faults are weighed: less, so that a driver that is not what it was is named before a part."""
DRIFT_FITS: Final = 0.10
"""A model that misses its sweep by more, rms, does not tell how the driver moves: then the whole curve is scaled and
shifted."""
JIG_GAIN: Final = 0.015
"""The gain of one sweep against another, one standard deviation: about what a 1 % reference resistor leaves."""
ASSUMED_NOISE: Final = 0.01
"""Of a row, relative, where a sweep has too few to tell."""
ONE_PART: Final = 0.1
"""Two coils coupled by this or more are one part with two windings; below, how they stand is a detail."""
RECORD_REACH_DB: Final = 30.0
"""What lies so far below the highest third octave of a response is the noise of the room."""

# Pairs and spares.
PAIR_PARTS: Final = 0.05
"""Parts of a pair are usually matched to this."""
ALIKE_DRIVE_DB: Final = 3.0
"""Drivers whose voltages stay within this of each other where they count have one filter, or two alike."""
SAME_DRIVE: Final = 0.02
"""Drives of one circuit, and those of one driver's cards that are fed alike, agree within this share."""
ONE_WAY_OCTAVES: Final = 1.0
"""Drivers with their centres this far apart, or their resonances, are two ways."""
PAIR_FS: Final = 0.10
PAIR_RE: Final = 0.05
"""Resonance and DC resistance of like drivers stay within these."""
MATCH: Final = 0.01
"""Parts that are picked for a pair are matched to this where nothing is said."""
SAMPLES: Final = 1.15
"""A driver's resonance lies within this factor of its type's."""
LIKE_IMPEDANCE: Final = 1.25
"""Impedances that differ by no more than this factor leave the corners about where they were."""
