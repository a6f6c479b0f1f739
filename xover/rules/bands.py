"""Where things are judged, and how near to its highest a curve counts."""

from __future__ import annotations

from typing import Final

Band = tuple[float, float]

JUDGED_HZ: Final[Band] = (200.0, 15_000.0)
"""The one band in which the evenness of a sum is judged, as far as it is known: below it rooms and cabinets rule what
is heard, above it every tweeter falls off by itself, which no network mends. Common practice, no published source."""
CHANGES_HZ: Final[Band] = (200.0, 20_000.0)
"""The one band in which a change is looked for, of a drive or of a sum between two networks: what a driver does by
itself cancels out, so that it goes on to the end of hearing. Common practice, no published source."""
MICROPHONE_HZ: Final[Band] = (200.0, 15_000.0)
"""Where a response that was measured in a room is believed: below it the room sounds along, above it a centimetre
of the microphone's place counts. Common practice, no published source."""
AUDIO_BAND_HZ: Final[Band] = (20.0, 20_000.0)
"""Where a load is read, and what a usual grid spans."""
SENSITIVITY_HZ: Final[Band] = (200.0, 4000.0)
"""Where a sensitivity is taken. Common practice, no published source."""
BAFFLE_HZ: Final[Band] = (100.0, 1700.0)
"""Where the step of usual baffles lies, about 115 m/s over the width: 1.1 m to 7 cm. Common practice."""
BASS_HZ: Final[Band] = (60.0, 150.0)
"""The bass that the step of a baffle is counted from. Common practice, no published source."""
PANEL_HZ: Final[Band] = (1000.0, 10_000.0)
PANEL_DEG: Final = -45.0
"""A driver whose impedance stays more capacitive than this over that band is a capacitor: an electrostatic panel behind
its transformer. Derived: a voice coil is resistive or inductive there."""
MAINS_HZ: Final = (50.0, 60.0)
LOSS_AT_HZ: Final = (1000.0, 10_000.0)
"""Series resistance is compared here: where meters read it, and where a tweeter works."""

COUNTS_WITHIN_DB: Final = 20.0
"""The worst change of a drive is looked for where the drive lies within this of its highest: lower, its
neighbour covers what it does. Common practice, no published source."""
PLAYS_WITHIN_DB: Final = 10.0
"""A driver plays where the network drives it within this of its highest. Common practice, no published source."""
OWN_BAND_DB: Final = 3.0
"""A driver's own band: where the network drives it within this of its highest. Common practice, no published source."""
LEAST_KNOWN: Final = 0.9
"""Share of a band, in octaves, that must be known for a verdict on it."""
LEAST_KNOWN_OF_CHANGE: Final = 0.5
"""Share of a band, in octaves, in which a sum must be known for its largest change to stand for that of its sound.
Common practice, no published source."""
LEAST_STRETCH_OCTAVES: Final = 1.0 / 3.0
"""A stretch narrower than this is told with the largest difference only: hearing sums up about a third of an octave.
Common practice, no published source."""
THIRDS: Final = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
"""Names of third octaves within a decade: ISO 266."""
