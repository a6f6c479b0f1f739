"""The response in words: what it holds, from where on it means something, and what spoils it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from xover.acoustic.near_field import near_loss_db
from xover.blocks import Block, Head, Text, fact, plain_table
from xover.figures import hertz
from xover.recordings.told import found_lines
from xover.rules.recordings import GATE_SURE_DB, SPLICE_HZ, SPLICE_SLOPE_DB
from xover.studies.desk.response.result import NearField, RecordedResponse, Splice


def tell(got: RecordedResponse) -> Iterator[Block]:
    """The answer first: the band that means something."""
    f = got.frequency_hz
    what = "near field" if got.near_alone else "response"
    yield Head(f"{Path(got.source).name}: {what} from {hertz(f[0])} to {hertz(f[-1])}")
    yield from _gate(got)
    if got.near is not None:
        yield from _near(got.near, got.splice)
    if got.phase_deg is None:
        yield fact("timing", 'unknown: no loop-back. In speaker.toml: phase = "minimum", and position_mm')
    elif got.near_alone:
        yield fact("timing", "as at the cone")
    else:
        way = f"{1e3 * got.delay_s:.3f} ms of {got.distance_m:g} m taken off"
        yield fact("timing", f"sound {1e3 * got.arrival.at_s:.2f} ms behind the loop-back; {way}")
    if got.scale is None:
        yield fact("level", "relative, for 1 m: equal controls for every driver, or levels do not belong together")
    else:
        tone = f"{got.scale.level_db:g} dB at {got.scale.tone.hz:.0f} Hz"
        yield fact("level", f"re 20 uPa for 2.83 V at 1 m, by the calibrator's {tone} and {got.scale.volt:g} V")
    worst = got.distortion.worst_harmonic
    if worst is not None:
        order, db, hz = worst
        yield fact(
            "harmonics", f"at most {db:.0f} dB ({100 * 10 ** (db / 20):.2g} %), the {_ORDINAL[order]}, at {hertz(hz)}"
        )
    yield from found_lines([("", one) for one in got.found])
    if got.curve_hz is not None:
        taken = "" if got.phase_deg is None else "; phase less the minimum phase of that"
        ends = f"{hertz(got.curve_hz[0])} to {hertz(got.curve_hz[1])}"
        said = f"its file reaches {ends}: rows beyond are left out" if got.curve_cut else "levels by its file"
        yield fact("microphone", f"{said}{taken}")
    rows = []
    for i in np.unique(np.linspace(0, len(f) - 1, 11).astype(int)):
        phase = "-" if got.phase_deg is None else f"{got.phase_deg[i]:.0f}"
        gate = "-" if np.isnan(got.gate_db[i]) else f"{got.gate_db[i]:.2f}"
        rows.append([f"{f[i]:.4g}", f"{got.level_db[i]:.1f}", phase, f"{2 * got.noise_db[i]:.2f}", gate])
    yield plain_table(["Hz", "dB", "deg", "noise +- dB", "gate +- dB"], rows)


def _gate(got: RecordedResponse) -> Iterator[Block]:
    if got.near_alone and not got.gate_given:
        yield fact("gate", "none: so near, the room is softer by 20 dB or more, and a woofer rings on")
        return
    late = got.arrival.reflection_s
    shows = (
        "no reflection shows within 40 ms" if late is None else f"the first reflection comes {1e3 * late:.2f} ms later"
    )
    yield fact("gate", f"{1e3 * got.gate_s:.2f} ms{'' if got.gate_given else ', chosen'}; {shows}")
    low = hertz(1.0 / got.gate_s)
    if got.splice is None:
        yield fact("below", f"{low} this gate says nothing")
    off = got.gate_off
    if off is None:
        yield fact("cut off", f"by the gate: less than {GATE_SURE_DB:g} dB, as the response has died away at its end")
    else:
        most, at, sure = off
        yield fact(
            "cut off",
            f"by the gate, of what still rings: about {most:.1f} dB at {hertz(at)}, {GATE_SURE_DB:g} dB or less from "
            f"{hertz(sure)} on",
        )


def _near(near: NearField, splice: Splice | None) -> Iterator[Block]:
    loss = f"{-float(near_loss_db(1.0)):.1f} dB"
    port = (
        "; a port is not in it"
        if near.port_m is None
        else f", port of {1e3 * near.port_m:.0f} mm added by its own radius"
    )
    yield fact(
        "near field",
        f"cone of {1e3 * near.diameter_m:.0f} mm{port}; believed up to {hertz(near.limit_hz)} (ka = 1), where it "
        f"reads {loss} low",
    )
    if splice is None:
        if near.baffle_m is None:
            yield fact("half space", "no baffle's step is in it: in a free box the bass is up to 6 dB softer")
        else:
            yield fact("free space", f"with the step of a baffle {1e3 * near.baffle_m:.0f} mm wide")
        yield fact("distance", f"microphone within {0.03e3 * near.diameter_m / 2:.1f} mm of the cone, or it reads low")
        return
    late = "" if splice.delay_s is None else f", delayed by {1e3 * splice.delay_s:.2f} ms"
    yield fact(
        "joined",
        f"at {hertz(splice.at_hz)}, with the step of a baffle {1e3 * (near.baffle_m or 0.0):.0f} mm wide; near field "
        f"raised by {splice.step_db:+.1f} dB{late}",
    )
    if abs(splice.slope_db) > SPLICE_SLOPE_DB:
        yield Text(
            f"There they do not agree: the far field rises by {splice.slope_db:+.1f} dB an octave against the near "
            "field. Baffle, gate or driver is not as said; believe neither near the join."
        )
    if not SPLICE_HZ[0] <= splice.at_hz <= SPLICE_HZ[1]:
        yield Text(f"Usually they are joined at {SPLICE_HZ[0]:.0f} to {SPLICE_HZ[1]:.0f} Hz.")


_ORDINAL = {2: "second", 3: "third", 4: "fourth", 5: "fifth"}
