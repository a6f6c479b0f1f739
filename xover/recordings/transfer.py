"""What a recording says of the sweep in it: each channel against the file that was played, over frequency.

A channel is divided by the sweep; what comes out is an impulse response, with the harmonics as responses of their own
that lie earlier (`SweepPlan.lead_s`). It is cut out of its surroundings by a window as long as the frequency needs, a
longer one for lower octaves: so distortion falls away, and noise with it.

The ratio of two channels that one recorder took is free of player, amplifier and clock: S. Mueller, P. Massarani,
Transfer-Function Measurement with Sweeps, J. Audio Eng. Soc. 49 (2001); from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from xover.curve import Complex, Float
from xover.recordings.sweep import MARKER_S, QUIET_S, TAIL_S, SweepPlan, sweep

CYCLES: Final = 150.0
"""Length of the window in periods: a resonance of Q 8 has died by 150 dB within 50."""
LONGEST_S: Final = TAIL_S - 0.05
FLAT: Final = 0.7
"""Share of the window's tail that is flat before it falls."""
HARMONICS: Final = (2, 3, 4, 5)
_CLEAR: Final = 3.5
"""A harmonic below so many standard deviations of its noise is not told."""
FEWEST_PERIODS: Final = 4.0
"""In half the window that cuts a harmonic out."""
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


@dataclass(frozen=True, eq=False)
class Deconvolved:
    """Channels divided by the sweep: impulse responses, with what is needed to read them.

    Attributes
    ----------
    rate_hz : samples of the recording in a second of the player's clock. zero : sample of every response at which the
        sweep starts. responses : (channels, n). lines_hz, power : of the sweep. noise : of each silence, its
        frequencies and the power of each channel. block : (m, channels)
        recorded, hum taken out; the sweep starts at its sample block_start. silences : each (k, channels).
    """

    plan: SweepPlan
    rate_hz: float
    zero: int
    responses: Float
    lines_hz: Float
    power: Float
    noise: tuple[tuple[Float, Float], ...]
    block: Float
    block_start: float
    silences: list[Float]

    def mixed(self, weights: Sequence[float]) -> Deconvolved:
        """One channel made of all."""
        w = np.array(weights)
        return replace(
            self,
            responses=(w @ self.responses)[None, :],
            noise=tuple((f, (d @ w**2)[:, None]) for f, d in self.noise),
            block=(self.block @ w)[:, None],
            silences=[(piece @ w)[:, None] for piece in self.silences],
        )

    def around(self, row: int, half_s: float, frequency_hz: Float) -> Complex:
        """(k,) spectrum of what lies so near to the highest swing of a response."""
        size = int(half_s * self.rate_hz)
        top = int(np.argmax(np.abs(self.responses[row])))
        first = min(max(top, size), self.responses.shape[1] - size - 1) - self.zero - size
        return np.asarray(self.through(np.hanning(2 * size + 3)[1:-1], first, frequency_hz)[0][row])

    def through(self, window: Float, first: int, frequency_hz: Float) -> tuple[Complex, Float]:
        """(channels, k) spectrum of what a window lets through, and (channels, k) standard deviation by noise.

        Parameters
        ----------
        window : (m,). first : its first sample, from the sweep's start. frequency_hz : (k,).
        """
        cut = self.responses[:, self.zero + first : self.zero + first + len(window)] * window
        # In rows of samples, so that few exponentials are worked out: e^(j w (a + b)) = e^(j w a) e^(j w b).
        width = int(np.ceil(np.sqrt(len(window))))
        rows = np.pad(cut, ((0, 0), (0, -len(window) % width))).reshape(len(cut), -1, width)
        turn = -2j * np.pi / self.rate_hz * np.asarray(frequency_hz)
        within = rows @ np.exp(np.outer(np.arange(width), turn))
        value = np.sum(within * np.exp(np.outer(first + width * np.arange(rows.shape[1]), turn)), axis=1)
        return value, np.array([self.noise_of(row, window, frequency_hz) for row in range(len(value))])

    def noise_of(self, row: int, window: Float, frequency_hz: Float) -> Float:
        """(k,) standard deviation by noise of what a window lets through of one channel."""
        power = np.mean([np.interp(frequency_hz, f, d[:, row]) for f, d in self.noise], axis=0)
        size = np.interp(frequency_hz, self.lines_hz, self.power)
        return np.asarray(np.sqrt(power * float(np.sum(window**2)) / size))


def deconvolve(samples: Float, start: float, stretch: float, plan: SweepPlan, quiet: list[Float]) -> Deconvolved:
    """Divide every channel by the sweep.

    Parameters
    ----------
    samples : (n, channels), hum taken out. start : sample, with its share, at which the sweep starts.
    stretch : samples for one that was played. quiet : silences, each (m, channels).
    """
    rate = plan.rate_hz * stretch
    wave = sweep(plan, stretch)
    before = min(int(0.5 * rate), int(start))
    begin = int(start) - before
    block = samples[begin : begin + before + len(wave) + int(TAIL_S * rate)]
    # What is earlier than the sweep's start stands at the end: the harmonics among it. The circle is so much longer
    # than the recording that they meet nothing there.
    early, late = int(1.2 * plan.lead_s(HARMONICS[-1]) * rate), int(TAIL_S * rate)
    length = _quick(len(block) + early)
    spectrum = np.fft.rfft(wave, length)
    power = np.asarray(np.abs(spectrum) ** 2, dtype=float)
    lines = np.fft.rfftfreq(length, 1.0 / rate)
    low, high = plan.usable_hz
    floor = 1e-3 * power[(lines >= low) & (lines <= high)].min()
    inverse = np.conj(spectrum) / (power + floor)
    inverse *= np.exp(2j * np.pi * lines / rate * (start - begin))
    responses = []
    for channel in block.T:
        whole = np.fft.irfft(np.fft.rfft(channel, length) * inverse, length)
        responses.append(np.concatenate([whole[-early:], whole[:late]]))
    noise = tuple(_density(piece, rate) for piece in quiet)
    table, hz = np.array(responses), np.asarray(lines, dtype=float)
    return Deconvolved(plan, rate, early, table, hz, power, noise, samples, start, quiet)


def read_channels(found: Deconvolved, frequency_hz: Float) -> ChannelReadings:
    """Every channel over frequency, by windows as long as each octave needs.

    Parameters
    ----------
    frequency_hz : (k,) rising, within the sweep.
    """
    early = 0.45 * found.plan.lead_s(2)
    value = np.empty((len(found.responses), len(frequency_hz)), dtype=complex)
    sigma = np.empty(value.shape)
    octave = np.floor(np.log2(frequency_hz / frequency_hz[0])).astype(int)
    for k in np.unique(octave):
        rows = octave == k
        reach = CYCLES / float(frequency_hz[rows][0])
        window, first = _window(min(early, reach), min(LONGEST_S, reach), found.rate_hz)
        value[:, rows], sigma[:, rows] = found.through(window, first, frequency_hz[rows])
    return ChannelReadings(frequency_hz, value, sigma)


def harmonics(found: Deconvolved, channel: int, frequency_hz: Float) -> Float:
    """(orders, k) level of each harmonic beside the fundamental, dB, at the frequency that was played.

    Orders are those of `HARMONICS`; NaN where the harmonic lies beyond the sweep, the window holds few of its periods,
    or noise hides it. A harmonic's own response lies `lead_s` earlier (Novak, Lotton, Simon 2015); half of the way to
    its nearer neighbour is cut out. The fundamental is the mean power of a third of an octave: a notch is the room's.
    """
    plan, top = found.plan, found.plan.usable_hz[1]
    out = np.full((len(HARMONICS) + 1, len(frequency_hz)), np.nan)
    for row, n in enumerate((1, *HARMONICS)):
        reach = 0.45 * (plan.lead_s(n + 1) - plan.lead_s(n))
        window, first = _window(reach, min(LONGEST_S, reach), found.rate_hz)
        lines = np.asarray(np.fft.rfftfreq(4 * len(window), 1.0 / found.rate_hz), dtype=float)
        held = (n * frequency_hz <= top) & (n * frequency_hz * reach >= FEWEST_PERIODS)
        at = found.zero + first - (round(plan.lead_s(n) * found.rate_hz) if n > 1 else 0)
        # Lines four times as close as the window resolves: between them a straight line is near enough.
        cut = found.responses[channel, at : at + len(window)] * window
        size = np.asarray(np.abs(np.fft.rfft(cut, 4 * len(window))), dtype=float)
        size = np.interp(n * frequency_hz, lines, size) if n > 1 else _third_octaves(size, lines, frequency_hz)
        clear = size > _CLEAR * found.noise_of(channel, window, n * frequency_hz)
        out[row, held & clear] = 20.0 * np.log10(np.maximum(size[held & clear], 1e-12))
    return np.asarray(out[1:] - out[0])


def _third_octaves(size: Float, lines: Float, frequency_hz: Float) -> Float:
    """(k,) rms of what lies within a sixth of an octave on both sides."""
    whole = np.concatenate([[0.0], np.cumsum(size**2)])
    edge = 2.0 ** (1.0 / 6.0)
    first = np.searchsorted(lines, frequency_hz / edge)
    last = np.maximum(np.searchsorted(lines, frequency_hz * edge), first + 1)
    return np.asarray(np.sqrt((whole[last] - whole[first]) / (last - first)))


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
