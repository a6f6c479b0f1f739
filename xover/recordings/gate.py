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
"""In which the gate opens."""
OPEN_S: Final = 1e-3
"""It is open so long before the peak of the arrival, whose rise is no part to be softened."""
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


@dataclass(frozen=True, eq=False)
class Gated:
    """What a gate lets through.

    Attributes
    ----------
    value : (n,) complex, microphone against reference or played file. sigma : (n,) one standard deviation of it, by
        noise. cut_share : (n,) what the gate cuts off that still rings, estimated, over what it lets through.
    """

    value: Complex
    sigma: Float
    cut_share: Float


def gate_at(time_s: Float, gate_s: float) -> Float:
    """(n,) the gate, 0 to 1, at times from the arrival on."""
    rise = np.clip((time_s + OPEN_S) / RISE_S + 1.0, 0.0, 1.0)
    fall = np.clip((gate_s - time_s) / (FALL_SHARE * gate_s), 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2)


def gated(
    found: Deconvolved, microphone: int, reference: int | None, arrival_s: float, gate_s: float, frequency_hz: Float
) -> Gated:
    """The response through a gate.

    Parameters
    ----------
    microphone, reference : channels. arrival_s : as `Arrival` has it. gate_s : from there on.
    """
    before, after = int((OPEN_S + RISE_S) * found.rate_hz), int(gate_s * found.rate_hz)
    t = np.arange(-before, after + 1)
    lag = 0 if reference is None else _peak_at(found, reference)
    at = lag + round(arrival_s * found.rate_hz)
    value, sigma = found.through(gate_at(t / found.rate_hz, gate_s), at - before, frequency_hz)
    size = np.abs(value[microphone])
    cut = _cut_off(found.responses[microphone][found.zero + at :][: after + 1], found.rate_hz, frequency_hz) / size
    loop, unsure = reference_at(found, reference, frequency_hz)
    ratio = value[microphone] / loop
    return Gated(ratio, np.hypot(sigma[microphone], np.abs(ratio) * unsure) / np.abs(loop), cut)


def reference_at(found: Deconvolved, reference: int | None, frequency_hz: Float) -> tuple[Complex, Float]:
    """(n,) the loop-back against the played file, and (n,) one standard deviation by noise; 1 without one."""
    if reference is None:
        return np.ones(len(frequency_hz), dtype=complex), np.zeros(len(frequency_hz))
    size = int(0.02 * found.rate_hz)
    first = _peak_at(found, reference) - size
    value, sigma = found.through(np.hanning(2 * size + 3)[1:-1], first, frequency_hz)
    return value[reference], sigma[reference]


def impulse(
    found: Deconvolved, microphone: int, reference: int | None, arrival_s: float, until_s: float
) -> tuple[Float, Float]:
    """Times from the arrival on, from 1 ms before it, and the impulse response there over its peak."""
    lag = 0 if reference is None else _peak_at(found, reference)
    at = found.zero + lag + round(arrival_s * found.rate_hz)
    start = max(0, at - int(1e-3 * found.rate_hz))
    piece = found.responses[microphone][start : at + int(until_s * found.rate_hz) + 1]
    return (np.arange(len(piece)) + start - at) / found.rate_hz, piece / np.abs(piece).max()


def _cut_off(piece: Float, rate_hz: float, frequency_hz: Float) -> Float:
    """(n,) size of the spectrum of what would follow.

    A parabola through the last part, where the gate closes, goes on: what is cut off is slow, or the gate would hold
    its period. Its integral by parts is c/jw + s/(jw)^2 + 2b/(jw)^3.
    """
    last = piece[int((1.0 - FALL_SHARE) * (len(piece) - 1)) :]
    t = (np.arange(len(last)) - 0.5 * (len(last) - 1)) / rate_hz
    weight = np.hanning(len(last) + 2)[1:-1]
    powers = np.stack([np.ones(len(last)), t, t * t], axis=1) * weight[:, None]
    level, slope, bend = np.linalg.lstsq(powers, last * weight, rcond=None)[0]
    w = 2.0 * np.pi * frequency_hz
    return np.asarray(rate_hz * np.abs(level / (1j * w) - slope / w**2 - 2.0 * bend / (1j * w**3)))


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
