"""What a caller may leave out or write in more than one way: frequencies, lists of parts, measured curves."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from xover.curve import Curve, Evidence, Float, log_grid
from xover.errors import OptionError, named

FROM_HZ: Final = 20.0
TO_HZ: Final = 20_000.0
PER_OCTAVE: Final = 48


def rising_frequencies(frequency_hz: ArrayLike | None = None, per_octave: int = PER_OCTAVE) -> Float:
    """(n,) the frequencies given, or 20 Hz to 20 kHz on equal steps of an octave.

    Raises
    ------
    OptionError : fewer than two, not rising, or outside 0.1 Hz to 1 MHz.
    """
    if frequency_hz is None:
        return _usual(per_octave)
    given = np.asarray(frequency_hz, dtype=float)
    if given.ndim != 1 or given.size < 2 or not np.all(np.isfinite(given)) or np.any(np.diff(given) <= 0):
        raise OptionError(
            f"{named('frequency_hz')} are no rising frequencies", "give two or more, such as xover.log_grid(20, 20e3)"
        )
    if given[0] < 0.1 or given[-1] > 1e6:
        raise OptionError(
            f"{named('frequency_hz')} go from {given[0]:g} to {given[-1]:g} Hz",
            "give frequencies from 0.1 to 1000000 Hz",
        )
    return given


@cache
def _usual(per_octave: int) -> Float:
    grid = log_grid(FROM_HZ, TO_HZ, per_octave)
    grid.flags.writeable = False
    return grid


Read = tuple[Curve, tuple[str, ...]]


def impedance_curve(given: Curve | str | Path) -> Read:
    """A sweep, read if a file is named, and what reading it said. Raises InputError."""
    if isinstance(given, Curve):
        return given, ()
    from xover.files.tables import read_impedance

    return _named(Path(given), read_impedance(Path(given), Evidence.MEASURED))


def response_curve(given: Curve | str | Path) -> Read:
    """A level, read if a file is named, and what reading it said. Raises InputError."""
    if isinstance(given, Curve):
        return given, ()
    from xover.files.tables import read_response

    return _named(Path(given), read_response(Path(given), Evidence.MEASURED))


def _named(path: Path, read: Read) -> Read:
    curve, said = read
    return curve, tuple(f"{path.name}: {words}" for words in said)
