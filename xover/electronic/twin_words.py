"""What each band of a twin does, in the words of the trade."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from xover.electronic.biquad import Band, BandKind
from xover.electronic.twin import Twin
from xover.quantity import hertz

NEAR_OCTAVES: Final = 1.0 / 3.0
"""A peaking band this near to a driver's resonance is put down to it (common practice, no published source)."""


def band_words(band: Band) -> str:
    """A band as it is dialled in: "low-pass, 2nd order, 2.6 kHz, Q 0.71"; "peaking +2.1 dB at 1.1 kHz, Q 2.3"."""
    at, q = hertz(band.frequency_hz), "" if band.q is None else f", Q {band.q:.2f}"
    if band.kind is BandKind.LOW_SHELF:
        return f"low shelf {band.gain_db:+.1f} dB below {at}{q}"
    if band.kind is BandKind.HIGH_SHELF:
        return f"high shelf {band.gain_db:+.1f} dB above {at}{q}"
    if band.kind.has_gain:
        return f"{band.kind.words} {band.gain_db:+.1f} dB at {at}{q}"
    return f"{band.kind.words}, {at}{q}"


def twin_words(twin: Twin, driver: str = "driver", resonances_hz: Sequence[float] = ()) -> tuple[str, ...]:
    """A twin in sentences without full stops: level, polarity and delay first, then each band and what it does.

    Parameters
    ----------
    driver : its name.
    resonances_hz : where its impedance peaks; a peaking band near one is put down to it.
    """
    return (_common(twin), *(_with_reason(band, driver, resonances_hz) for band in twin.bands))


def _common(twin: Twin) -> str:
    gain = round(twin.gain_db, 1) + 0.0  # never "-0.0"
    words = f"gain {gain:+.1f} dB, polarity {'reversed' if twin.polarity < 0 else 'as it is'}"
    if twin.delay_s == 0.0:
        return f"{words}, no delay"
    time = f"{abs(1e6 * twin.delay_s):.3g} us"
    return f"{words}, delay {time}" if twin.delay_s > 0 else f"{words}, {time} early: delay the others by that"


def _with_reason(band: Band, driver: str, resonances_hz: Sequence[float]) -> str:
    words = band_words(band)
    if band.kind is not BandKind.PEAKING:
        return words
    near = [r for r in resonances_hz if r > 0 and abs(math.log2(band.frequency_hz / r)) <= NEAR_OCTAVES]
    if not near:
        return words
    if band.gain_db > 0:
        return f"{words}: the network rings with the {driver}'s resonance"
    return f"{words}: the network gives less at the {driver}'s resonance"
