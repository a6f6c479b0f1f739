"""A recording of a sweep, read: found in the file, hum taken out, each channel against what was played."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from xover.curve import Complex, Float, log_grid
from xover.errors import InputError
from xover.files.wav import Recording, read_wav
from xover.recordings.band import missing_bands
from xover.recordings.faults import Found, RecordingFault, level_faults
from xover.recordings.gain import gain_faults
from xover.recordings.hum import fit_hum
from xover.recordings.loop import first_pressure, loop_fault
from xover.recordings.place import find_sweep
from xover.recordings.rattle import Distortion, distortion_of
from xover.recordings.sweep import SweepPlan, plan_of
from xover.recordings.told import unreadable
from xover.recordings.transfer import Deconvolved, deconvolve, quiet_spans, read_channels
from xover.recordings.unread import is_other, why_unread
from xover.rules.recordings import HIGHEST_SHARE, HUM_DB, LEAST_LEVEL_DB, NOISY_SHARE

PER_OCTAVE = 48


@dataclass(frozen=True)
class TwoChannels:
    """The second channel over the first.

    Attributes
    ----------
    frequency_hz : (n,). value : (n,) complex. sigma : (n,) one standard deviation of it, by noise.
    found : what is wrong, but not so much that it could not be read. distortion : of the current, where it was asked.
    """

    frequency_hz: Float
    value: Complex
    sigma: Float
    found: tuple[Found, ...]
    distortion: Distortion | None = None


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


def read_two_channels(
    path: Path | str, plan: SweepPlan, *, shorted: bool = False, current: tuple[float, float] | None = None
) -> TwoChannels:
    """The ratio of two channels over frequency.

    Parameters
    ----------
    shorted : the second channel is across a short, and may be silent. current : how both channels make up what runs
        through the driver, where its distortion is asked.

    Raises InputError: not two channels; UnreadableRecordingError: a fault that leaves nothing to read.
    """
    recording = read_wav(path)
    if recording.channels < 2:
        raise InputError("has one channel", "record both: one across resistor and driver, one across the driver", path)
    whole, found = read_recording(recording, plan, (0, 1), silent=(1,) if shorted else ())
    readings = read_channels(whole, grid_of(plan))
    first, second = readings.value
    noise = readings.sigma / np.abs(first)
    sigma = np.hypot(noise[1], noise[0] * np.abs(second / first))
    ends = min((one.figure for one in found if one.fault is RecordingFault.BAND_MISSING), default=np.inf)
    noisy = (noise.max(axis=0) > NOISY_SHARE) & (readings.frequency_hz < 0.95 * ends)
    if noisy.any():
        one = Found(RecordingFault.NOISY, 0, float(noisy.mean()))
        if noisy.mean() > 0.5:
            raise unreadable(one, path)
        found.append(one)
    distortion = None if current is None else distortion_of(whole.mixed(current), 0)
    if distortion is not None:
        found += distortion.faults(2)
    return TwoChannels(readings.frequency_hz, second / first, sigma, tuple(found), distortion)


def read_microphone(
    recording: Recording, plan: SweepPlan, microphone: int, loop: int | None
) -> tuple[Deconvolved, list[Found]]:
    """Microphone, and loop-back where there is one, divided by the file that was played; what is wrong with them.

    Parameters
    ----------
    microphone, loop : channels, from 0.

    Raises UnreadableRecordingError: a fault that leaves nothing to read.
    """
    if loop is None:
        return read_recording(recording, plan, (microphone,))
    whole, found = read_recording(recording, plan, (microphone, loop))
    wrong = loop_fault(whole, 0, 1)
    if wrong is not None:
        raise unreadable(replace(wrong, channel=loop + 1), recording.path)
    if first_pressure(whole, 0, 1) < 0:
        found.append(Found(RecordingFault.INVERTED, microphone + 1, -1.0))
    return whole, found


def read_recording(
    recording: Recording, plan: SweepPlan, channels: Sequence[int], silent: Sequence[int] = ()
) -> tuple[Deconvolved, list[Found]]:
    """Channels of a recording, from 0, divided by the file that was played, and what is wrong with them.

    Parameters
    ----------
    silent : those of them that may be.

    Raises UnreadableRecordingError: a fault that leaves nothing to read.
    """
    samples = np.array(recording.samples[:, list(channels)], dtype=float)
    samples -= samples.mean(axis=0)
    rate, path = recording.rate_hz, recording.path
    needed = plan.usable_hz[1] / HIGHEST_SHARE
    if rate < needed:
        raise unreadable(Found(RecordingFault.LOW_RATE, 0, float(np.ceil(needed))), path)
    loudest = samples[:, int(np.argmax(np.abs(samples).max(axis=0)))]
    if float(np.abs(loudest).max()) < 10.0 ** (LEAST_LEVEL_DB / 20.0):
        raise unreadable(Found(RecordingFault.SILENT, channels[0] + 1, 0.0), path)
    place = find_sweep(loudest, rate, plan)
    if place is None or is_other(loudest, rate, place.sample(plan, plan.start_s), plan):
        why = why_unread(loudest, rate, plan)
        if place is not None and why.fault is RecordingFault.HIDDEN:
            why = replace(why, fault=RecordingFault.OTHER_SWEEP)
        raise unreadable(why, path)
    found = level_faults(samples, recording.bits, place, plan)
    for one in found:
        quiet_by_nature = one.channel - 1 < len(channels) and channels[one.channel - 1] in silent
        if one.fault is RecordingFault.CLIPPED or (one.fault is RecordingFault.SILENT and not quiet_by_nature):
            raise unreadable(replace(one, channel=channels[one.channel - 1] + 1), path)
    quiet = [
        np.arange(max(0, int(place.sample(plan, a)) + 1), min(len(samples), int(place.sample(plan, b))))
        for a, b in quiet_spans(plan)
    ]
    quiet = [q for q in quiet if len(q) > 0.1 * rate]
    hum = fit_hum(samples, np.concatenate(quiet), rate)
    if hum.above_noise_db > HUM_DB:
        hum.take_out(samples, rate)
        found.append(Found(RecordingFault.HUM, 0, hum.mains_hz))
    start = place.sample(plan, plan.start_s)
    whole = deconvolve(samples, start, place.stretch, plan, [samples[q] for q in quiet])
    found = [one for one in found if one.fault is not RecordingFault.SILENT]
    found += [*gain_faults(samples, place, plan, whole), *missing_bands(whole)]
    return whole, [replace(one, channel=channels[one.channel - 1] + 1) if one.channel else one for one in found]


def grid_of(plan: SweepPlan) -> Float:
    """(n,) frequencies that a sweep is read at."""
    low, high = plan.usable_hz
    return log_grid(low, min(high, 20_000.0), PER_OCTAVE)
