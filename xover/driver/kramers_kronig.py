"""Is an impedance causal? Real and imaginary part of any real thing go together (Kronig 1926, Kramers 1927).

The integrals of Kramers and Kronig need all frequencies; a sweep has a band. So a chain of cells that are each causal
is fitted to it by linear least squares, and what no such chain can follow is not causal: the linear check of Boukamp
(1995) and Schoenleber (2014), from memory. Their cells are R parallel C, which miss the resonance of a loudspeaker
(Q of 7) by 5 to 9 %; here they are resonances, of a fixed Q and evenly over ln f, beyond the band on both sides, for
what lies outside of it (derived). A series resistance, coil and capacitor are added. A small ridge keeps the cells
from combining into what is causal but absurd.

A capacitor of constant dissipation factor and constant capacitance, as netlists state it, is not quite causal itself:
a df of 0.1 leaves up to 1 %. A fault of the measurement leaves more: a phase with its sign turned 14 % and over. A
voltage that comes late is causal and passes; it shows as a phase that falls without end, and as not passive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from xover.curve import Complex, Curve, Float
from xover.driver.fit_start import merged_rows

# Left over by a sweep that can be trusted: at most this, rms relative, or so many times its noise.
TOLERANCE: Final = 0.02
NOISES: Final = 4.0
# Cells in an octave, at the most; as a share of the rows there; and their Q.
_CELLS: Final = 11.0
_CELLS_PER_ROW: Final = 0.4
_Q_PER_CELL: Final = 2.0 / 3.0
# How far beyond the band cells stand, in octaves.
_BEYOND: Final = 1.5
_RIDGE: Final = 1e-3
# Below this many rows in an octave a resonance is not followed well enough to judge.
FEWEST_ROWS: Final = 16.0
# How far one channel of a jig may run ahead of the other; tried when a sweep is not causal.
_ADVANCES_S: Final = np.arange(2.0, 61.0, 2.0) * 1e-6
_AS_GOOD: Final = 1.2
# A real part below zero by this many standard deviations, in this many rows, is not passive.
_NEGATIVE: Final = 3.0
_NEGATIVE_ROWS: Final = 3


@dataclass(frozen=True)
class CausalityCheck:
    """How far a sweep is from any causal impedance.

    Attributes
    ----------
    residual : rms of |dZ/Z| that no causal impedance follows; NaN where it cannot be judged.
    tolerance : what a sound sweep stays below.
    causal : None where it cannot be judged.
    advance_s : how early the voltage is against the current, where that explains it; else None.
    sign_turned : the phase is causal with its sign turned.
    passive : whether the real part stays above zero. negative_at_hz : where it is lowest below zero, or None.
    reason : why it cannot be judged, or empty.
    """

    residual: float
    tolerance: float
    causal: bool | None
    advance_s: float | None
    sign_turned: bool
    passive: bool | None
    negative_at_hz: float | None
    reason: str = ""


def check_causality(curve: Curve, noise: float = 0.0) -> CausalityCheck:
    """Check an impedance sweep.

    Parameters
    ----------
    noise : relative, of one row, each of real and imaginary part.
    """
    f, z = curve.frequency_hz, curve.value
    tolerance = max(TOLERANCE, NOISES * noise)
    if not curve.has_phase:
        return CausalityCheck(math.nan, tolerance, None, None, False, None, None, "it has no phase")
    below = z.real < -_NEGATIVE * noise * np.abs(z)
    passive = int(below.sum()) < _NEGATIVE_ROWS
    at = None if passive else float(f[np.argmin(z.real / np.abs(z))])
    if f.size / np.log2(f[-1] / f[0]) < FEWEST_ROWS:
        reason = f"it has fewer than {FEWEST_ROWS:g} rows in an octave"
        return CausalityCheck(math.nan, tolerance, None, None, False, passive, at, reason)
    # The work goes with the rows, and what is finer than this is no part of any loudspeaker.
    f, z = merged_rows(f, z)
    chain = CausalChain(f, np.abs(z))
    residual = chain.misfit(z)
    causal = residual <= tolerance
    turned, advance = False, None
    if not causal:
        turned = chain.misfit(z.conj()) <= tolerance
        if not turned:
            tried = [chain.misfit(z * np.exp(-2j * np.pi * f * s)) for s in _ADVANCES_S]
            if min(tried) <= tolerance:
                # A voltage later still is causal too: the first that leaves hardly more than the best.
                advance = float(_ADVANCES_S[np.argmax(np.array(tried) <= _AS_GOOD * min(tried))])
    return CausalityCheck(residual, tolerance, causal, advance, turned, passive, at)


class CausalChain:
    """Cells that are causal each, on fixed frequencies, fitted to any impedance of about a given size.

    Parameters
    ----------
    frequency_hz : (n,) rising. size_ohm : (n,) what errors are relative to.
    """

    def __init__(self, frequency_hz: Float, size_ohm: Float) -> None:
        rows = frequency_hz.size / float(np.log2(frequency_hz[-1] / frequency_hz[0]))
        self._size = size_ohm
        basis = np.column_stack([_ends(frequency_hz), _cells(frequency_hz, min(_CELLS, _CELLS_PER_ROW * rows))])
        relative = basis / size_ohm[:, None]
        stacked = np.concatenate([relative.real, relative.imag])
        scale = np.linalg.norm(stacked, axis=0)
        self._basis = relative / scale
        self._stacked = stacked / scale
        inner = self._stacked.T @ self._stacked
        inner[np.diag_indices_from(inner)] += _RIDGE
        self._to_weights: NDArray[np.float64] = np.linalg.solve(inner, self._stacked.T)
        self._used = float(np.trace(self._to_weights @ self._stacked))

    def misfit(self, impedance_ohm: Complex) -> float:
        """Rms of |dZ/Z| that the chain cannot follow, per real number that it leaves free, for real and imaginary."""
        relative = impedance_ohm / self._size
        target = np.concatenate([relative.real, relative.imag])
        left = target - self._stacked @ (self._to_weights @ target)
        return math.sqrt(float(left @ left) / (target.size - self._used))


def _ends(frequency_hz: Float) -> Complex:
    """(n, 3) a resistance, a coil and a capacitor, in series with the cells."""
    return np.column_stack([np.ones(frequency_hz.size), 1j * frequency_hz, -1j / frequency_hz])


def _cells(frequency_hz: Float, per_octave: float) -> Complex:
    """(n, 2 m) resonances: of each the band-pass and the low-pass of second order."""
    low, high = np.log2(frequency_hz[0]) - _BEYOND, np.log2(frequency_hz[-1]) + _BEYOND
    centres = 2.0 ** np.linspace(low, high, max(2, round((high - low) * per_octave) + 1))
    q = _Q_PER_CELL * per_octave
    s = 1j * frequency_hz[:, None] / centres
    below = s * s + s / q + 1.0
    return np.concatenate([s / q / below, 1.0 / q / below], axis=1)
