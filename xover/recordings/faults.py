"""What is wrong with a recording, as values: each is found by itself, and none of them in a sound one."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from xover.curve import Float
from xover.recordings.place import SweepPlace
from xover.recordings.sweep import MARKER_S, SweepPlan
from xover.rules.recordings import CLIPPED_RUNS, CLIPPED_SAMPLES, CLOCK_PPM, GAIN_DB, LEAST_LEVEL_DB


class RecordingFault(StrEnum):
    """What was found."""

    CLIPPED = "clipped"
    SILENT = "silent"
    MOVING_GAIN = "moving-gain"
    TWO_CLOCKS = "two-clocks"
    HUM = "hum"
    NOISY = "noisy"


@dataclass(frozen=True)
class Found:
    """One fault.

    Attributes
    ----------
    channel : from 1; 0 where it is of all. figure : runs clipped, dB re full scale, dB, ppm, Hz of the mains, share
        of rows.
    """

    fault: RecordingFault
    channel: int
    figure: float


def level_faults(samples: Float, bits: int, place: SweepPlace, plan: SweepPlan) -> list[Found]:
    """Silent and clipped channels, a gain that moves, clocks apart, of (n, channels) samples."""
    found = []
    start, end = (int(place.sample(plan, t)) for t in (plan.start_s, plan.end_s))
    for channel, wave in enumerate(samples.T, 1):
        peak = float(np.abs(wave[max(0, start) : end]).max(initial=0.0))
        if peak < 10.0 ** (LEAST_LEVEL_DB / 20.0):
            found.append(Found(RecordingFault.SILENT, channel, 20.0 * np.log10(max(peak, 1e-12))))
            continue
        runs = _clipped_runs(wave[max(0, start) : end], peak, bits, plan)
        if runs >= CLIPPED_RUNS:
            found.append(Found(RecordingFault.CLIPPED, channel, runs))
        sizes = [
            _marker_size(wave, place.sample(plan, t), place, plan) for t in (plan.first_marker_s, plan.last_marker_s)
        ]
        moved = 20.0 * np.log10(max(sizes[1], 1e-12) / max(sizes[0], 1e-12))
        if abs(moved) > GAIN_DB:
            found.append(Found(RecordingFault.MOVING_GAIN, channel, moved))
    if abs(place.clock_ppm) > CLOCK_PPM:
        found.append(Found(RecordingFault.TWO_CLOCKS, 0, place.clock_ppm))
    return found


def _clipped_runs(wave: Float, peak: float, bits: int, plan: SweepPlan) -> int:
    """How often so many samples in a row are the extreme itself.

    Not where a slow wave is flat for so long in so many bits: a top of A cos(w t) leaves its last step within
    sqrt(2 step/A)/w, so only what is faster is asked.
    """
    step = 2.0 ** (1 - min(bits, 24))
    slow_hz = plan.rate_hz / (2.0 * np.pi) * np.sqrt(8.0 * step / peak)
    skip = 0 if slow_hz <= plan.low_hz else int(plan.growth_s * np.log(slow_hz / plan.low_hz) * plan.rate_hz)
    at = np.abs(wave[skip:]) >= peak - 0.5 * step
    edge = np.flatnonzero(np.diff(np.concatenate([[0], at.astype(np.int8), [0]])))
    return int(np.sum(edge[1::2] - edge[::2] >= CLIPPED_SAMPLES))


def _marker_size(wave: Float, start: float, place: SweepPlace, plan: SweepPlan) -> float:
    length = int(MARKER_S * plan.rate_hz * place.stretch)
    return float(np.sqrt(np.mean(wave[max(0, round(start)) :][:length] ** 2)))
