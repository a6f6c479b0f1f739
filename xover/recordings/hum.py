"""Hum of the mains: its frequency and its lines, fitted where the recording is quiet, and taken out of all of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Complex, Float

MAINS_HZ: Final = (50.0, 60.0)
DRIFT_HZ: Final = 0.15
"""The mains stays within this of its name: common practice of European grids (0.2 Hz is an event), no published
source."""
LINES: Final = 11
"""The mains itself and ten harmonics."""
_BLOCK: Final = 1 << 14
"""Samples worked on at once, to bound the memory of a long recording."""
_ROUGH_HZ: Final = 0.015
"""Half a second of the eleventh line turns by little within this."""
_SIGMAS: Final = 5.0
_STARTS: Final = 6
"""Silences far apart leave several frequencies that fit nearly as well: so many of them are followed down."""


@dataclass(frozen=True)
class Hum:
    """What was found.

    Attributes
    ----------
    mains_hz : fitted. lines : (channels, 11) complex amplitude of each harmonic, re sample 0. above_noise_db : the
        strongest
        line over what else is in the silences, rms.
    """

    mains_hz: float
    lines: Complex
    above_noise_db: float

    def take_out(self, samples: Float, rate_hz: int) -> None:
        """Take it out of (n, channels) samples, in their place."""
        turn = 2j * np.pi * self.mains_hz / rate_hz * np.arange(1, LINES + 1)
        table = np.exp(np.outer(np.arange(min(_BLOCK, len(samples))), turn))
        for start in range(0, len(samples), _BLOCK):
            piece, lines = samples[start : start + _BLOCK], self.lines * np.exp(start * turn)
            piece -= table.real[: len(piece)] @ lines.real.T - table.imag[: len(piece)] @ lines.imag.T


def fit_hum(samples: Float, quiet: Float, rate_hz: int) -> Hum:
    """Fit the mains to the quiet samples.

    Parameters
    ----------
    samples : (n, channels). quiet : (m,) indices of samples without signal, from both ends of the sweep: the longer
        apart, the
        better the frequency is known.
    """
    mean = max(1, rate_hz // 1600)  # of so many samples: eleven lines end at 660 Hz
    at, values = _thinned(samples, np.asarray(quiet), mean)
    tries = _tries(at, values, rate_hz)
    left = np.array([_left(at, values, f, rate_hz) for f in tries])
    lower = np.flatnonzero((left <= np.roll(left, 1)) & (left <= np.roll(left, -1)))
    starts = tries[lower[np.argsort(left[lower])[:_STARTS]]]
    best = min(_deeper(f, at, values, rate_hz) for f in starts)[1]
    found = np.linalg.lstsq(_columns(at, best, rate_hz), values, rcond=None)[0]
    # A mean of samples shows less of a line.
    half = np.pi * best / rate_hz * np.arange(1, LINES + 1)
    found[: 2 * LINES] /= np.tile(np.sin(mean * half) / (mean * np.sin(half)), 2)[:, None]
    lines = (found[:LINES] - 1j * found[LINES : 2 * LINES]).T
    some = np.asarray(quiet)[::mean]
    rest = float(np.sqrt(np.mean((samples[some] - _columns(some, best, rate_hz) @ found) ** 2)))
    size = float(np.abs(lines).max()) / np.sqrt(2.0)
    return Hum(best, lines, 20.0 * np.log10(max(size, 1e-12) / max(rest, 1e-12)))


def _thinned(samples: Float, quiet: Float, mean: int) -> tuple[Float, Float]:
    """(k,) places and (k, channels) means of so many samples in a row."""
    parts = [p[: len(p) // mean * mean] for p in np.split(quiet, np.flatnonzero(np.diff(quiet) > 1) + 1)]
    at = np.concatenate([p.reshape(-1, mean).mean(axis=1) for p in parts])
    return at, np.concatenate([samples[p].reshape(-1, mean, samples.shape[1]).mean(axis=1) for p in parts])


def _deeper(start_hz: float, at: Float, values: Float, rate_hz: int) -> tuple[float, float]:
    """What is left at the nearest lowest point, and its frequency."""
    best, step = (_left(at, values, start_hz, rate_hz), start_hz), _step(at, rate_hz) / 2.0
    for _ in range(10):
        best = min([best, *((_left(at, values, f, rate_hz), f) for f in (best[1] - step, best[1] + step))])
        step /= 2.0
    return best


def _tries(at: Float, values: Float, rate_hz: int) -> Float:
    """Frequencies close enough that the fit finds its lowest point from one of them.

    Each silence by itself says roughly where; both together say it sharply, but over and over again.
    """
    cuts = np.flatnonzero(np.diff(at) > 2.0 * np.median(np.diff(at))) + 1
    parts = [(a, v) for a, v in zip(np.split(at, cuts), np.split(values, cuts), strict=True) if len(a) > 4 * LINES]
    rough = np.concatenate([np.arange(name - DRIFT_HZ, name + DRIFT_HZ + _ROUGH_HZ, _ROUGH_HZ) for name in MAINS_HZ])
    left = np.array([sum(_left(a, v, f, rate_hz) for a, v in parts) for f in rough])
    near = rough[left <= left.min() * (1.0 + _SIGMAS**2 / values.size)]
    step = _step(at, rate_hz)
    return np.unique(np.concatenate([np.arange(f - 0.5 * _ROUGH_HZ, f + 0.5 * _ROUGH_HZ + step, step) for f in near]))


def _step(at: Float, rate_hz: int) -> float:
    """Between the silences the eleventh line turns by a third of a turn within this."""
    return 0.3 * rate_hz / (LINES * float(at[-1] - at[0]))


def _columns(at: Float, mains_hz: float, rate_hz: int) -> Float:
    angle = 2.0 * np.pi * mains_hz / rate_hz * at[:, None] * np.arange(1, LINES + 1)[None, :]
    # A constant too: what a sweep leaves of its own mean is no noise.
    return np.hstack([np.cos(angle), np.sin(angle), np.ones((len(at), 1))])


def _left(at: Float, values: Float, mains_hz: float, rate_hz: int) -> float:
    table = _columns(at, mains_hz, rate_hz)
    return float(np.sum((values - table @ np.linalg.lstsq(table, values, rcond=None)[0]) ** 2))
