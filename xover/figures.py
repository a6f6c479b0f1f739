"""Figures as people read them: rounded, a dash for what is not known; and named ones, which have one rounding each.

A figure that stands in a table, a sentence and a decision is written by `written` each time, so that it is one text. A
test may listen (`noting`): then each is noted with what it is of, and no figure of one thing may have two texts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from xover.quantity import QuantityKind, format_quantity
from xover.rules.likeness import CERTAIN_LOG10

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


DASH = "-"
GONE = "all"
"""A change that leaves nothing, or begins with it."""


def odds(log10: float) -> str:
    """How much likelier one explanation is than another: "12 to 1", "certain", or a dash where they are alike."""
    if log10 >= CERTAIN_LOG10:
        return "certain"
    return DASH if log10 < 0.05 else f"{float(f'{10**log10:.2g}'):,g} to 1"


def db(value: float | None, digits: int = 1, signed: bool = False) -> str:
    """A level, or a dash where it is not known; of no voltage and no sound, in words."""
    if value is None or math.isnan(value):
        return DASH
    if math.isinf(value):
        return "inf" if value > 0 else "-inf" if signed else "nothing"
    rounded = round(value, digits) + 0.0  # no minus zero
    return f"{rounded:+.{digits}f}" if signed else f"{rounded:.{digits}f}"


def hertz(value: float | None) -> str:
    """A frequency as people say it, or a dash."""
    return DASH if value is None or not math.isfinite(value) else format_quantity(value, QuantityKind.FREQUENCY)


def ohm(value: float | None, digits: int = 1) -> str:
    """A resistance for a column, or a dash."""
    return DASH if value is None or not math.isfinite(value) else f"{value:.{digits}f}"


def degrees(value: float | None) -> str:
    """An angle for a column, or a dash."""
    return DASH if value is None or not math.isfinite(value) else f"{round(value) + 0:d}"


def money(value: float | None) -> str:
    """A price or a cost in the list's own money, or a dash."""
    return DASH if value is None else f"{value:.2f}"


def octave_centres(low_hz: float, high_hz: float) -> list[float]:
    """Octave band centres (IEC 61260-1 nominal values) inside a band, as rows for a table."""
    nominal = [16.0, 31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0]
    return [f for f in nominal if low_hz <= f <= high_hz]


def at_octaves(frequency_hz: NDArray[np.float64]) -> list[tuple[float, int]]:
    """(octave band centre, index of the frequency nearest to it) as rows for a table; (n,) frequencies, rising."""
    centres = octave_centres(float(frequency_hz[0]), float(frequency_hz[-1]))
    return [(f, min(range(len(frequency_hz)), key=lambda i: abs(math.log(frequency_hz[i] / f)))) for f in centres]


def amount(value: float) -> str:
    """A figure of a table, three digits at most."""
    if math.isnan(value):
        return "-"
    if math.isinf(value):
        return "no limit"
    if value == 0.0:
        return "0"
    return f"{value:.0f}" if abs(value) >= 99.5 else f"{value:#.3g}" if abs(value) >= 9.95 else f"{value:#.2g}"


def place(path: Path) -> str:
    """A folder or file as one types it from here: its way from here where it lies below, else its whole path."""
    try:
        here = Path.cwd()
    except OSError:  # it has gone
        return str(path)
    return str(path.relative_to(here) if path.is_relative_to(here) else path)


@dataclass(frozen=True)
class Figure:
    """One figure: its label, the unit that follows its text ("" where the text holds it), and its rounding."""

    label: str
    unit: str
    text: Callable[[float], str]


def _upwards(value: float) -> str:
    """Two digits, rounded up, so that no figure reads better than it is."""
    if math.isinf(value):
        return GONE
    return db(math.ceil(value * 100.0 - 1e-7) / 100.0 if math.isfinite(value) else value, 2)


def _change(value: float) -> str:
    """Without its sign; two digits below a decibel, one above."""
    if math.isinf(value):
        return GONE
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
