"""Microphone beside loop-back: whether each is what it is said to be, and which way the first pressure goes."""

from __future__ import annotations

from typing import Final

import numpy as np

from xover.curve import Complex, Float
from xover.recordings.faults import Found, RecordingFault
from xover.recordings.transfer import Deconvolved
from xover.rules.recordings import LOUD_DB, SPEAKER_DB, WIRE_DB

_WINDOW_S: Final = 0.05
_BEFORE_S: Final = 1e-3
_SMOOTH_S: Final = 6e-5
_HALF_WAVE: Final = 0.35
"""Of the highest swing: what is smaller may be noise, or what a filter does before its pulse."""


def loop_fault(found: Deconvolved, microphone: int, loop: int) -> Found | None:
    """Swapped channels, or a loop-back that is none, by how level they are: a wire is, a speaker is not.

    Parameters
    ----------
    microphone, loop : rows of `found`.
    """
    low, high = found.plan.usable_hz
    f = np.geomspace(max(200.0, low), min(10_000.0, high), 200)
    a, b = (found.around(row, _WINDOW_S, f) for row in (microphone, loop))
    heard, wire, both = _unevenness_db(a), _unevenness_db(b), _unevenness_db(a / b)
    if heard < WIRE_DB < 0.67 * wire:
        return Found(RecordingFault.SWAPPED, loop + 1, wire)
    same = both < 0.5 * WIRE_DB < 0.33 * heard
    return Found(RecordingFault.NO_LOOP, loop + 1, wire) if wire > SPEAKER_DB or same else None


def first_pressure(found: Deconvolved, microphone: int, loop: int) -> int:
    """1 or -1: the way in which the microphone first swings far when the loop-back swings up.

    0 of what hardly sounds above 1 kHz: a port, or a sub: what comes first is not seen there.
    """
    low, high = found.plan.usable_hz
    all_hz, top_hz = (np.geomspace(max(a, low), min(b, high), 60) for a, b in ((50.0, 10_000.0), (1000.0, 4000.0)))
    size = [np.abs(found.around(microphone, _WINDOW_S, f)) for f in (all_hz, top_hz)]
    if np.median(size[1]) < 10.0 ** (LOUD_DB / 20.0) * size[0].max():
        return 0
    # What filters ring with at the end of the band is smoothed away.
    taper = np.hanning(max(3, int(_SMOOTH_S * found.rate_hz)) + 2)[1:-1]
    heard, wire = (np.convolve(found.responses[row], taper, "same") for row in (microphone, loop))
    sign = float(np.sign(wire[int(np.argmax(np.abs(wire)))]))
    top = int(np.argmax(np.abs(heard)))
    piece = sign * heard[max(0, top - int(_BEFORE_S * found.rate_hz)) : top + 1]
    far = np.flatnonzero(np.abs(piece) >= _HALF_WAVE * abs(piece[-1]))
    return int(np.sign(piece[far[0]]))


def _unevenness_db(value: Complex) -> float:
    """Between the loudest and the softest tenth."""
    level: Float = 20.0 * np.log10(np.maximum(np.abs(value), 1e-12))
    return float(np.quantile(level, 0.9) - np.quantile(level, 0.1))
