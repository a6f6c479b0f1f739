"""A prediction as a person reads it."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from xover.acoustic.crossover import CrossoverReading
from xover.blocks import Block, Head, Text, fact, plain_table
from xover.curve import Evidence
from xover.figures import at_octaves, db, degrees, hertz, ohm, written
from xover.sound.prediction import Prediction
from xover.terms import TERMS, legend


def tell(p: Prediction, everything: bool = False) -> Iterator[Block]:
    """The sum in a sentence, sound and drive at the octaves, and the sum in figures."""
    yield Head(f"{p.title}: network '{p.network}'")
    yield Text(_answer(p))
    for name, evidence in p.evidence.items():
        if everything or {*evidence.values()} != {Evidence.MEASURED}:
            yield fact(name, f"impedance {evidence['impedance']}, response {evidence['response']}")
    if everything or not p.total.coherent:
        yield fact("timing", p.timing_reason)
    if p.delay_doubt_db is not None and np.isfinite(p.delay_doubt_db).any():
        at = int(np.nanargmax(p.delay_doubt_db))
        words = f"what is not known of delay_us moves the sum by +-{db(float(p.delay_doubt_db[at]))} dB at most"
        yield fact("delay", f"{words} ({hertz(float(p.frequency_hz[at]))})")
    yield from _sound(p)
    yield from _drive(p)
    yield Head("The sum")
    yield from _sum(p, everything)


def _answer(p: Prediction) -> str:
    band, of = p.band, p.network
    if p.undriven and len(p.undriven) == len(p.drive):
        return "Nothing is heard of it: no voltage reaches a driver."
    if math.isnan(band.mean_db):
        return f"The sum is not known from {hertz(band.from_hz)} to {hertz(band.to_hz)}."
    start = "The sum" if p.total.coherent else "The timing of the drivers is not known; one sum of many"
    return (
        f"{start} keeps within {written('above mean', band.highest_deviation_db, of, unit=True)} "
        f"({hertz(band.highest_at_hz)}) and {written('below mean', band.lowest_deviation_db, of, unit=True)} "
        f"({hertz(band.lowest_at_hz)}) of {db(band.mean_db)} dB, {hertz(band.known_from_hz)} to "
        f"{hertz(band.known_to_hz)}{band.holes} (2.83 V, 1 m, on the design axis)."
    )


def _sound(p: Prediction) -> Iterator[Block]:
    total = p.total
    columns = [("sum", total.level_db)]
    if not total.coherent:
        columns += [("best", total.best_level_db), ("worst", total.worst_level_db)]
    columns += [(b.key, b.level_db) for b in p.branches]
    if total.reversed_keys:
        columns.append(("reversed", total.reversed_level_db))
    yield Head("Sound, dB")
    rows = [[f"{f:g}", *(db(level[i]) for _, level in columns)] for f, i in at_octaves(p.frequency_hz)]
    yield plain_table(["Hz", *(name for name, _ in columns)], rows)
    if total.reversed_keys:
        yield Text(f"reversed: the sum with the wires of {', '.join(total.reversed_keys)} swapped.")


def _drive(p: Prediction) -> Iterator[Block]:
    with np.errstate(divide="ignore"):
        columns = {key: 20 * np.log10(np.abs(value)) for key, value in p.drive.items()}
    only = next(iter(p.impedance_ohm.values())) if len(p.impedance_ohm) == 1 else None
    rows = []
    for f, i in at_octaves(p.frequency_hz):
        row = [f"{f:g}", *(db(c[i]) for c in columns.values())]
        if only is not None:
            row += [ohm(abs(only[i])), degrees(float(np.degrees(np.angle(only[i]))))]
        rows.append(row)
    yield Head(f"Drive: {TERMS['drive']}, dB; and the load")
    yield plain_table(["Hz", *columns, *(["ohm", "deg"] if only is not None else [])], rows)


def _sum(p: Prediction, everything: bool) -> Iterator[Block]:
    band = p.band
    if everything:
        yield fact("rms deviation", written("sum rms", band.rms_deviation_db, p.network, unit=True))
    s = p.sensitivity
    one_watt = ""
    if everything and s.level_1w_db is not None and s.resistance_ohm is not None:
        one_watt = f", {db(s.level_1w_db)} dB for 1 W into {s.resistance_ohm:g} ohm"
    yield fact(
        "sensitivity",
        f"{written('sensitivity', s.level_db, p.network, unit=True)} for 2.83 V{one_watt} (pink noise "
        f"{hertz(s.known_from_hz)} to {hertz(s.known_to_hz)})",
    )
    for corner in p.corners if everything else p.corners[:1]:
        low = hertz(corner.low_hz) if corner.low_hz is not None else corner.low_note
        high = hertz(corner.high_hz) if corner.high_hz is not None else corner.high_note
        yield fact(f"-{corner.drop_db:g} dB", f"{low} and {high}")
    for c in p.crossovers:
        yield fact("crossover", _crossover(c, p.network))
    if any(c.null_depth_db is not None for c in p.crossovers):
        yield fact("", legend("null"))
    if p.output_ohm:
        yield fact("amplifier", f"levels behind an output resistance of {p.output_ohm:g} ohm; V is at its terminals")
    if not everything:
        return
    if p.off_axis is not None:
        off = p.off_axis
        inside = (p.frequency_hz >= band.from_hz) & (p.frequency_hz <= band.to_hz)
        with np.errstate(invalid="ignore"):  # silence less silence is not known
            changes = off.level_db[:, inside] - p.total.level_db[inside]
        words = ", ".join(
            f"{a:+g} deg {db(float(np.nanmin(row)), signed=True)} dB"
            for a, row in zip(off.vertical_deg, changes, strict=True)
            if np.isfinite(row).any()
        )
        yield fact("off axis", f"deepest change in that band, {off.distance_m:g} m away (+ is up): {words}")
    for null in p.nulls:
        above = "none" if null.above_deg is None else f"{null.above_deg:+.0f} deg"
        below = "none" if null.below_deg is None else f"{null.below_deg:+.0f} deg"
        yield fact("vertical nulls", f"at {hertz(null.crossover_hz)}: above {above}, below {below}")


def _crossover(c: CrossoverReading, network: str) -> str:
    pair = f"{'+'.join(c.lower)} / {'+'.join(c.upper)}"
    if c.frequency_hz is None:
        return f"{pair}: none, {c.reason}"
    of = c.of(network)
    words = f"{pair} at {written('crossover', c.frequency_hz, of)}"
    if c.level_re_sum_db is not None:
        words += f", each {db(c.level_re_sum_db, signed=True)} dB re sum"
    fall, rise = c.lower_slope_db_per_octave, c.upper_slope_db_per_octave
    if fall is not None and rise is not None:
        words += f", slopes {db(fall, 0)} and {db(rise, 0, True)} dB/octave"
    if c.phase_difference_deg is not None:
        words += f", phases {degrees(c.phase_difference_deg)} deg apart"
    if c.null_depth_db is not None:
        words += f", null {written('null depth', c.null_depth_db, of, unit=True)} deep at {hertz(c.null_at_hz)}"
    return words
