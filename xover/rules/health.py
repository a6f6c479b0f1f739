"""What tells a sound driver from one that is not, as its impedance shows both.

All of it is common practice, no published source, where none is named. How often it errs on invented drivers:
tests/benchmarks/driver_health.py.
"""

from __future__ import annotations

from typing import Final

# How a sweep is read.
APART: Final = 1.35
"""Peaks closer than this factor are one, torn by a rub or by noise."""
FAR_APART: Final = 8.0
"""Two peaks farther apart than this are no vented box."""
SKEW: Final = 3.0
"""A term whose residue is turned further than this is no resonance of a moving mass."""
DIRECT_SHARE: Final = 0.1
"""Re is read plainly below this share of the lowest resonance: the moving part adds x^2/(Qms Qes) of it there, less
than 1 % (derived)."""
MISFIT: Final = 0.03
"""Where the function misses the rows by more, rms, it tells no mass."""
LEAK: Final = 0.04
"""More of the leak's term than this: invented boxes of QL 1.5 have 0.03 to 0.1, of QL 3 and more up to 0.02."""
COIL_FROM: Final = 4.0
"""From so many times the resonance on, what rises is the coil."""
DULL: Final = 1.5
"""A peak of less, over Re, is easily lost."""
DULL_MASS: Final = 2.5
"""A peak of less says too little of the moving mass: losses that go with the frequency pass for mass."""
SMOOTH: Final = 0.02
SMOOTH_TIMES: Final = 3.0
"""Rows on a peak that stand off a smooth curve by more than the first, and by so many times what the others do, are
irregular: the cone does not move freely, or something rattles."""

ROWS_ON_PEAK: Final = 16
WHITE: Final = 0.7
"""It takes so many rows to see that, and jumps that are so much of what the rows stand off by."""

# Drivers of one kind: factors, either way.
LIKE_PEAK: Final = 1.5
"""Of Zmax/Re - 1: what the losses leave of the peak."""
VENTED_PEAK: Final = 1.9
"""The same in a vented box whose driver resonates elsewhere: the highest peak moves along."""
LIKE_MASS: Final = 1.25
LIKE_COIL: Final = 1.30
LIKE_RE_SWEPT: Final = 1.07
"""Of Re from sweeps; from a meter `likeness.PAIR_RE`."""
TOGETHER: Final = 1.42
COUNTS: Final = 0.5
"""Re, mass and coil that lie off by this many limits together, as the root of the sum of squares, two of them by half a
limit each, are another driver's: a limit is about three standard deviations, so chance does it once in 2000."""
AGED_FS: Final = 1.30
"""A suspension moves the resonance by no more with age; with more it was repaired, has rotted, or is another."""

# Against a datasheet.
SHEET_PEAK: Final = 2.25
SHEET_MASS: Final = 1.45
"""Of moving mass over pull, Qes/(fs Re): a fifth each (`likeness.DATASHEET_SHARE`)."""
SHEET_FS: Final = 1.3
"""How far a sound driver's resonance may lie below the printed one."""
SHEET_LEVEL: Final = 1.25
"""Of Re where only the resistance beneath the peak is read: the coil's losses add up to a tenth."""
BOX_PEAK: Final = 5.0
"""What a box with its lining may take from a woofer's peak: of Zmax/Re - 1."""
FARTHER: Final = 2.0
"""Of two drivers that differ, the one that lies so many times as far from the datasheet is the one that changed."""
SEEN_SHARE: Final = 0.7
"""A sweep that begins below this share of a resonance shows it where there is one, if the box does not lower it."""
