"""Pads in words: what each pair does in the band and in the network, and where the power goes."""

from __future__ import annotations

import math
from collections.abc import Iterator

from xover.blocks import Block, Gap, Head, Text, fact, plain_table, sentence
from xover.figures import db, hertz
from xover.quantity import ohms
from xover.sentences import capital
from xover.studies.desk.pad.study import PadDesign, PadStudy


def tell(study: PadStudy, everything: bool = False) -> Iterator[Block]:
    """What to put in, then every pair side by side."""
    alone, control = study.driver == "resistor", study.control
    who = study.title if alone else f"{study.title}: {study.driver}"
    who = capital(who)
    if control is None:
        yield Head(f"{who}, {study.attenuation_db:g} dB down")
    else:
        yield Head(f"{who}, {control.kind} of {ohms(control.track_ohm)} at {control.setting:.3g} of its track")
    yield Text(_answer(study))
    if not alone:
        low, high = float(study.frequency_hz[0]), float(study.frequency_hz[-1])
        yield fact("band", f"{hertz(low)} to {hertz(high)}, {study.band_words}")
        yield fact("driver", f"{study.lowest_ohm:.2f} to {study.highest_ohm:.2f} ohm in that band")
        if control is None or any(d.name == "L-pad" for d in study.designs):
            yield fact("nominal", f"{ohms(study.nominal_ohm)}, for the textbook pair")
    yield Head("Series resistor, resistor across the driver; drop and load in the band")
    header = ["pair", "series", "across", "drop dB", "load ohm", "off dB", "load off %"]
    yield plain_table(header, [_row(d) for d in study.designs])
    against = "no pad" if control is None else "the control"
    off = "the drop and the driver's own impedance" if control is None else "the control"
    yield Text(f"off: largest distance from {off}, in the band.")
    if study.network is not None:
        yield Head(f"Soldered into network '{study.network}': level at the driver against {against}, dB")
        changes = [[d.name, *(db(v, 2, True) for v in (d.network_least_db, d.network_most_db))] for d in study.designs]
        yield plain_table(["pair", "from", "to"], changes)
    if study.input_w is None:
        scale, digits, heading = 100.0, 0, "Where the power into the pad goes, %"
    else:
        scale, digits, heading = study.input_w, 2, f"Where {study.input_w:g} W into the pad go, W"
    if everything or study.input_w is not None:
        yield Head(heading)
        powers = [[d.name, *(f"{scale * share:.{digits}f}" for share in _shares(d))] for d in study.designs]
        yield plain_table(["pair", "series", "across", "driver"], powers)
        if not alone:
            yield Text("Noise of equal power an octave at the pad's input, over the band.")
    yield Gap()
    for words in study.sentences:
        yield sentence(words)


def _answer(study: PadStudy) -> str:
    """The pair to solder."""
    d = study.pick
    parts = [f"{d.series_ohm:.3g} ohm in series"] if d.series_ohm else []
    parts += [f"{d.parallel_ohm:.3g} ohm across the driver"] if math.isfinite(d.parallel_ohm) else []
    drop = _span(d.least_drop_db, d.most_drop_db)
    return f"Solder {' and '.join(parts) or 'nothing'} ({d.name} values): {drop} dB down."


def _row(d: PadDesign) -> list[str]:
    return [
        d.name,
        _part(d.series_ohm, "link"),
        _part(d.parallel_ohm, "none"),
        _span(d.least_drop_db, d.most_drop_db),
        _span(d.lowest_load_ohm, d.highest_load_ohm),
        db(d.level_error_db, 2),
        f"{100 * d.load_error:.1f}",
    ]


def _part(value: float, nothing: str) -> str:
    return nothing if value == 0 or math.isinf(value) else f"{value:.3g}"


def _span(low: float, high: float) -> str:
    first, last = db(low, 1), db(high, 1)
    return first if first == last else f"{first} to {last}"


def _shares(d: PadDesign) -> tuple[float, float, float]:
    return d.power.series, d.power.parallel, d.power.driver
