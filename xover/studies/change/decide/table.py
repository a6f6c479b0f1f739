"""The options side by side, cell by cell: what stands in the table of a terminal and of a page alike."""

from __future__ import annotations

from typing import Final

from xover.studies.change.decide.criteria import UNITS, Aspect, Verdict, figure
from xover.studies.change.decide.option import Option

MARKS: Final = {Verdict.PASS: "+", Verdict.MARGINAL: "o", Verdict.FAIL: "x", Verdict.UNKNOWN: "?"}
"""Told apart without colour."""
_SHOWN: Final = {Aspect.DEVIATION: "\u00b1 dB", Aspect.RATINGS: "% used", Aspect.TWEETER: "mW"}
_BARE: Final = (Aspect.COST, Aspect.BUY, Aspect.CHANNELS)


def row_head(aspect: Aspect) -> str:
    """A criterion with the unit of its figures."""
    unit = _SHOWN.get(aspect, "" if aspect in _BARE else UNITS[aspect])
    return f"{aspect}, {unit}" if unit else str(aspect)


def cell(option: Option, aspect: Aspect) -> tuple[str, Verdict | None]:
    """An option's figure without its unit, and its verdict; None for what has none, as a cost without a limit."""
    if not option.available:
        return "-", None
    c = option.of(aspect)
    if c.value is None or c.value == "not known":
        return "", c.verdict
    told = c.name is not Aspect.COST or c.limit is not None or not c.value
    return figure(c.name, c.value, short=True).removesuffix(" %"), c.verdict if told else None
