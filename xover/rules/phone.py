"""What levels that were read from a phone can show, and how far they are believed."""

from __future__ import annotations

from typing import Final

NOMINAL_HZ: Final = tuple(
    round(mantissa * decade, 1)
    for decade in (10.0, 100.0, 1000.0, 10_000.0)
    for mantissa in (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
)[:34]
"""Third octaves by their names, 10 Hz to 20 kHz: ISO 266."""
LEVELS_DB: Final = (-20.0, 140.0)
"""What a level may be: below, no microphone of a phone reads; above, it is broken. Bounds of typing errors only."""

SLOW_S: Final = 2.0
"""How long a reading is averaged where nobody says: twice the 1 s time constant of "slow", IEC 61672-1."""
LONGEST_S: Final = 3600.0
WIDEST_STEP_DB: Final = 3.0
"""Levels that are shown in coarser steps are no readings."""
