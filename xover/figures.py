"""The named figures of the trade: what each is called, in which unit, and how it is rounded, wherever it is written.

A figure that stands in a table, a sentence and a decision is written by `written` each time, so that it is one text. A
test may listen (`noting`): then each is noted with what it is of, and no figure of one thing may have two texts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Final

from xover.rounded import DASH, db, hertz, money, ohm


@dataclass(frozen=True)
class Figure:
    """One figure: its label, the unit that follows its text ("" where the text holds it), and its rounding."""

    label: str
    unit: str
    text: Callable[[float], str]


def _upwards(value: float) -> str:
    """Two digits, rounded up, so that no figure reads better than it is."""
    return db(math.ceil(value * 100.0 - 1e-7) / 100.0 if math.isfinite(value) else value, 2)


def _change(value: float) -> str:
    """Without its sign; two digits below a decibel, one above."""
    return db(abs(value), 2 if abs(value) < 0.95 else 1)


FIGURES: Final = {
    "sum deviation": Figure("half of the range of the sum", "dB", db),
    "above mean": Figure("highest of the sum over its mean", "dB", lambda v: db(v, signed=True)),
    "below mean": Figure("lowest of the sum under its mean", "dB", lambda v: db(v, signed=True)),
    "sum rms": Figure("root mean square of the sum about its mean", "dB", lambda v: db(v, 2)),
    "null depth": Figure("depth of the reversed null", "dB", lambda v: db(v, 0)),
    "crossover": Figure("where the drivers meet", "", hertz),
    "resonance": Figure("resonance", "", hertz),
    "lowest load": Figure("lowest load", "ohm", lambda v: ohm(v, 2)),
    "lowest EPDR": Figure("lowest EPDR", "ohm", lambda v: ohm(v, 2)),
    "voicing moved": Figure("largest change of the sum from the design", "dB", _change),
    "drive moved": Figure("largest change of a drive from the design", "dB", _upwards),
    "pair apart": Figure("what 97.5 % of pairs of builds keep to", "dB", _change),
    "sensitivity": Figure("sensitivity, 2.83 V at 1 m", "dB", db),
    "cost": Figure("cost of one speaker's parts", "", money),
    "cost of a pair": Figure("cost of a pair's parts, alike", "", money),
}
_notes: ContextVar[list[tuple[str, str, str]] | None] = ContextVar("notes", default=None)


def written(figure: str, value: float | None, of: str = "", *, unit: bool = False) -> str:
    """A named figure as it is written everywhere; a dash where it is not known.

    Parameters
    ----------
    figure : one of FIGURES. of : of what, such as a network's name; "" where the words round it say so alone.
    unit : whether the unit follows.
    """
    known = FIGURES[figure]
    text = DASH if value is None or math.isnan(value) else known.text(value)
    notes = _notes.get()
    if notes is not None:
        notes.append((figure, of, text))
    return f"{text} {known.unit}" if unit and known.unit and text != DASH else text


def load_of(network: str, channel: str) -> str:
    """Whose load it is: the network's, and the channel's where it is not the only one."""
    return network if channel == "in" else f"{network}, {channel}"


@contextmanager
def noting() -> Iterator[list[tuple[str, str, str]]]:
    """Note (figure, of, text) of all that is written meanwhile, in this process."""
    notes: list[tuple[str, str, str]] = []
    token = _notes.set(notes)
    try:
        yield notes
    finally:
        _notes.reset(token)
