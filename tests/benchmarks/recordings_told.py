"""What the commands `jig` and `response` say of recordings: none of 50 sound ones is blamed, each fault is named.

    PYTHONPATH=tests:. python tests/benchmarks/recordings_told.py [sound ones] [of each fault] [seed] [fault ...]

The recordings are those of tests/invented/taken.py. Found: the fault's own value is told. Mistaken: it is not, and
another is. Besides: it is, and another too.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np
from invented.taken import FAULTS, a_sound_one

import xover
from xover.errors import XoverError
from xover.files.wav import wav_bytes
from xover.recordings.sweep import played
from xover.recordings.told import UnreadableRecordingError


def told(take, rng, folder):
    """Values of what the command names; the error's words where it is of no recording."""
    sweep, wav = folder / "sweep.wav", folder / "a.wav"
    sweep.write_bytes(wav_bytes(played(take.plan), take.plan.rate_hz, comment=take.plan.text))
    wav.write_bytes(take.file(rng))
    try:
        if take.microphone:
            answer = xover.response(wav, sweep, distance_m=take.distance_m)
            return {one.fault.value for one in answer.found}
        answer = xover.jig(wav, take.resistor, played=sweep)
    except UnreadableRecordingError as error:
        return {error.found.fault.value}
    except XoverError as error:
        return {str(error).partition(": ")[2]}
    return {one.fault.value for _, one in answer.found}


def row(name, count, seed, folder):
    """Counts for one fault, or for sound ones."""
    counts, others, times = Counter(), Counter(), []
    for i in range(count):
        rng = np.random.default_rng([seed, i, *name.encode()])
        put, of, wanted = FAULTS.get(name, (None, "both", set()))
        microphone = of == "response" or (of == "both" and i % 2 == 0)
        take = a_sound_one(rng, microphone)
        take = put(rng, take) if put else take
        start = time.perf_counter()
        got = told(take, rng, folder)
        times.append(time.perf_counter() - start)
        kind = "response" if microphone else "jig"
        hit = bool(got & wanted) if wanted else not got
        counts["found" if hit else "mistaken" if got else "missed"] += 1
        counts["besides"] += bool(hit and got - wanted)
        for one in got - wanted:
            others[f"{one} ({kind})"] += 1
        if not hit:
            print(f"    {name} {i} {kind}: {sorted(got)}")
    more = ", ".join(f"{n} x {k}" for k, n in others.most_common())
    told_of = f"{counts['found']:7}{counts['missed']:8}{counts['mistaken']:10}{counts['besides']:9}"
    print(f"{name:22}{count:5}{told_of}  {more}", flush=True)
    return counts


def main():
    sound, each, seed, *names = [*sys.argv[1:], *("50", "20", "1")[len(sys.argv) - 1 :]]
    print(f"{'':22}{'of':>5}{'found':>7}{'missed':>8}{'mistaken':>10}{'besides':>9}  other values")
    with tempfile.TemporaryDirectory() as folder:
        if int(sound):
            row("sound", int(sound), int(seed), Path(folder))
        for name in names or FAULTS:
            row(name, int(each), int(seed), Path(folder))


if __name__ == "__main__":
    main()
