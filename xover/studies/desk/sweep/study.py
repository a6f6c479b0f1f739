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
from xover.recordings.sweep import SweepPlan, checked, pink_noise, played, softly, tone, tone_hz
from xover.rules.recordings import DIVIDER_FOOT_OHM, DIVIDER_OHM, LINE_VOLT, PURPOSES, TONE_S

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
    plan : of the sweep; band and level hold for tone and noise too. volt_at_most : rms at the amplifier's terminals
        while the tone sounds, and so while the sweep does. tone_hz : of the tone that sets it. wav : the file.
    """

    purpose: Purpose
    signal: SignalKind
    plan: SweepPlan
    channel: str
    volt_at_most: float
    tone_hz: float
    length_s: float
    wav: bytes

    @property
    def divider_ohm(self) -> tuple[float, float] | None:
        """Upper and lower resistor before each input; None where a line input takes the amplifier's volts."""
        if self.volt_at_most <= LINE_VOLT:
            return None
        fits = (r for r in DIVIDER_FOOT_OHM if self.volt_at_most * r / (r + DIVIDER_OHM) <= LINE_VOLT / 2)
        return DIVIDER_OHM, next(fits, DIVIDER_FOOT_OHM[-1])

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
            "divider_ohm": self.divider_ohm,
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
    volts: float | None = None,
) -> SignalFile:
    """Make the file in memory; `volts` are of the card alone.

    Raises OptionError: a band or rate that cannot be played, or a band or volts that harm a tweeter.
    """
    preset = PURPOSES[purpose]
    volt = preset.volt if volts is None else volts
    low, high = band_hz or (preset.low_hz, min(preset.high_hz, 0.48 * rate_hz))
    if purpose is Purpose.TWEETER and low < preset.low_hz:
        raise OptionError(
            f"{named('band_hz')} starts at {low:g} Hz, which can break a tweeter",
            f"start at {preset.low_hz:g} Hz or above; its resonance lies higher",
        )
    if purpose is Purpose.TWEETER and volt > preset.volt:
        raise OptionError(
            f"{named('volts')} are {volt:g} V, which can break a tweeter", f"give {preset.volt:g} V or less"
        )
    try:
        plan = checked(SweepPlan(rate_hz, low, high, seconds, level_db))
    except InputError as error:
        raise OptionError(error.problem, error.remedy) from None
    wave = _wave(signal, plan)
    both = np.stack([wave * (channel != "right"), wave * (channel != "left")], axis=1)
    comment = plan.text if signal is SignalKind.SWEEP else ""
    return SignalFile(
        purpose, signal, plan, channel, volt, tone_hz(plan), len(wave) / rate_hz, wav_bytes(both, rate_hz, 24, comment)
    )


def _wave(signal: SignalKind, plan: SweepPlan) -> Float:
    if signal is SignalKind.SWEEP:
        return played(plan)
    if signal is SignalKind.TONE:
        return tone(plan, TONE_S)
    return softly(pink_noise(plan, NOISE_S, NOISE_PERIOD_S, NOISE_SEED), plan.rate_hz)
