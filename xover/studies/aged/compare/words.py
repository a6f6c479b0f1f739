"""A comparison as a person reads it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from xover.blocks import Block, Facts, Gap, Head, Table, Text, fact, plain_table
from xover.figures import db, degrees, hertz
from xover.judge.odd_words import told_odd
from xover.rules.audibility import audibility
from xover.studies.aged.compare.study import Comparison
from xover.studies.aged.phone.words import tell_change

MOST_STRETCHES: Final = 3
"""Told where not all is asked for, the widest first."""


def tell(c: Comparison, everything: bool = False) -> Iterator[Block]:
    """The difference: as a whole, by octaves, and where it is beyond the threshold."""
    ohms = c.percent is not None
    yield Head(c.title)
    yield Text(_answer(c))
    level = "as it is" if ohms else "as it is, not matched"
    if c.match_band_hz is not None:
        low, high = (hertz(f) for f in c.match_band_hz)
        level = f"{db(c.offset_db, 2, True)} dB as a whole, {low} to {high}: taken off below"
    rms = f"rms {db(c.rms_db, 2)} dB from {hertz(c.judged_hz[0])} to {hertz(c.judged_hz[1])}"
    rows = [("what", f"{c.first.evidence} less {c.second.evidence}"), ("level", level), ("difference", rms)]
    if everything or c.known_hz != (c.frequency_hz[0], c.frequency_hz[-1]):
        rows.insert(2, ("known from", f"{hertz(c.known_hz[0])} to {hertz(c.known_hz[1])}"))
    yield Facts(tuple(rows))
    yield Gap()
    yield _octaves(c)
    if c.phase_difference_deg is not None:
        yield Text("deg: difference of phase at the octave's centre, as it is.")
    if ohms:
        return
    if c.heard is not None:
        yield from tell_change(c.heard)
    yield from told_odd(c.odd, c.cabinets)
    yield Head(f"Beyond {c.threshold_db:g} dB (common practice, no published source)")
    if not c.audible:
        yield Text("Nothing: no octave, and no stretch of a third of an octave or more.")
        return
    most = len(c.stretches) if everything else MOST_STRETCHES
    for stretch in c.stretches[:most]:
        where = f"{hertz(stretch.from_hz)} to {hertz(stretch.to_hz)}"
        size = f"{db(stretch.worst_db, 1, True)} dB at {hertz(stretch.at_hz)}, {stretch.octaves:.1f} octaves wide"
        yield fact(where, f"{size}: {stretch.words}", 22)
    left = len(c.stretches) - most
    if left > 0:
        yield Text(f"... and {left} more, smaller.")
    if not c.stretches:
        heard = ", ".join(f"{o.centre_hz:g}" for o in c.octaves if o.audible)
        yield Text(f"No stretch stays on one side that wide; octaves on average: {heard} Hz.")


def _answer(c: Comparison) -> str:
    """How far apart they are at most, and whether that is heard."""
    at = hertz(c.worst_at_hz)
    if c.percent is not None:
        return f"They differ most at {at}: by {_percent(c.worst_db)} % ({db(c.worst_db, 2, True)} dB)."
    most = f"They differ most at {at}, by {db(c.worst_db, 2, True)} dB"
    return f"{most}: {audibility(c.worst_db) if c.audible else 'too narrow or too little to be heard'}."


def _octaves(c: Comparison) -> Table:
    known = [o for o in c.octaves if not math.isnan(o.difference_db)]
    columns = {
        "octave": [f"{o.centre_hz:g}" for o in known],
        "dB": [db(o.difference_db, 2, True) for o in known],
    }
    if c.percent is not None:
        columns["per cent"] = [_percent(o.difference_db) for o in known]
    if c.phase_difference_deg is not None:
        rows = [int(np.argmin(np.abs(np.log(c.frequency_hz / o.centre_hz)))) for o in known]
        columns["deg"] = [degrees(float(c.phase_difference_deg[row])) for row in rows]
    if c.percent is None and any(o.audible for o in known):
        words = [f"* {o.words}" if o.audible else "" for o in known]
        width = max(20, *map(len, words))
        columns["beyond the threshold"] = [f"{w:<{width}}" for w in words]
    return plain_table(list(columns), list(zip(*columns.values(), strict=True)))


def _percent(change_db: float) -> str:
    return f"{100.0 * math.expm1(change_db * math.log(10.0) / 20.0):+.1f}"
