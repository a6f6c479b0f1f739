"""The file that is played: which band, how long, how loud."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np

from xover.curve import Float
from xover.errors import InputError, OptionError, named
from xover.files.wav import wav_bytes
from xover.readable import Readable
from xover.recordings.sweep import SweepPlan, checked, pink_noise, played
from xover.rules.recordings import PURPOSES, TONE_S

NOISE_S: Final = 40.0
NOISE_PERIOD_S: Final = 2.0
NOISE_SEED: Final = 2
"""Phones read noise that repeats itself over whole periods without scatter."""


class Purpose(StrEnum):
    """What is measured."""

    WOOFER = "woofer"
    TWEETER = "tweeter"
    SPEAKER = "speaker"
    MICROPHONE = "microphone"


class SignalKind(StrEnum):
    """What is played."""

    SWEEP = "sweep"
    TONE = "tone"
    NOISE = "noise"


@dataclass(frozen=True, eq=False, repr=False)
class SignalFile(Readable):
    """A signal and its file.

    Attributes
    ----------
    plan : of the sweep; band and level hold for tone and noise too. volt_at_most : rms at the terminals while the tone
        sounds. tone_hz : of the tone that sets it. wav : the file.
    """

    purpose: Purpose
    signal: SignalKind
    plan: SweepPlan
    channel: str
    volt_at_most: float
    tone_hz: float
    length_s: float
    wav: bytes

    def plain(self) -> dict[str, Any]:
        """Figures; SI units."""
        return {
            "for": self.purpose.value,
            "signal": self.signal.value,
            "low_hz": self.plan.low_hz,
            "high_hz": self.plan.high_hz,
            "sweep_s": self.plan.sweep_s,
            "level_db": self.plan.level_db,
            "rate_hz": self.plan.rate_hz,
            "channel": self.channel,
            "volt_at_most": self.volt_at_most,
            "tone_hz": self.tone_hz,
            "length_s": self.length_s,
        }


def make_signal(
    purpose: Purpose,
    signal: SignalKind,
    band_hz: tuple[float, float] | None,
    seconds: float,
    level_db: float,
    rate_hz: int,
    channel: str,
) -> SignalFile:
    """Make the file in memory. Raises OptionError: a band or rate that cannot be played, or that harms a tweeter."""
    preset = PURPOSES[purpose]
    low, high = band_hz or (preset.low_hz, min(preset.high_hz, 0.48 * rate_hz))
    if purpose is Purpose.TWEETER and low < preset.low_hz:
        raise OptionError(
            f"{named('band_hz')} starts at {low:g} Hz, which can break a tweeter",
            f"start at {preset.low_hz:g} Hz or above; its resonance lies higher",
        )
    try:
        plan = checked(SweepPlan(rate_hz, low, high, seconds, level_db))
    except InputError as error:
        raise OptionError(error.problem, error.remedy) from None
    tone = float(np.clip(1000.0, 2.0 * low, high / 2.0)) if purpose is not Purpose.WOOFER else min(200.0, high / 2.0)
    wave = _wave(signal, plan, tone)
    both = np.stack([wave * (channel != "right"), wave * (channel != "left")], axis=1)
    comment = plan.text if signal is SignalKind.SWEEP else ""
    return SignalFile(
        purpose, signal, plan, channel, preset.volt, tone, len(wave) / rate_hz, wav_bytes(both, rate_hz, 24, comment)
    )


def _wave(signal: SignalKind, plan: SweepPlan, tone_hz: float) -> Float:
    if signal is SignalKind.SWEEP:
        return played(plan)
    if signal is SignalKind.NOISE:
        return pink_noise(plan, NOISE_S, NOISE_PERIOD_S, NOISE_SEED)
    t = np.arange(int(TONE_S * plan.rate_hz)) / plan.rate_hz
    ramp = np.clip(np.minimum(t, TONE_S - t) / 0.05, 0.0, 1.0)
    return np.asarray(10.0 ** (plan.level_db / 20.0) * ramp * np.sin(2.0 * np.pi * tone_hz * t))
