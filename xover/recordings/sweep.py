"""The signal that is played: a synchronized exponential sweep between two markers, and what is in its file besides.

    x(t) = sin(2 pi f1 L exp(t/L)),   L = T / ln(f2/f1),   f1 L a whole number

A. Novak, P. Lotton, L. Simon, Synchronized Swept-Sine, J. Audio Eng. Soc. 63 (2015): with f1 L whole, every harmonic n
is the sweep itself, L ln n earlier, with its phase right. Its spectrum falls as 1/sqrt(f).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from xover.curve import Complex, Float
from xover.errors import InputError
from xover.rules.recordings import PURPOSES, TONE_HZ, TWEETER_TONE_HZ

LEAD_S: Final = 0.5
"""Silence at both ends of the file: sound devices swallow their first tenths of a second."""
QUIET_S: Final = 0.75
"""Silence between a marker and the sweep: hum and noise are read there."""
TAIL_S: Final = 1.25
"""Silence after the sweep, in which the speaker rings out."""
MARKER_S: Final = 0.05
RAMP_S: Final = 0.05
FADE_OCTAVES: Final = 1.0 / 6.0
"""Within this much of its ends the sweep rises and falls, so that it does not click."""
MOST_SAMPLES: Final = 6_000_000
"""In a sweep: a minute at 96 kHz; more costs memory and tells nothing more."""
_MARK: Final = "xover sweep"
_WORD: Final = re.compile(r"([a-z_]{1,20})=([0-9.eE+-]{1,24})")


@dataclass(frozen=True)
class SweepPlan:
    """All that the file of a sweep is made of.

    Attributes
    ----------
    rate_hz : samples a second. low_hz, high_hz : ends of the sweep. length_s : asked for; the true one, `sweep_s`, is
        the
        nearest that makes it synchronized. level_db : peak re full scale, 0 or below.
    """

    rate_hz: int
    low_hz: float
    high_hz: float
    length_s: float
    level_db: float

    @property
    def growth_s(self) -> float:
        """L, seconds: the sweep rises by a factor e in this time."""
        return max(1, round(self.low_hz * self.length_s / math.log(self.high_hz / self.low_hz))) / self.low_hz

    @property
    def sweep_s(self) -> float:
        """Its true length."""
        return self.growth_s * math.log(self.high_hz / self.low_hz)

    @property
    def first_marker_s(self) -> float:
        """Start of the first marker."""
        return LEAD_S

    @property
    def start_s(self) -> float:
        """Start of the sweep in the file."""
        return LEAD_S + MARKER_S + QUIET_S

    @property
    def end_s(self) -> float:
        """Its end."""
        return self.start_s + self.sweep_s

    @property
    def last_marker_s(self) -> float:
        """Start of the second marker."""
        return self.end_s + TAIL_S

    @property
    def file_s(self) -> float:
        """Length of the whole."""
        return self.last_marker_s + MARKER_S + QUIET_S + LEAD_S

    @property
    def usable_hz(self) -> tuple[float, float]:
        """The band in which the sweep has its full level."""
        return self.low_hz * 2.0**FADE_OCTAVES, self.high_hz * 2.0**-FADE_OCTAVES

    def lead_s(self, harmonic: int) -> float:
        """How much earlier than the linear part harmonic n comes out: L ln n."""
        return self.growth_s * math.log(harmonic)

    @property
    def text(self) -> str:
        """The plan as the comment in its file."""
        return f"{_MARK} " + " ".join(f"{f.name}={getattr(self, f.name):.12g}" for f in fields(self))


def plan_of(text: str) -> SweepPlan | None:
    """The plan that a file's comment tells; None where it tells none that could be played."""
    if not text.startswith(_MARK) or len(text) > 300:
        return None
    told = dict(_WORD.findall(text))
    try:
        plan = SweepPlan(int(told["rate_hz"]), *(float(told[f.name]) for f in fields(SweepPlan)[1:]))
        checked(plan)
    except (KeyError, ValueError, InputError):
        return None
    return plan


def checked(plan: SweepPlan) -> SweepPlan:
    """The same plan. Raises InputError: it cannot be played."""
    values = [float(getattr(plan, f.name)) for f in fields(plan)]
    if not all(map(math.isfinite, values)) or not 8000 <= plan.rate_hz <= 384_000:
        raise InputError(f"a sweep at {plan.rate_hz:g} samples a second", "give 44100, 48000, 96000 or 192000")
    if not 1.0 <= plan.low_hz < plan.high_hz / 4.0 or plan.high_hz > 0.49 * plan.rate_hz:
        raise InputError(
            f"a sweep from {plan.low_hz:g} to {plan.high_hz:g} Hz at {plan.rate_hz} samples a second",
            f"give two octaves or more between 1 Hz and {0.49 * plan.rate_hz:.0f} Hz",
        )
    if not 0.5 <= plan.length_s <= 120.0:
        raise InputError(f"a sweep of {plan.length_s:g} s", "give 0.5 to 120 s")
    if plan.length_s * plan.rate_hz > MOST_SAMPLES:
        raise InputError(
            f"a sweep of {plan.length_s:g} s at {plan.rate_hz} samples a second", "give a shorter one, or fewer samples"
        )
    if not -80.0 <= plan.level_db <= 0.0:
        raise InputError(f"a level of {plan.level_db:g} dB re full scale", "give -80 to 0 dB")
    return plan


def sweep(plan: SweepPlan, stretch: float = 1.0) -> Float:
    """(n,) the sweep alone, peak 1, with its fades.

    Parameters
    ----------
    stretch : samples that a recorder takes where the player takes one; 1 is the sweep as it is played.
    """
    rate = plan.rate_hz * stretch
    t = np.arange(math.ceil(plan.sweep_s * rate)) / rate
    wave = np.sin(2.0 * np.pi * plan.low_hz * plan.growth_s * np.exp(t / plan.growth_s))
    fade = plan.growth_s * math.log(2.0) * FADE_OCTAVES
    return np.asarray(wave * _rise(t / fade) * _rise((plan.sweep_s - t) / fade))


def marker_band(plan: SweepPlan) -> tuple[float, float]:
    """Hz from which and to which a marker runs."""
    low, high = plan.usable_hz
    return max(low, high / 16.0), high


def marker(plan: SweepPlan, stretch: float = 1.0) -> Float:
    """(n,) a short chirp over the upper octaves of the sweep, peak 1: its place can be read to a share of a sample."""
    rate = plan.rate_hz * stretch
    t = np.arange(math.ceil(MARKER_S * rate)) / rate
    low, high = marker_band(plan)
    k = math.log(high / low) / MARKER_S
    wave = np.sin(2.0 * np.pi * low * (np.exp(k * t) - 1.0) / k)
    return np.asarray(wave * _rise(t / (0.2 * MARKER_S)) * _rise((MARKER_S - t) / (0.2 * MARKER_S)))


def played(plan: SweepPlan) -> Float:
    """(n,) the whole file, full scale 1: silence, marker, silence, sweep, silence, marker, silence."""
    out = np.zeros(math.ceil(plan.file_s * plan.rate_hz))
    for start_s, piece in (
        (plan.first_marker_s, marker(plan)),
        (plan.start_s, sweep(plan)),
        (plan.last_marker_s, marker(plan)),
    ):
        at = round(start_s * plan.rate_hz)
        out[at : at + len(piece)] += piece
    return np.asarray(out * 10.0 ** (plan.level_db / 20.0))


def tone_hz(plan: SweepPlan) -> float:
    """Of the tone that sets a sweep's level: what a cheap meter reads, and not below what a tweeter may be given."""
    return TWEETER_TONE_HZ if plan.low_hz >= PURPOSES["tweeter"].low_hz else TONE_HZ


def tone(plan: SweepPlan, seconds: float) -> Float:
    """(n,) as high as the sweep: a meter that reads V on it makes a sweep of V, rms both."""
    t = np.arange(int(seconds * plan.rate_hz)) / plan.rate_hz
    return np.asarray(10.0 ** (plan.level_db / 20.0) * softly(np.sin(2.0 * np.pi * tone_hz(plan) * t), plan.rate_hz))


def softly(wave: Float, rate_hz: int) -> Float:
    """(n,) the same, faded in and out so that it does not click."""
    t = np.arange(len(wave)) / rate_hz
    return np.asarray(wave * _rise(np.minimum(t, t[::-1]) / RAMP_S))


def pink_noise(plan: SweepPlan, seconds: float, period_s: float, seed: int) -> Float:
    """(n,) pink noise over the band of a plan, at its peak level, that repeats itself every period.

    Levels that are read over whole periods do not scatter.
    """
    period = round(period_s * plan.rate_hz)
    lines = np.fft.rfftfreq(period, 1.0 / plan.rate_hz)
    wanted = (lines >= plan.low_hz) & (lines <= plan.high_hz)
    spectrum: Complex = np.zeros(lines.shape, dtype=complex)
    turn = np.random.default_rng(seed).uniform(0.0, 2.0 * np.pi, int(wanted.sum()))
    spectrum[wanted] = np.exp(1j * turn) / np.sqrt(lines[wanted])
    one = np.fft.irfft(spectrum, period)
    one *= 10.0 ** (plan.level_db / 20.0) / np.abs(one).max()
    return np.asarray(np.tile(one, math.ceil(seconds / period_s)))


def _rise(share: Float) -> Float:
    """Half a Hann window: 0 below 0, 1 from 1 on."""
    return np.asarray(np.sin(0.5 * np.pi * np.clip(share, 0.0, 1.0)) ** 2)
