"""What is wrong with a recording, as values: each is found by itself, and none of them in a sound one."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np

from xover.curve import Complex, Float
from xover.recordings.place import SweepPlace
from xover.recordings.sweep import SweepPlan
from xover.rules.recordings import (
    CLIPPED_ABOVE,
    CLIPPED_RUNS,
    CLIPPED_SAMPLES,
    CLOCK_PPM,
    LEAST_LEVEL_DB,
    LOUD_DB,
    NOISY_ROWS,
    NOISY_SHARE,
)


class RecordingFault(StrEnum):
    """What was found."""

    CLIPPED = "clipped"
    SILENT = "silent"
    SWAPPED = "swapped-channels"
    NO_LOOP = "no-loop-back"
    WRONG_RATE = "wrong-rate"
    LOW_RATE = "low-rate"
    STARTS_LATE = "starts-late"
    ENDS_EARLY = "ends-early"
    CUT_SWEEP = "cut-sweep"
    OTHER_SWEEP = "other-sweep"
    HIDDEN = "hidden-in-noise"
    NOISY = "noisy"
    MOVING_GAIN = "moving-gain"
    GAIN_BY_LEVEL = "gain-by-level"
    BAND_MISSING = "band-missing"
    TWO_CLOCKS = "two-clocks"
    HUM = "hum"
    INVERTED = "inverted"
    RATTLE = "rattle"
    OVERLOAD = "overload"


UNSTEADY: Final = frozenset({RecordingFault.MOVING_GAIN, RecordingFault.GAIN_BY_LEVEL})
"""What is read through such a gain is not calibrated, whatever it was held to."""


@dataclass(frozen=True)
class Found:
    """One fault.

    Attributes
    ----------
    channel : of the file, from 1; 0 where it is of all. figure : clipped: runs; silent: dB re full scale; wrong or low
        rate: samples a second that fit, or are needed; starts late, ends early: s that are missing; cut: s of the sweep
        that are missing, negative at its start; other sweep: s in which it doubles its frequency, 0 where that is not
        the difference; noisy: share of rows; gains: dB; band missing: Hz where it ends; clocks: ppm; hum: Hz of the
        mains; rattle and overload: dB beside the tone. at_hz : of the tone that was played then.
    """

    fault: RecordingFault
    channel: int
    figure: float
    at_hz: float | None = None

    def plain(self) -> dict[str, Any]:
        """By name."""
        told = {"fault": self.fault.value, "channel": self.channel or None, "figure": self.figure}
        return told if self.at_hz is None else {**told, "at_hz": self.at_hz}


def level_faults(samples: Float, bits: int, place: SweepPlace, plan: SweepPlan) -> list[Found]:
    """Silent and clipped channels, clocks apart, of (n, channels) samples."""
    found = []
    start, end = (int(place.sample(plan, t)) for t in (plan.start_s, plan.end_s))
    for channel, wave in enumerate(samples.T, 1):
        peak = float(np.abs(wave[max(0, start) : end]).max(initial=0.0))
        if peak < 10.0 ** (LEAST_LEVEL_DB / 20.0):
            found.append(Found(RecordingFault.SILENT, channel, 20.0 * np.log10(max(peak, 1e-12))))
            continue
        sides = (wave[max(0, start) : end], -wave[max(0, start) : end])
        runs = max(_clipped_runs(side, bits, plan, plan.rate_hz * place.stretch) for side in sides)
        if runs >= CLIPPED_RUNS:
            found.append(Found(RecordingFault.CLIPPED, channel, runs))
    if abs(place.clock_ppm) > CLOCK_PPM:
        found.append(Found(RecordingFault.TWO_CLOCKS, 0, place.clock_ppm))
    return found


def noise_fault(value: Complex, sigma: Float) -> Found | None:
    """Rows, of those that are not far below the loudest, that are lost in noise; None where few are."""
    size = np.abs(value)
    loud = size > 10.0 ** (LOUD_DB / 20.0) * np.quantile(size, 0.9)
    share = float(np.mean(sigma[loud] > NOISY_SHARE * size[loud]))
    return Found(RecordingFault.NOISY, 0, share) if share > NOISY_ROWS else None


def _clipped_runs(wave: Float, bits: int, plan: SweepPlan, rate_hz: float) -> int:
    """How often so many samples in a row are the extreme itself, and for longer than a slow wave is flat.

    A top of A cos(w t) leaves its last step within sqrt(2 step/A)/w on both sides: twice that is asked. Where the wave
    is too quick for that, the extreme itself is counted where next to nothing lies in the steps below: of a sine there
    would be twice as many in the next eight.
    """
    peak = float(wave.max())
    step = max(2.0 ** (1 - min(bits, 24)), _step(wave))
    at = wave >= peak - 0.5 * step
    edge = np.flatnonzero(np.diff(np.concatenate([[0], at.astype(np.int8), [0]])))
    starts, runs = edge[::2], edge[1::2] - edge[::2]
    turn = 2.0 * np.pi * plan.low_hz * np.exp(starts / rate_hz / plan.growth_s) / rate_hz
    long = int(np.sum(runs >= np.maximum(CLIPPED_SAMPLES, 4.0 * np.sqrt(2.0 * step / max(peak, step)) / turn)))
    top, below = int(at.sum()), int(np.sum(wave >= peak - 8.5 * step)) - int(at.sum())
    return max(long, len(runs)) if top >= CLIPPED_SAMPLES**2 and top > CLIPPED_ABOVE * below else long


def _step(wave: Float) -> float:
    """Between two neighbouring values: 16 bit may stand in a file of 24."""
    apart = np.diff(np.unique(wave[:: max(1, len(wave) // 20_000)]))
    apart = apart[apart > 1e-7]
    return float(apart.min()) if len(apart) else 0.0
