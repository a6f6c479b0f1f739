"""A recording of a sweep, read: found in the file, hum taken out, each channel against what was played."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from xover.curve import Complex, Float, log_grid
from xover.errors import InputError
from xover.files.wav import Recording, read_wav
from xover.recordings.faults import Found, RecordingFault, level_faults
from xover.recordings.hum import fit_hum
from xover.recordings.place import find_sweep
from xover.recordings.sweep import SweepPlan, plan_of
from xover.recordings.transfer import Deconvolved, deconvolve, quiet_spans, read_channels
from xover.rules.recordings import HUM_DB, NOISY_SHARE

PER_OCTAVE = 48


@dataclass(frozen=True)
class TwoChannels:
    """The second channel over the first.

    Attributes
    ----------
    frequency_hz : (n,). value : (n,) complex. sigma : (n,) one standard deviation of it, by noise.
    found : what is wrong, but not so much that it could not be read.
    """

    frequency_hz: Float
    value: Complex
    sigma: Float
    found: tuple[Found, ...]


def read_plan(played: Path | str) -> SweepPlan:
    """The plan of the file that was played. Raises InputError: it is no sweep of ours, or has lost its comment."""
    plan = plan_of(read_wav(played).comment)
    if plan is None:
        raise InputError(
            "does not tell what sweep it holds",
            "name the file as 'xover sweep' wrote it, not one exported from it",
            played,
        )
    return plan


def read_two_channels(path: Path | str, plan: SweepPlan) -> TwoChannels:
    """The ratio of two channels over frequency.

    Raises InputError: not two channels, a silent one, no sweep in it, cut short, clipped.
    """
    recording = read_wav(path)
    if recording.channels < 2:
        raise InputError("has one channel", "record both: one across resistor and driver, one across the driver", path)
    whole, found = read_recording(recording, plan, (0, 1))
    readings = read_channels(whole, grid_of(plan))
    first, second = readings.value
    noise = readings.sigma / np.abs(first)
    sigma = np.hypot(noise[1], noise[0] * np.abs(second / first))
    noisy = noise[0] > NOISY_SHARE
    if noisy.mean() > 0.5:
        raise InputError("is noise for the most part", "raise the level, or find what is loose", path)
    if noisy.any():
        found.append(Found(RecordingFault.NOISY, 0, float(noisy.mean())))
    return TwoChannels(readings.frequency_hz, second / first, sigma, tuple(found))


def read_recording(recording: Recording, plan: SweepPlan, channels: Sequence[int]) -> tuple[Deconvolved, list[Found]]:
    """Channels of a recording, from 0, divided by the file that was played, and what is wrong with them.

    The first of them must not be silent. Raises InputError as `read_two_channels`.
    """
    samples = np.array(recording.samples[:, list(channels)], dtype=float)
    samples -= samples.mean(axis=0)
    path = recording.path
    loudest = int(np.argmax(np.abs(samples).max(axis=0)))
    try:
        place = find_sweep(samples[:, loudest], recording.rate_hz, plan)
    except InputError as fault:
        raise fault.at(path, None) from None
    if place.sample(plan, plan.start_s - 0.1) < 0 or place.sample(plan, plan.last_marker_s) > len(samples):
        raise InputError("starts or ends within the sweep", "record from before it until after it", path)
    found = level_faults(samples, recording.bits, place, plan)
    for one in found:
        # Across a short the second channel is meant to be nearly silent; in any other wiring its noise tells.
        if one.fault is RecordingFault.SILENT and one.channel == 1:
            raise InputError(
                f"is silent in channel {one.channel}", "check the lead and the input of that channel", path
            )
        if one.fault is RecordingFault.CLIPPED:
            raise InputError(
                f"clips in channel {one.channel}", "lower the recording level until its peaks stay below -6 dB", path
            )
    quiet = [
        np.arange(max(0, int(place.sample(plan, a)) + 1), min(len(samples), int(place.sample(plan, b))))
        for a, b in quiet_spans(plan)
    ]
    quiet = [q for q in quiet if len(q) > 0.1 * recording.rate_hz]
    hum = fit_hum(samples, np.concatenate(quiet), recording.rate_hz)
    if hum.above_noise_db > HUM_DB:
        hum.take_out(samples, recording.rate_hz)
        found.append(Found(RecordingFault.HUM, 0, hum.mains_hz))
    start = place.sample(plan, plan.start_s)
    found = [one for one in found if one.fault is not RecordingFault.SILENT]
    return deconvolve(samples, start, place.stretch, plan, [samples[q] for q in quiet]), found


def grid_of(plan: SweepPlan) -> Float:
    """(n,) frequencies that a sweep is read at."""
    low, high = plan.usable_hz
    return log_grid(low, min(high, 20_000.0), PER_OCTAVE)
