"""The response in words: what it holds, from where on it means something, and what spoils it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from xover.blocks import Block, Head, fact, plain_table
from xover.figures import hertz
from xover.recordings.told import found_lines
from xover.studies.desk.response.study import RecordedResponse


def tell(got: RecordedResponse) -> Iterator[Block]:
    """The answer first: the band that means something."""
    f = got.frequency_hz
    yield Head(f"{Path(got.source).name}: response from {hertz(f[0])} to {hertz(f[-1])}")
    late = got.arrival.reflection_s
    shows = (
        "no reflection shows within 40 ms" if late is None else f"the first reflection comes {1e3 * late:.2f} ms later"
    )
    yield fact("gate", f"{1e3 * got.gate_s:.2f} ms{'' if got.gate_given else ', chosen'}; {shows}")
    low = 1.0 / got.gate_s
    yield fact("below", f"{hertz(low)} this gate says nothing; up to {hertz(2.0 * low)} a woofer may read 0.6 dB off")
    if got.phase_deg is None:
        yield fact("timing", 'unknown: no loop-back; levels alone are told (phase = "minimum" in speaker.toml)')
    else:
        way = f"{1e3 * got.delay_s:.3f} ms of {got.distance_m:g} m taken off"
        yield fact("timing", f"sound {1e3 * got.arrival.at_s:.2f} ms behind the loop-back; {way}")
    yield fact("level", "relative, for 1 m: equal controls for every driver, or levels do not belong together")
    worst = got.distortion.worst_harmonic
    if worst is not None:
        order, db, hz = worst
        yield fact(
            "harmonics", f"at most {db:.0f} dB ({100 * 10 ** (db / 20):.2g} %), the {_ORDINAL[order]}, at {hertz(hz)}"
        )
    yield from found_lines([("", one) for one in got.found])
    if got.curve_hz is not None and (got.curve_hz[0] > f[0] or got.curve_hz[1] < f[-1]):
        ends = f"{hertz(got.curve_hz[0])} to {hertz(got.curve_hz[1])}"
        yield fact("microphone", f"its file reaches {ends}; its last values stand for what lies beyond")
    rows = []
    for i in np.unique(np.linspace(0, len(f) - 1, 11).astype(int)):
        phase = "-" if got.phase_deg is None else f"{got.phase_deg[i]:.0f}"
        rows.append([f"{f[i]:.4g}", f"{got.level_db[i]:.1f}", phase, f"{2 * got.noise_db[i]:.2f}"])
    yield plain_table(["Hz", "dB", "deg", "noise +- dB"], rows)


_ORDINAL = {2: "second", 3: "third", 4: "fourth", 5: "fifth"}
