"""What is played, and what is kept of what came in."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Final

import numpy as np

from xover.curve import Float
from xover.errors import InputError, OptionError, named
from xover.files.wav import read_wav
from xover.recordings.reading import read_plan
from xover.recordings.sweep import SweepPlan, tone, tone_hz
from xover.recordings.sweep import played as samples_of
from xover.rules.recordings import LEAST_LEVEL_DB, TONE_S
from xover.studies.desk.record.device import Samples, choose, find_devices, load_library, play
from xover.studies.desk.record.result import SoundDevices, Take
from xover.studies.desk.record.words import counting, metered, silent
from xover.studies.options import Progress

COUNTDOWN_S: Final = 3
SETTLED_S: Final = 0.4
"""Within the silence before the first marker."""
_STEPS: Final = 2.0**-22
"""Two of 24 bit."""


def list_devices() -> SoundDevices:
    """What the system has. Raises OptionError: no library, no device."""
    return SoundDevices(find_devices(load_library()))


def record_sweep(
    path: Path | str | None,
    asked: tuple[int, ...],
    inputs: int,
    only_tone: bool,
    level_set: bool,
    progress: Progress,
) -> Take:
    """Play it, or its tone, and record.

    Parameters
    ----------
    asked : numbers of the recorder and the player, or of the one that is both; () the system's usual ones.

    Raises InputError: no sweep of ours, or no longer what it was. OptionError: the level was not set; no library or
    device; what `play` raises.
    """
    if path is None:
        raise OptionError("there is nothing to play", f"name the file that 'xover sweep' wrote, or {named('listing')}")
    plan = read_plan(path)
    wave = _unchanged(path, plan)
    if not only_tone and not level_set:
        raise OptionError(
            f"a sweep is loud: set the amplifier's volts first, with {named('tone')} and a meter",
            f"then add {named('level_set')}",
        )
    if only_tone:
        wave = tone(plan, TONE_S)[:, None].astype(np.float32) * (np.abs(wave).max(axis=0) > 0.0)
    library = load_library()
    recorder, player = choose(find_devices(library), asked, inputs, wave.shape[1])
    for left in range(COUNTDOWN_S, 0, -1):
        progress(0.0, counting(left, only_tone))
        time.sleep(1.0)
    settled = int(SETTLED_S * plan.rate_hz)
    taken = play(
        library,
        wave,
        plan.rate_hz,
        (recorder, player),
        inputs,
        settled,
        lambda done, peaks: progress(done, metered(_db(peaks))),
    )
    peak_db = _db(np.abs(taken[settled:]).max(axis=0))
    quiet = tuple(silent(number) for number, level in enumerate(peak_db, 1) if level < LEAST_LEVEL_DB)
    hz = tone_hz(plan) if only_tone else None
    return Take(str(path), hz, plan.rate_hz, taken, peak_db, recorder, player, quiet)


def _unchanged(path: Path | str, plan: SweepPlan) -> Samples:
    """(n, channels) the file's samples, where each channel is silent or the sweep of its plan. Raises InputError."""
    samples = read_wav(path).samples
    meant = samples_of(plan)
    if len(samples) != len(meant) or not all(
        not channel.any() or np.abs(channel - meant).max() <= _STEPS for channel in samples.T
    ):
        raise InputError("is not the sweep that it says it is", "write it anew with 'xover sweep'", path)
    return samples.astype(np.float32)


def _db(peaks: Samples) -> Float:
    return np.asarray(20.0 * np.log10(np.maximum(peaks, 1e-6)), dtype=float)
