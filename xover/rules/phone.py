"""What levels that were read from a phone can show, and how far they are believed."""

from __future__ import annotations

from typing import Final

from xover.rules.bands import THIRDS

NOMINAL_HZ: Final = tuple(round(name * 10.0**decade, 1) for decade in (1, 2, 3, 4) for name in THIRDS)[:34]
"""Third octaves by their names, 10 Hz to 20 kHz: ISO 266."""
LEVELS_DB: Final = (-20.0, 140.0)
"""What a level may be: below, no microphone of a phone reads; above, it is broken. Bounds of typing errors only."""

SLOW_S: Final = 2.0
"""How long a reading is averaged where nobody says: twice the 1 s time constant of "slow", IEC 61672-1."""
LONGEST_S: Final = 3600.0
WIDEST_STEP_DB: Final = 3.0
"""Levels that are shown in coarser steps are no readings."""

# How sure a level is. Figures: Bendat and Piersol, Random Data, ch. 8 (from memory).
BAND_SHARE: Final = 10.0**0.05 - 10.0**-0.05
"""Width of a third octave over its middle, 0.231: edges at G^(+-1/6), G = 10^0.3, IEC 61260-1."""
NEPERS_DB: Final = 4.342944819032518
"""10 lg e: the level of noise over T seconds scatters by this over sqrt(B T)."""
ROOM_LINES: Final = 1.32
"""In a room the lines of a band are of unlike strength, so that fewer count, and random noise scatters by this much
more where direct and reverberant sound are alike, by sqrt(2) in reverberant sound alone: sqrt(1 + (2 q + 1)/(1 + q)^2)
with q = 1, as lines of a diffuse field are strong by chance (Schroeder 1954, from memory); simulated in
tests/recordings/test_invented_rooms.py."""
PUT_BACK_DB: Final = ((40.0, 0.13), (1000.0, 0.13), (2500.0, 0.35), (5000.0, 0.45), (10_000.0, 0.37))
"""(Hz, dB) what a phone put back within 2 cm, 0.3 to 1 m from a speaker, scatters by: at low frequencies as 1/r has it,
20 lg(1 + 0.007/0.5), higher by the drivers' ways to it and by reflections (invented rooms: `usual put-back` in
tests/benchmarks/phone_rooms.py). No `again` speaks for less: it is one putting-back, and the next may be worse."""
FIELD_DB: Final = 5.57
FIELD_MODES: Final = 0.238
"""Levels at places in a reverberant room scatter by FIELD_DB / sqrt(1 + FIELD_MODES B T60): Schroeder 1969 (from
memory)."""
LEAST_ABOVE_DB: Final = 6.0
"""A level that stands less above the silence is not told: the silence is more than a quarter of it."""
T_95: Final = (12.71, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36)
"""Student's t, 95 %, of 1 to 7 degrees of freedom: a scatter that was seen once a band is not well known."""
T_95_OF_MANY: Final = 1.96
POOLED_BANDS: Final = 7
"""Bands round a band whose repeats are taken together, two octaves. Common practice, no published source."""
SIGMAS: Final = 2.0
"""A half width of 95 % is two standard deviations."""

UNKNOWN_NEIGHBOUR_DB: Final = 10.0
"""How much louder than another a driver of which no response is known may be. Common practice, no published source."""
