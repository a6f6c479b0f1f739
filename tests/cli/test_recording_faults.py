"""Each fault of a recording is named by the true commands, in its own recording; sound ones are not blamed.

Large counts: tests/benchmarks/recordings_told.py.
"""

import json
from dataclasses import replace

import numpy as np
import pytest
from invented.taken import FAULTS, a_sound_one

from xover.files.wav import wav_bytes
from xover.recordings.sweep import SweepPlan, played

SMALL = SweepPlan(16_000, 50.0, 7000.0, 1.5, -6.0)

REFUSED = {
    "clipped": "clips in channel",
    "silent": "is silent in channel",
    "swapped": "has microphone and loop-back swapped",
    "no loop-back": "has no loop-back in channel 2",
    "wrong rate": "runs at another speed",
    "noisy": "noise",
    "starts late": "starts late",
    "ends early": "ends early",
    "starts in the sweep": "starts in the middle of the sweep",
    "ends in the sweep": "ends in the middle of the sweep",
    "other sweep": "holds another sweep",
}


def told(run, folder, take, rng):
    """(values, errors' words) of the command that reads it."""
    sweep, wav = folder / "sweep.wav", folder / "a.wav"
    sweep.write_bytes(wav_bytes(played(take.plan), take.plan.rate_hz, comment=take.plan.text))
    wav.write_bytes(take.file(rng))
    command = ("response", wav) if take.microphone else ("jig", wav, "--resistor", "10")
    done = run(*command, "--played", sweep, "--json")
    if done.status:
        assert done.status == 2, done.err
        assert done.err.count("\n") == 1
        return set(), done.err
    found = json.loads(done.out)["found"]
    assert all(one["channel"] in (None, 1, 2) for one in found)
    return {one["fault"] for one in found}, done.err


def small(rng, microphone, name=""):
    take = a_sound_one(rng, microphone)
    plan = replace(SMALL, rate_hz=44_100, high_hz=20_000.0) if name in ("wrong rate", "lossy") else SMALL
    # In a quiet room: what noise hides is not told, and how often that is says the program.
    noise = take.gain * (2e-4 if microphone else 1e-4)
    return replace(take, plan=plan, rate_hz=plan.rate_hz, lead_s=0.3, noise=noise, loop=True, t60_s=0.3, bits=24)


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_named(run, tmp_path, name):
    put, of, wanted = FAULTS[name]
    rng = np.random.default_rng([7, *name.encode()])
    take = put(rng, small(rng, of == "response" or len(name) % 2 == 0, name))
    values, words = told(run, tmp_path, take, rng)
    if values or not words:
        assert values & wanted
    else:
        assert REFUSED[name] in words


@pytest.mark.parametrize("microphone", [True, False])
def test_sound_ones_are_not_blamed(run, tmp_path, microphone):
    for seed in range(3):
        rng = np.random.default_rng([11, seed, microphone])
        assert told(run, tmp_path, small(rng, microphone), rng) == (set(), "")
