"""Checks with a multimeter on a board that is half built, and what each of them proves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from xover.bench.dc import Between, Link, between
from xover.bench.words import number, ohm_range
from xover.rules.likeness import METER_OHM, METER_SHARE
from xover.rules.margins import ROUNDING


@dataclass(frozen=True)
class DcCheck:
    """One reading between two pads, everything that is soldered so far in place.

    Attributes
    ----------
    between : the pads, in words. expected_ohm : infinite for open. low_ohm, high_ohm : what the meter may show, part
        tolerances and the meter's own error in it.
    known : False where the DCR of a coil in it is not stated, so that only `high_ohm` counts.
    proves : what a reading within that range proves, in words; "" where it proves nothing of the new part.
    sentence : the check in words.
    """

    between: tuple[str, str]
    expected_ohm: float
    low_ohm: float
    high_ohm: float
    known: bool
    proves: str
    sentence: str

    @property
    def reading(self) -> str:
        """The sentence without what it proves."""
        return self.sentence.removesuffix(f"; {self.proves}") if self.proves else self.sentence

    @property
    def is_open(self) -> bool:
        """Whether no direct current flows there."""
        return math.isinf(self.expected_ohm)


def dc_check(links: Sequence[Link], nodes: tuple[str, str], pads: tuple[str, str], proves: str = "") -> DcCheck:
    """The reading between two nodes. `pads` : how these are called; `proves` : see `DcCheck`."""
    found = between(links, *nodes)
    low, high = meter_range(found)
    known = all(k.known for k in links if _counts(links, k, nodes))
    reading = _reading(found.ohm, low, high, known)
    text = f"{pads[0]} to {pads[1]}: {reading}"
    return DcCheck(pads, found.ohm, low, high, known, proves, f"{text}; {proves}" if proves else text)


def meter_range(found: Between) -> tuple[float, float]:
    """Lowest and highest that the meter may show."""
    low = max(0.0, found.low_ohm * (1.0 - METER_SHARE) - METER_OHM)
    return low, found.high_ohm * (1.0 + METER_SHARE) + METER_OHM


def sees(links: Sequence[Link], new: Link, nodes: tuple[str, str]) -> tuple[bool, bool]:
    """Whether the reading tells that a new part is missing, and that it is shorted, beyond all doubt."""
    others = [k for k in links if k is not new]
    low, high = meter_range(between(links, *nodes))
    without = meter_range(between(others, *nodes))
    shorted = meter_range(between([*others, replace(new, ohm=0.0, low_ohm=0.0, high_ohm=0.0)], *nodes))
    return without[0] > high, shorted[1] < low


def _counts(links: Sequence[Link], link: Link, nodes: tuple[str, str]) -> bool:
    """Whether a link moves the reading at all."""
    if math.isinf(link.ohm):
        return False
    with_it, without = (between(some, *nodes).high_ohm for some in (links, [k for k in links if k is not link]))
    return not math.isclose(with_it, without, rel_tol=ROUNDING, abs_tol=0.0)


def _reading(expected: float, low: float, high: float, known: bool) -> str:
    if math.isinf(expected):
        return "open (above 1 Mohm)"
    if not known:
        return f"no more than {number(high)} ohm (a coil there states no DCR)"
    return ohm_range(expected, low, high)
