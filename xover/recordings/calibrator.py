"""The tone of a level calibrator in a recording: what the microphone's channel reads for a known pressure.

IEC 60942: 94 dB re 20 uPa at 1 kHz; some give 114 dB, or 250 Hz. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from xover.errors import InputError, OptionError, named
from xover.files.wav import read_wav
from xover.rules.recordings import FULL_SCALE

BLOCK_S: Final = 0.25
FEWEST: Final = 4
STEADY_DB: Final = 0.2
REST_DB: Final = -20.0
BAND_HZ: Final = (200.0, 1300.0)
_REMEDY: Final = "record 5 s of the calibrator pressed onto the microphone, all gains left as they are"


@dataclass(frozen=True)
class Tone:
    """Its frequency, and rms re full scale."""

    hz: float
    rms: float


def read_tone(path: Path | str, channel: int) -> Tone:
    """Read it; channels from 1.

    Raises InputError: clipped, or a second of it is not steady and clear. OptionError: no such channel.
    """
    recording = read_wav(path)
    if channel > recording.channels:
        raise OptionError(
            f"{named('microphone')} is channel {channel} of {recording.channels} in {Path(path).name}",
            "record the calibrator by the same channel",
        )
    wave, rate = recording.samples[:, channel - 1].astype(float), recording.rate_hz
    if np.abs(wave).max() >= FULL_SCALE:
        raise InputError("clips", "lower the recording level, for the calibrator and the sweep alike", path)
    size = int(BLOCK_S * rate)
    blocks = wave[: len(wave) // size * size].reshape(-1, size)
    blocks = blocks - blocks.mean(axis=1, keepdims=True)
    power = np.mean(blocks**2, axis=1)
    loud = power > 0.5 * power.max(initial=0.0)
    taper = np.hanning(size + 2)[1:-1]
    lines = np.mean(np.abs(np.fft.rfft(blocks[loud] * taper, axis=1)), axis=0) if loud.any() else np.zeros(size)
    step = rate / size
    low = int(BAND_HZ[0] / step)
    top = low + int(np.argmax(lines[low : int(BAND_HZ[1] / step)]))
    if lines[top] <= 0.0:
        raise InputError("holds no tone", _REMEDY, path)
    a, b, c = np.log(np.maximum(lines[top - 1 : top + 2], 1e-300))
    hz = step * (top + 0.5 * (a - c) / (a - 2.0 * b + c))
    turn = np.exp(-2j * np.pi * hz / rate * np.arange(size))
    rms = np.sqrt(2.0) * np.abs(blocks[loud] @ (taper * turn)) / taper.sum()
    middle = float(np.median(rms))
    steady = np.abs(20.0 * np.log10(np.maximum(rms, 1e-12) / middle)) < STEADY_DB
    # More is left where it is not alone, less than nothing where it does not last through the block.
    rest = np.abs(power[loud] - rms**2)
    clear = rest < 10.0 ** (REST_DB / 10.0) * rms**2
    if (steady & clear).sum() < max(FEWEST, 0.6 * len(rms)):
        raise InputError("holds no steady, clear tone of a second or more", _REMEDY, path)
    return Tone(float(hz), middle)
