"""A gain that does not stand still: the two markers beside each other, and beside what the sweep says of them.

A marker is short and comes out of silence; the sweep passes the same band slowly. Through what is linear both tell one
response, so the sweep's foretells the markers: how strong they are and how they die away. A compressor still has its
gain up when a marker starts and lets it up again after it, and a gate cuts off how it dies away.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from xover.curve import Float
from xover.recordings.faults import Found, RecordingFault
from xover.recordings.place import SweepPlace
from xover.recordings.sweep import MARKER_S, QUIET_S, SweepPlan, marker, marker_band
from xover.recordings.transfer import Deconvolved
from xover.rules.recordings import GAIN_DB, MARKER_DB, TAIL_DB

_DIED: Final = 10.0**-4.5
"""Of a marker's power: what is less is what its filters leave."""
_EARLY_S: Final = 0.02
_LATE_S: Final = 0.3
_BODY_S: Final = MARKER_S + 0.01
_WAY_S: Final = 0.03
"""Sound is on its way no longer than this."""
_TAIL_S: Final = np.arange(MARKER_S + 0.03, _LATE_S - _WAY_S - 0.01, 0.02)
"""Starts of slices of what follows a marker."""
_ABOVE_NOISE: Final = 10.0
"""Powers that stand less far above the noise are not asked."""


def gain_faults(samples: Float, place: SweepPlace, plan: SweepPlan, found: Deconvolved) -> list[Found]:
    """Gains that move or follow the level, of (n, channels) samples."""
    out = []
    early = int(_EARLY_S * found.rate_hz)
    size = early + int(_LATE_S * found.rate_hz)
    wave = marker(plan, place.stretch)
    spectrum = np.fft.rfft(wave, 2 * size)
    first, last, silent = (
        samples[int(place.sample(plan, t)) - early :][:size]
        for t in (plan.first_marker_s, plan.last_marker_s, plan.start_s - QUIET_S + 0.35)
    )
    if min(len(first), len(last), len(silent)) < size:
        return []
    for channel, response in enumerate(found.responses):
        cut = response[found.zero - early : found.zero + size - early]
        foretold = np.fft.irfft(np.fft.rfft(cut, 2 * size) * spectrum)[:size]
        at = int(np.argmax(np.abs(cut[: early + int(_WAY_S * found.rate_hz)])))
        body = slice(max(0, at - early // 4), at + int(_BODY_S * found.rate_hz))
        starts = at + (_TAIL_S * found.rate_hz).astype(int)
        waves = [_in_band(w, found, plan) for w in (foretold, first[:, channel], last[:, channel], silent[:, channel])]
        told, a, b, noise = (float(np.mean(w[body] ** 2)) for w in waves)
        if min(a, b, told) < _ABOVE_NOISE * noise:
            continue
        by = 10.0 * np.log10(np.maximum(np.array([a, b]) - noise, 1e-30) / told)
        if abs(by[1] - by[0]) > GAIN_DB:
            out.append(Found(RecordingFault.MOVING_GAIN, channel + 1, float(by[1] - by[0])))
            continue
        late, one, other, _ = (np.add.reduceat(w**2, starts)[:-1] / np.diff(starts) for w in waves)
        shows = late > np.maximum(_ABOVE_NOISE * noise, told * _DIED)
        dies = 10.0 * np.log10(np.maximum(0.5 * (one + other), 1e-30) / (late + noise))[shows]
        most = float(max(dies, key=abs, default=0.0))
        if abs(by.mean()) > MARKER_DB or abs(most) > TAIL_DB:
            out.append(Found(RecordingFault.GAIN_BY_LEVEL, channel + 1, float(max(by.mean(), most, key=abs))))
    return out


def _in_band(wave: Float, found: Deconvolved, plan: SweepPlan) -> Float:
    """What lies in the marker's band."""
    lines = np.fft.rfftfreq(len(wave), 1.0 / found.rate_hz)
    low, high = marker_band(plan)
    return np.asarray(np.fft.irfft(np.fft.rfft(wave) * ((lines >= low) & (lines <= high)), len(wave)))
