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
SLIP_SIGMAS: Final = 6.0
SLIP_LEAST_DB: Final = 1.0
FEWEST_ROUND: Final = 3
"""A repeat that is so many times what the bands round it (more than so many, itself among them) repeat to, and more
than 1 dB, is a slip of typing. By count over invented rooms: `python tests/benchmarks/phone_rooms.py`."""
MEDIAN_OF_SIGMA: Final = 0.6745
"""Median size of a Gaussian error over its standard deviation."""

UNKNOWN_NEIGHBOUR_DB: Final = 10.0
"""How much louder than another a driver of which no response is known may be. Common practice, no published source."""

# What levels are held against.
TURNED_DOWN_DB: Final = 10.0
GAIN_DB: Final = 0.3
"""With the amplifier turned 10 dB down each level falls by that, +- this, or the phone sets its gain by itself. Common
practice, no published source."""
FEW_SLIPS: Final = 2
"""No more bands than this that fall otherwise than all others are slips of typing, not a gain that sets itself."""
SURE_SIGMAS: Final = 3.5
"""A band that stands out by so many standard deviations is at fault: by chance one in 2000, one table in 70."""
MANY_SHARE: Final = 1.0 / 3.0
"""Sums that differ in more of the bands than this are no typing error."""
FEWEST_SHIFTED: Final = 3
"""So many octaves that lie off by the same are one turn of the volume. Common practice, no published source."""
SIGN_DB: Final = 3.0
"""Normal less reversed: from here on its sign is believed, its size never. Rooms fill a null: where direct and
reverberant sound are alike, 17.6 dB become 4.7 (simulated: tests/acoustic/test_reversed_bands.py)."""
SHALLOW_DB: Final = 6.0
"""A predicted difference below this, at any place that the phone may have had, does not tell. Twice `SIGN_DB`; common
practice, no published source."""
USUAL_M: Final = (0.3, 0.5, 1.0, 2.0, 4.0)
"""How far a phone may stand from the speaker, where nobody says."""
ANY_BALANCE_DB: Final = 5.0
KNOWN_BALANCE_DB: Final = 1.0
"""Driver against driver, +-: the microphone's own curve is in it. A phone platform's rules ask +-10 dB from 100 Hz to
7 kHz; +-5 dB, and +-1 dB after an even speaker at the same spot, are estimates."""
BALANCE_HZ: Final = (100.0, 7000.0)
HEARD_HZ: Final = (25.0, 16_000.0)
"""Bands by name that lie within usual sweeps, 20 Hz to 20 kHz."""
REVERBERATION_S: Final = 0.4
"""Of a furnished living room. Common practice, no published source."""
