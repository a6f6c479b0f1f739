"""Filters of minimum phase whose phase is known in closed form, drawn by chance; and the rows of sweeps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
_SIX = 20.0 * np.log10(2.0)


@dataclass(frozen=True)
class Chain:
    """Sections (s^2 + s/qz + 1)/(s^2 + s/qp + 1), a high-pass and a low-pass, of second order each."""

    centre_hz: Float
    q_zero: Float
    q_pole: Float
    high_pass_hz: float
    low_pass_hz: float

    slopes_db_per_octave = 2.0 * _SIX, -2.0 * _SIX

    def level_db(self, f: Float) -> Float:
        return np.asarray(sum(20.0 * np.log10(np.abs(part)) for part in self._parts(f)))

    def phase_deg(self, f: Float) -> Float:
        """Continuous: each section's numerator and denominator turn by less than 180 degrees."""
        return np.asarray(sum(np.degrees(sign * np.angle(part)) for part, sign in self._signed(f)) + 180.0)

    def _parts(self, f: Float) -> list[NDArray[np.complex128]]:
        return [part**sign for part, sign in self._signed(f)] + [(1j * f / self.high_pass_hz) ** 2]

    def _signed(self, f: Float) -> list[tuple[NDArray[np.complex128], int]]:
        def quadratic(hz: float, q: float) -> NDArray[np.complex128]:
            s = 1j * f / hz
            return np.asarray(s * s + s / q + 1.0)

        sections = zip(self.centre_hz, self.q_zero, self.q_pole, strict=True)
        out = [(quadratic(hz, q), sign) for hz, zero, pole in sections for q, sign in ((zero, 1), (pole, -1))]
        return [*out, (quadratic(self.high_pass_hz, 0.8), -1), (quadratic(self.low_pass_hz, 0.7), -1)]


def chain(seed: int) -> Chain:
    """Six sections from 30 Hz to 10 kHz, Q 0.5 to 8."""
    rng = np.random.default_rng(seed)
    centre = np.exp(rng.uniform(np.log(30.0), np.log(10e3), 6))
    zero, pole = np.exp(rng.uniform(np.log(0.5), np.log(8.0), (2, 6)))
    return Chain(centre, zero, pole, float(rng.uniform(30.0, 90.0)), float(rng.uniform(3e3, 12e3)))


def rows_of(spacing: str, low_hz: float, high_hz: float, count: int) -> Float:
    """(count,) Hz, evenly spaced in Hz from one step up where linear, in ln f where not."""
    if spacing == "linear":
        return high_hz / count * np.arange(1, count + 1)
    return np.geomspace(low_hz, high_hz, count)
