"""Several curves between their rows: levels, and phases against one of them.

All responses carry the same flight time to the microphone, which turns the phase by more than half
a turn from row to row at high frequencies. The phases between drivers turn slowly: they are what
is interpolated, and all that a level of a sum depends on.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]


def between(frequency_hz: Float, pressure: Complex, wanted_hz: Float, reference: int) -> Complex:
    """Interpolate over log f: the level in dB, and the phase against one curve, in straight lines.

    Parameters
    ----------
    frequency_hz : (n,) rising, n >= 2.
    pressure : (b, n) complex.
    wanted_hz : (m,).
    reference : row of the curve against which phases count; its own phase becomes 0.

    Returns
    -------
    (b, m) complex. NaN outside the frequencies, next to a row where the curve or the reference is
    NaN (not on a known row itself), and 0 next to a zero.
    """
    with np.errstate(divide="ignore"):
        nepers = np.log(np.abs(pressure))
    turn = np.exp(1j * (np.angle(pressure) - np.angle(pressure[reference])))
    row, part = _place(frequency_hz, wanted_hz)
    level = _mix(nepers[:, row], nepers[:, row + 1], part)
    step = np.angle(turn[:, row + 1] * np.conj(turn[:, row]))
    angle = _mix(np.angle(turn[:, row]), np.angle(turn[:, row]) + step, part)
    # At the last row the turn must come from that row alone.
    angle = np.where(part == 1.0, np.angle(turn[:, row + 1]), angle)
    return np.asarray(np.exp(level) * np.exp(1j * angle), dtype=complex)


def lines_between(frequency_hz: Float, value: Float, wanted_hz: Float) -> Float:
    """Interpolate real values (..., n) in straight lines over log f; (..., m), NaN where `between` is."""
    row, part = _place(frequency_hz, wanted_hz)
    return _mix(value[..., row], value[..., row + 1], part)


def larger_beside(frequency_hz: Float, value: Float, wanted_hz: Float) -> Float:
    """The larger of the values (..., n) at the rows to both sides: a bound stays a bound. (..., m)."""
    row, _ = _place(frequency_hz, wanted_hz)
    return np.asarray(np.maximum(value[..., row], value[..., row + 1]), dtype=float)


def _place(frequency_hz: Float, wanted_hz: Float) -> tuple[NDArray[np.intp], Float]:
    """Row before each wanted frequency, and how far it lies to the next: 0..1, NaN outside."""
    u, w = np.log(frequency_hz), np.log(wanted_hz)
    row = np.clip(np.searchsorted(u, w, side="right") - 1, 0, u.size - 2)
    part = (w - u[row]) / (u[row + 1] - u[row])
    return row, np.where((part < 0) | (part > 1), np.nan, part)


def _mix(first: Float, second: Float, part: Float) -> Float:
    """Straight line between two values; on a row, that row alone, whatever its neighbour holds."""
    with np.errstate(invalid="ignore"):
        line = (1.0 - part) * first + part * second
    return np.asarray(np.where(part == 0.0, first, np.where(part == 1.0, second, line)), dtype=float)
