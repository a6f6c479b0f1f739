"""How much work is begun without asking for less: estimates of time and memory, and the refusal.

Estimates are of one slow core, measured with tests/benchmarks/large_folders.py; they are good to a factor of two.
"""

from __future__ import annotations

from typing import Final

from xover.errors import OptionError

MOST_BYTES: Final = 250_000_000
MOST_SECONDS: Final = 15.0
"""A folder may come from a stranger, and a crossover of thirty parts is a large one: it stays below both."""
MOST_SEARCHING_S: Final = 60.0
"""The same of a search from many starts, which takes ten seconds for a crossover of twenty parts."""

MOST_CORNERS_S: Final = 5.0
"""Worst corners of a large network that take longer are left to the random builds."""


def hold(
    what: str, remedy: str, *, seconds: float = 0.0, size_bytes: float = 0.0, most_seconds: float = MOST_SECONDS
) -> None:
    """Raise OptionError, before anything is begun, where work would take too much time or memory.

    Parameters
    ----------
    what : is large, such as "10000 builds of 60 parts". remedy : what to ask for instead.
    """
    if size_bytes > MOST_BYTES:
        raise OptionError(f"{what} need about {size_bytes / 1e9:.1f} GB of memory", remedy)
    if seconds > most_seconds:
        length = f"{seconds:.0f} s" if seconds < 120.0 else f"{seconds / 60.0:.0f} minutes"
        raise OptionError(f"{what} take about {length}", remedy)


def solving_s(unknowns: int, systems: float, couplings: int = 0) -> float:
    """Time to solve so many systems of a network of so many nodes, such as builds times frequencies.

    Coupled coils fill the equations: 66 couplings among 12 coils took 15 us a system.
    """
    return systems * (max(1e-6, 0.07e-6 * unknowns) + 0.2e-6 * couplings)
