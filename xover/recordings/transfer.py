"""What a recording says of the sweep in it: each channel against the file that was played, over frequency.

A channel is divided by the sweep; what comes out is an impulse response, with the harmonics as responses of their own
that lie earlier (`SweepPlan.lead_s`). It is cut out of its surroundings by a window as long as the frequency needs, a
longer one for lower octaves: so distortion falls away, and noise with it.

The ratio of two channels that one recorder took is free of player, amplifier and clock: S. Mueller, P. Massarani,
Transfer-Function Measurement with Sweeps, J. Audio Eng. Soc. 49 (2001); from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Complex, Float
from xover.recordings.sweep import MARKER_S, QUIET_S, TAIL_S, SweepPlan, sweep

CYCLES: Final = 150.0
"""Length of the window in periods: a resonance of Q 8 has died by 150 dB within 50."""
LONGEST_S: Final = TAIL_S - 0.05
FLAT: Final = 0.7
"""Share of the window's tail that is flat before it falls."""
_EDGE_S: Final = 0.02
"""Left out at both ends of a silence: a marker rings."""


@dataclass(frozen=True, eq=False)
class ChannelReadings:
    """Channels against the played file.

    Attributes
    ----------
    frequency_hz : (n,). value : (channels, n) complex, recorded over played. sigma : (channels, n) standard deviation
        of it, by the
        noise in the silences.
    """

    frequency_hz: Float
    value: Complex
    sigma: Float


def quiet_spans(plan: SweepPlan) -> tuple[tuple[float, float], ...]:
    """(start, end) in seconds of the played file: where nothing sounds, before and after the sweep."""
    first, last = plan.first_marker_s + MARKER_S, plan.last_marker_s + MARKER_S
    return (first + 0.3, plan.start_s - _EDGE_S), (last + 0.3, last + QUIET_S)


def read_channels(
    samples: Float, start: float, stretch: float, plan: SweepPlan, quiet: list[Float], frequency_hz: Float
) -> ChannelReadings:
    """Divide every channel by the sweep.

    Parameters
    ----------
    samples : (n, channels), hum taken out. start : sample, with its share, at which the sweep starts. stretch :
        samples for one
        that was played. quiet : silences, each (m, channels). frequency_hz : (k,) rising, within the sweep.
    """
    rate = plan.rate_hz * stretch
    wave = sweep(plan, stretch)
    before = min(int(0.5 * rate), int(start))
    begin = int(start) - before
    block = samples[begin : begin + before + len(wave) + int(TAIL_S * rate)]
    length = _quick(len(block) + len(wave))
    spectrum = np.fft.rfft(wave, length)
    power = np.abs(spectrum) ** 2
    lines = np.fft.rfftfreq(length, 1.0 / rate)
    low, high = plan.usable_hz
    floor = 1e-3 * power[(lines >= low) & (lines <= high)].min()
    inverse = np.conj(spectrum) / (power + floor)
    inverse *= np.exp(2j * np.pi * lines / rate * (start - begin))
    early, late = 0.45 * plan.lead_s(2), LONGEST_S
    responses = [
        _around_zero(np.fft.irfft(np.fft.rfft(c, length) * inverse, length), early, late, rate) for c in block.T
    ]
    zero = int(early * rate) + 2
    noise = [_density(piece, rate) for piece in quiet]
    value = np.empty((samples.shape[1], len(frequency_hz)), dtype=complex)
    sigma = np.empty(value.shape)
    octave = np.floor(np.log2(frequency_hz / frequency_hz[0])).astype(int)
    for k in np.unique(octave):
        rows = octave == k
        reach = CYCLES / float(frequency_hz[rows][0])
        window, first = _window(min(early, reach), min(late, reach), rate)
        cut = np.stack([r[zero + first :][: len(window)] * window for r in responses], axis=1)
        times = (np.arange(len(window)) + first) / rate
        for i in np.flatnonzero(rows):
            value[:, i] = np.exp(-2j * np.pi * frequency_hz[i] * times) @ cut
        size = np.interp(frequency_hz[rows], lines, power)
        spread = [np.interp(frequency_hz[rows], grid, d[:, c]) for c in range(value.shape[0]) for grid, d in noise]
        each = np.array(spread).reshape(value.shape[0], len(noise), -1).mean(axis=1)
        sigma[:, rows] = np.sqrt(each * float(np.sum(window**2)) / size)
    return ChannelReadings(frequency_hz, value, sigma)


def _around_zero(response: Float, early_s: float, late_s: float, rate: float) -> Float:
    """What a window can reach: from `early_s` before the sweep's start, which stands at the end, to `late_s` behind."""
    before, after = int(early_s * rate) + 2, int(late_s * rate) + 2
    return np.concatenate([response[-before:], response[:after]])


def _window(before_s: float, after_s: float, rate: float) -> tuple[Float, int]:
    """(m,) window, and the sample, negative, at which it starts."""
    early, late = max(8, int(before_s * rate)), max(16, int(after_s * rate))
    t = np.arange(-early, late + 1)
    rise = np.clip((t + early) / (early * FLAT), 0.0, 1.0)
    fall = np.clip((late - t) / (late * (1.0 - FLAT)), 0.0, 1.0)
    return np.asarray(np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2), -early


def _density(piece: Float, rate: float) -> tuple[Float, Float]:
    """Frequencies, and the power of each channel's noise: variance of a sample, were it white with this level."""
    size = min(len(piece), max(256, int(0.1 * rate)))
    taper = np.hanning(size + 2)[1:-1]
    starts = range(0, len(piece) - size + 1, max(1, size // 2))
    lines = [np.abs(np.fft.rfft(piece[s : s + size] * taper[:, None], axis=0)) ** 2 for s in starts]
    return np.asarray(np.fft.rfftfreq(size, 1.0 / rate), dtype=float), np.asarray(
        np.mean(lines, axis=0) / float(np.sum(taper**2))
    )


def _quick(count: int) -> int:
    """A length at or above it that a FFT likes."""
    from scipy.fft import next_fast_len

    return int(next_fast_len(count, real=True))
