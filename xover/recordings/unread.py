"""Why a recording cannot be read by the sweep that is said to be in it: cut, another sweep, another speed, noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from xover.curve import Float
from xover.recordings.faults import Found, RecordingFault
from xover.recordings.place import pair
from xover.recordings.sweep import MARKER_S, SweepPlan, marker_band, sweep

_FRAME_S: Final = 0.05
_STANDS_OUT: Final = 4.0
_STANDS_FAR_OUT: Final = 50.0
WRONG_RATES: Final = (44_100 / 48_000, 48_000 / 44_100, 0.5, 2.0)
_ALIKE: Final = 0.06
_MARKER_SHOWS: Final = 30.0
"""A marker that should stand this far above the noise and is not there was not played: `SURE` times the highest of so
many samples of noise is 20."""


def why_unread(samples: Float, rate_hz: int, plan: SweepPlan) -> Found:
    """What is wrong with (n,) samples in which the pair of markers is not."""
    size = int(_FRAME_S * rate_hz)
    if len(samples) < size:
        return Found(RecordingFault.CUT_SWEEP, 0, np.inf)
    nominal = rate_hz / plan.rate_hz
    speeds = {w: _pressed(samples, sweep(plan, nominal * w), rate_hz, plan) for w in (1.0, *WRONG_RATES)}
    fits = max(speeds, key=lambda w: speeds[w].sharp)
    if fits != 1.0 and speeds[fits].above > _STANDS_OUT and pair(samples, plan, nominal * fits) is not None:
        return Found(RecordingFault.WRONG_RATE, 0, rate_hz * fits)
    here = speeds[1.0]
    doubles, own = _doubling_s(*tones(samples, rate_hz)), plan.growth_s * np.log(2.0)
    alike = doubles is None or abs(doubles / own - 1.0) < _ALIKE
    if fits == 1.0 and here.above > (_STANDS_OUT if alike else _STANDS_FAR_OUT):
        return _cut_at(here, len(samples), rate_hz, plan)
    if doubles is not None and not alike:
        return Found(RecordingFault.OTHER_SWEEP, 0, doubles)
    level = np.sqrt(np.mean(samples[: len(samples) // size * size].reshape(-1, size) ** 2, axis=1))
    for end, missing in ((-1, np.inf), (0, -np.inf)):
        if level[end] > 10.0 * level.min():
            return Found(RecordingFault.CUT_SWEEP, 0, missing)
    return Found(RecordingFault.HIDDEN, 0, 0.0)


def _cut_at(here: _Pressed, count: int, rate_hz: int, plan: SweepPlan) -> Found:
    """What is missing around a sweep that is there."""
    begin, end = here.at / rate_hz, here.at / rate_hz + plan.sweep_s
    length = count / rate_hz
    if begin < 0.0 or end > length:
        return Found(RecordingFault.CUT_SWEEP, 0, min(begin, 0.0) or end - length)
    before = plan.start_s - plan.first_marker_s - begin
    after = end + plan.last_marker_s + MARKER_S - plan.end_s - length
    if before > 0.0 or after > 0.0:
        late = before > 0.0
        return Found(RecordingFault.STARTS_LATE if late else RecordingFault.ENDS_EARLY, 0, before if late else after)
    low, high = marker_band(plan)
    # The sweep gathers its band for so much longer than the marker does.
    shows = here.above_noise * np.sqrt(MARKER_S / (plan.growth_s * np.log(high / low))) > _MARKER_SHOWS
    return Found(RecordingFault.OTHER_SWEEP if shows else RecordingFault.HIDDEN, 0, 0.0)


def is_other(samples: Float, rate_hz: int, start: float, plan: SweepPlan) -> bool:
    """Whether what sounds in (n,) samples between the markers is not the plan's sweep; `start` is its sample."""
    times, pitch = tones(samples, rate_hz)
    t = times - start / rate_hz
    wanted = plan.low_hz * np.exp(t / plan.growth_s)
    # Bass may be heard by its harmonics alone.
    inside = (t > 0.0) & (t < plan.sweep_s) & (wanted > 200.0) & (wanted < 0.45 * rate_hz)
    off = np.abs(np.log2(pitch[inside] / wanted[inside])) > 0.12
    rises = _doubling_s(times[inside], pitch[inside]) is not None
    return rises and bool(off.sum() >= 5 and off.mean() > 0.5)


def tones(samples: Float, rate_hz: int) -> tuple[Float, Float]:
    """(k,) middles in s, and (k,) Hz, of the short frames in which one tone rules."""
    size = int(_FRAME_S * rate_hz)
    count = len(samples) // size
    lines = np.fft.rfftfreq(size, 1.0 / rate_hz)
    taper = np.hanning(size)
    times, pitch, power = [], [], []
    for i in range(count):
        lined = np.abs(np.fft.rfft(samples[i * size : (i + 1) * size] * taper)) ** 2
        lined[lines < 80.0] = 0.0
        top = float(lines[int(np.argmax(lined))])
        whole = float(lined.sum())
        near = np.abs(lines - top) < max(0.06 * top, 60.0)
        if whole > 0.0 and float(lined[near].sum()) > 0.5 * whole:
            times.append((i + 0.5) * size / rate_hz)
            pitch.append(top)
            power.append(whole)
    loud = np.array(power) > 1e-5 * max(power, default=1.0)
    return np.array(times)[loud], np.array(pitch)[loud]


@dataclass(frozen=True)
class _Pressed:
    """A recording divided by a sweep: sample at which it starts, negative before the file; how far its pulse stands out
    of the highest, and of the rms, elsewhere; and how much of all it is."""

    at: int
    above: float
    above_noise: float
    sharp: float


def _pressed(samples: Float, wave: Float, rate_hz: int, plan: SweepPlan) -> _Pressed:
    length = 1 << (len(samples) + len(wave) - 1).bit_length()
    spectrum = np.fft.rfft(wave, length)
    lines = np.fft.rfftfreq(length, 1.0 / rate_hz)
    low, high = plan.usable_hz
    power = np.abs(spectrum) ** 2
    inside = (lines >= low) & (lines <= min(high, 0.45 * rate_hz))
    # Between a matched filter and a division: of a sweep that is cut, the octaves that are missing hold noise alone.
    turned = np.where(inside, np.conj(spectrum) / np.sqrt(np.maximum(power, 1e-3 * np.median(power[inside]))), 0.0)
    size = np.abs(np.fft.irfft(np.fft.rfft(samples, length) * turned, length))
    top = int(np.argmax(size))
    peak, around = float(size[top]), int(0.25 * rate_hz)
    rest = np.roll(size, around - top)[2 * around :]
    return _Pressed(
        top if top < len(samples) else top - length,
        peak / max(float(rest.max()), 1e-30),
        peak / max(float(np.sqrt(np.mean(rest**2))), 1e-30),
        peak**2 / max(float(np.sum(size**2)), 1e-30),
    )


def _doubling_s(times: Float, pitch: Float) -> float | None:
    """Seconds in which a rising tone doubles; None where no such tone rules."""
    octave = np.log2(pitch)
    rises = []
    for apart in (2, 3, 4):
        span = times[apart:] - times[:-apart]
        rises.append(((octave[apart:] - octave[:-apart]) / span)[span < 6.0 * _FRAME_S])
    slopes = np.concatenate(rises)
    slopes = slopes[slopes > 0.02]
    if len(slopes) < 8:
        return None
    slope = float(np.median(slopes))
    line = octave - slope * times
    # Most of all frames lie on one such line, though its place is not known yet.
    near = max(int(np.sum(np.abs(line - middle) < 0.15)) for middle in line)
    return 1.0 / slope if near >= max(6, 0.4 * len(line)) else None
