"""When the timing of drivers, read from recordings of them together, is told. Figures that tests/benchmarks counts."""

from __future__ import annotations

from typing import Final

CLEAR: Final = 8.0
"""Natural logarithm of the odds by which an answer must lead every other: 3000 to 1. Errors of records are not quite
what an estimator takes for granted, so that its odds are too good; with these no wrong polarity was told in
tests/benchmarks/delays_from_sums.py."""
MOST_ERROR_DB: Final = 1.3
"""Records that do not fit each other better than this, rms, are no records of one loudspeaker at one place."""
SHARED_DB: Final = 20.0
LEAST_SHARED_OCTAVES: Final = 0.5
"""Drivers tell of their timing where both lie within this of each other, and over this much. Derived: 20 dB below, the
other driver changes a level by 0.8 dB at most, about what ripple does."""
REBUILT_WITHIN_US: Final = 1000.0
MEASURED_WITHIN_US: Final = 3000.0
"""Delays are looked for up to this: with rebuilt phases 34 cm of air, more than any cabinet is deep; measured ones may
have been gated apart. Common practice, no published source."""
FEWEST_ROWS_PER_OCTAVE: Final = 6.0
"""Thirds of an octave tell no delay: they even out what a delay does."""
