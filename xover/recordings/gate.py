"""A response in a room: its arrival, the first reflection, and the gate that lets only what comes before it through.

What a gate of T seconds lets through says nothing below 1/T.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Complex, Float
from xover.recordings.transfer import Deconvolved
from xover.rules.recordings import LONGEST_GATE_S, REFLECTION_DB, SHORTEST_GATE_S

RISE_S: Final = 0.5e-3
"""Before the arrival, in which the gate opens."""
FALL_SHARE: Final = 0.3
"""Last share of the gate, over which it closes."""


@dataclass(frozen=True)
class Arrival:
    """When the sound comes, s behind the reference, and how much later a first reflection; None where none shows."""

    at_s: float
    reflection_s: float | None


def find_arrival(found: Deconvolved, microphone: int, reference: int | None) -> Arrival:
    """Find the direct sound and its first reflection in the envelope of the impulse response."""
    response, zero = _against(found, microphone, reference)
    size = np.abs(_analytic(response))
    top = int(np.argmax(size))
    # What comes earlier and is nearly as strong is the direct sound: a floor may add up to more than it.
    near = np.flatnonzero(size[: top + 1] >= 0.5 * size[top])
    direct = int(near[0]) if len(near) else top
    while direct < top and size[direct + 1] > size[direct]:
        direct += 1
    at = (direct - zero) / found.rate_hz
    rest = size[direct:]
    first = int(SHORTEST_GATE_S * found.rate_hz)
    last = int(4.0 * LONGEST_GATE_S * found.rate_hz)
    lowest = np.minimum.accumulate(rest[:last])
    level = 10.0 ** (REFLECTION_DB / 20.0) * size[top]
    for i in range(first, min(last, len(rest)) - 1):
        peak = rest[i] >= rest[i - 1] and rest[i] >= rest[i + 1]
        if peak and rest[i] >= level and rest[i] >= 2.0 * lowest[i]:
            return Arrival(at, i / found.rate_hz)
    return Arrival(at, None)


def gated(
    found: Deconvolved, microphone: int, reference: int | None, arrival_s: float, gate_s: float, frequency_hz: Float
) -> tuple[Complex, Float]:
    """(n,) microphone against reference or played file, through a gate; (n,) standard deviation of it by noise.

    Parameters
    ----------
    microphone, reference : channels. arrival_s : as `Arrival` has it. gate_s : from there on.
    """
    before, after = int(RISE_S * found.rate_hz), int(gate_s * found.rate_hz)
    t = np.arange(-before, after + 1)
    rise = np.clip((t + before) / max(1, before), 0.0, 1.0)
    fall = np.clip((after - t) / max(1.0, FALL_SHARE * after), 0.0, 1.0)
    window = np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2
    lag = 0 if reference is None else _peak_at(found, reference)
    at = lag + round(arrival_s * found.rate_hz)
    value, sigma = found.through(window, at - before, frequency_hz)
    if reference is None:
        return value[microphone], sigma[microphone]
    size = int(0.02 * found.rate_hz)
    loop, _ = found.through(np.hanning(2 * size + 3)[1:-1], lag - size, frequency_hz)
    return value[microphone] / loop[reference], sigma[microphone] / np.abs(loop[reference])


def _peak_at(found: Deconvolved, channel: int) -> int:
    return int(np.argmax(np.abs(found.responses[channel]))) - found.zero


def _against(found: Deconvolved, microphone: int, reference: int | None) -> tuple[Float, int]:
    """Impulse response with the reference's lag taken off, and the sample of its time zero."""
    lag = 0 if reference is None else _peak_at(found, reference)
    early = int(0.05 * found.rate_hz)
    start = max(0, found.zero + lag - early)
    return found.responses[microphone][start:], found.zero + lag - start


def _analytic(response: Float) -> Complex:
    """The response with its Hilbert transform as imaginary part: its size is the envelope."""
    from scipy.signal import hilbert

    return np.asarray(hilbert(response))
